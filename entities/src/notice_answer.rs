//! What a reader answered to a notice, or to one line of it.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "notice_answer")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub notice: i64,
    pub line: Option<i64>,
    pub answer: String,
    pub sender: String,
    pub said_at: i64,
    pub noted_at: i64,
    pub mail: String,
    pub note: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

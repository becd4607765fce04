//! What a notice told: one row an item and rule.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "notice_line")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub notice: i64,
    #[sea_orm(primary_key, auto_increment = false)]
    pub line: i64,
    #[sea_orm(primary_key, auto_increment = false)]
    pub item: String,
    #[sea_orm(primary_key, auto_increment = false)]
    pub rule: String,
    pub occurrence: String,
    pub stage: String,
    pub due_on: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

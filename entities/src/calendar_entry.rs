//! The calendar entry of one piece of work falling due: its day and version as last told.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "calendar_entry")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub uid: String,
    pub item: String,
    pub rule: String,
    pub occurrence: String,
    pub due_on: String,
    pub sequence: i64,
    pub cancelled: bool,
}

impl ActiveModelBehavior for ActiveModel {}

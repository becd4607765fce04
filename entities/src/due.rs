//! A row of the due table, a cache of what the records and rules say.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "due")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub item: String,
    #[sea_orm(primary_key, auto_increment = false)]
    pub rule: String,
    pub as_of: String,
    pub standing: String,
    pub due_on: Option<String>,
    pub because: Option<String>,
    pub calendar_due: Option<String>,
    pub usage_due: Option<String>,
    pub p10: Option<String>,
    pub p50: Option<String>,
    pub p90: Option<String>,
    pub after_due: Option<String>,
    pub meter: Option<String>,
    pub used: Option<i64>,
    pub usage_limit: Option<i64>,
    pub used_up: bool,
    pub held: bool,
}

impl ActiveModelBehavior for ActiveModel {}

//! An address that mail came back from, until somebody mends it.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "bad_address")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub address: String,
    pub since: i64,
    pub why: String,
    pub notice: Option<String>,
    pub cleared_at: Option<i64>,
    pub cleared_by: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

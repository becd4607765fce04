//! Work recorded on an item. Append-only: a later version of the same key replaces an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "work")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub item: String,
    pub rule: String,
    pub at: i64,
    pub day: Option<String>,
    pub outcome: String,
    pub by: Option<String>,
    pub certificate: Option<String>,
    pub measurements: Option<String>,
    pub note: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

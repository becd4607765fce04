//! A state set on an item. Append-only: a later version of the same key replaces an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "state")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub item: String,
    pub at: i64,
    pub day: Option<String>,
    pub state: String,
    pub by: Option<String>,
    pub reason: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

//! A row of use. Append-only: a later version of the same key replaces an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "usage")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub host: String,
    pub at: i64,
    pub day: Option<String>,
    pub meter: String,
    pub count: Option<i64>,
    pub reading: Option<i64>,
    pub note: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

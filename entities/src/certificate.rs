//! A certificate of an item. Append-only: a later version of the same key replaces an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "certificate")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub item: String,
    pub number: String,
    pub issuer: String,
    pub issued_on: String,
    pub valid_until: Option<String>,
    pub file: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

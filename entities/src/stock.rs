//! A move of stock. Append-only: a later version of the same key replaces an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "stock")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub part: String,
    pub place: String,
    pub at: i64,
    pub day: Option<String>,
    pub quantity: i64,
    pub reason: String,
    pub items: Option<String>,
    pub note: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

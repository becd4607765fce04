//! A part that stores hold. Append-only: a later version of the same key replaces an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "part")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub description: String,
    pub kind: String,
    pub lead_time: String,
    pub shelf_life: Option<String>,
    pub unit: String,
    pub pack: Option<String>,
    pub price: Option<String>,
    pub currency: Option<String>,
    pub serves: Option<i64>,
}

impl ActiveModelBehavior for ActiveModel {}

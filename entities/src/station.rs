//! A beach-launch station. Append-only: a later version of the same key replaces an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "station")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub name: String,
    pub time_zone: String,
    pub latitude: Option<String>,
    pub longitude: Option<String>,
    pub flanks: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

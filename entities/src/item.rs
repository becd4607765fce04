//! A piece of gear. Append-only: a later version of the same key replaces an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "item")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub kind: String,
    pub station: Option<String>,
    pub set_name: Option<String>,
    pub manufactured_on: Option<String>,
    pub entered_service_on: Option<String>,
    pub serial: Option<String>,
    pub certificate: Option<String>,
    pub part: Option<String>,
    pub cut_from: Option<String>,
    pub quantity: Option<i64>,
    pub opening_use: Option<String>,
    pub attributes: Option<String>,
    pub taken_from: Option<String>,
    pub taken_at: Option<i64>,
    pub taken_day: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

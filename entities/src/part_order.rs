//! An order of a part. Append-only: a later version of the same key replaces an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "part_order")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub part: String,
    pub quantity: i64,
    pub place: String,
    pub ordered_on: String,
    pub needed_by: String,
    pub received_on: Option<String>,
    pub certificate: Option<String>,
    pub by: String,
    pub signed_by: Option<String>,
    pub signed_on: Option<String>,
    pub for_whom: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

//! What was agreed of a loan. Append-only: a later version of the same key replaces an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "loan")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub item: String,
    pub station: String,
    pub from_date: String,
    pub until_date: String,
    pub by: String,
    pub note: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

//! An answer to a doubt in a log. Append-only: a later version of the same key replaces an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "doubt_answers")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub item: String,
    pub answer: String,
    pub by: String,
    pub first: Option<String>,
    pub second: Option<String>,
    pub read_on: Option<String>,
    pub voided: Option<String>,
    pub note: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

//! A defect that an examination found. Append-only: a later version of the same key replaces
//! an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "defect")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub item: String,
    pub report: String,
    pub found_on: String,
    pub part: String,
    pub what: String,
    pub danger: String,
    pub by_date: Option<String>,
    pub remedy: Option<String>,
    pub cleared_by: Option<String>,
    pub cleared_on: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

//! An earlier date that stands until an engineer acknowledges the later one. Append-only: a later version of the same
//! key replaces an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "kept_date")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub item: String,
    pub rule: String,
    pub calendar_due: Option<String>,
    pub after_due: Option<String>,
    pub held: bool,
    pub more: Option<String>,
    pub last_work_at: Option<i64>,
    pub cause: String,
    pub acknowledged_by: Option<String>,
    pub reason: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

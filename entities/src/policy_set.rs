//! A policy set taken up. Append-only: a later version of the same key replaces an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "policy_set")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub hash: String,
    pub files: String,
    pub effective_from: String,
    pub by: String,
    pub second: Option<String>,
    pub reason: Option<String>,
    pub safety: bool,
}

impl ActiveModelBehavior for ActiveModel {}

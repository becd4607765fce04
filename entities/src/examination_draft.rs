//! An examination report that is not signed yet. Append-only: a later version of the same key replaces
//! an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "examination_draft")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub item: Option<String>,
    pub text: String,
    pub faults: Option<String>,
    pub signed: bool,
}

impl ActiveModelBehavior for ActiveModel {}

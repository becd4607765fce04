//! Someone who is told, or who acts. Append-only: a later version of the same key replaces an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "person")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub name: String,
    pub role: String,
    pub station: Option<String>,
    pub competence: Option<String>,
    pub deputy: Option<String>,
    pub second_address: Option<String>,
    pub away_from: Option<String>,
    pub away_until: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

//! A link that opens one notice's matters, read only, until it lapses.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "view_link")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub digest: String,
    pub opens: String,
    pub person: String,
    pub made_at: i64,
    pub expires_at: i64,
    pub revoked_at: Option<i64>,
}

impl ActiveModelBehavior for ActiveModel {}

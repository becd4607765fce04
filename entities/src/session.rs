//! Somebody signed in on one device, until it ends.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "session")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub digest: String,
    pub email: String,
    pub csrf: String,
    pub device: String,
    pub made_at: i64,
    pub seen_at: i64,
    pub ends_at: i64,
    pub signed_at: i64,
}

impl ActiveModelBehavior for ActiveModel {}

//! A code that somebody sets their password with, once.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "sign_in_code")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub digest: String,
    pub email: String,
    pub made_at: i64,
    pub expires_at: i64,
    pub used_at: Option<i64>,
}

impl ActiveModelBehavior for ActiveModel {}

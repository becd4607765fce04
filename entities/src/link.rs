//! One link of the record chain: a committed transaction.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "link")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub seq: i64,
    pub at: i64,
    pub actor: String,
    pub action: String,
    pub digest: String,
    pub prev: String,
    pub hash: String,
}

impl ActiveModelBehavior for ActiveModel {}

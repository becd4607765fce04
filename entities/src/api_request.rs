//! A request of another program, by its key: sent again, it is answered the same.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "api_request")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub person: String,
    #[sea_orm(primary_key, auto_increment = false)]
    pub name: String,
    pub digest: String,
    pub at: i64,
    pub answer: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

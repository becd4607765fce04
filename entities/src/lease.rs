//! Which of several daemons does a thing now, and until when unless it renews.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "lease")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub name: String,
    pub holder: String,
    pub fence: i64,
    pub until: i64,
}

impl ActiveModelBehavior for ActiveModel {}

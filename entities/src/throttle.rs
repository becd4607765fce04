//! How often somebody guessed wrong, and when the next guess is looked at.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "throttle")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub name: String,
    pub failures: i64,
    pub next_at: i64,
}

impl ActiveModelBehavior for ActiveModel {}

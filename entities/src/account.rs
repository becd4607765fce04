//! Who may sign in, and by what: beside the person's record, which says who they are.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "account")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub email: String,
    pub password: Option<String>,
    pub password_set_at: Option<i64>,
    pub secret: Option<String>,
    pub secret_offered: Option<String>,
    pub last_step: Option<i64>,
    pub disabled: bool,
    pub made_at: i64,
}

impl ActiveModelBehavior for ActiveModel {}

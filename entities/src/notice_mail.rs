//! The finished bytes of a notice.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "notice_mail")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub notice: i64,
    pub bytes: Vec<u8>,
}

impl ActiveModelBehavior for ActiveModel {}

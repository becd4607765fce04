//! A notice in the outbox: one recipient, and how far it got. Its bytes lie apart, so that a change of state is small.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "notice")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub number: String,
    pub kind: String,
    pub occasion: String,
    pub person: String,
    pub recipient: String,
    pub urgent: bool,
    pub subject: String,
    pub message_id: String,
    pub token: String,
    pub supersedes: Option<String>,
    pub composed_at: i64,
    pub state: String,
    pub attempts: i64,
    pub crashes: i64,
    pub doubts: i64,
    pub holder: Option<String>,
    pub due_at: i64,
    pub next_attempt_at: i64,
    pub last_error: Option<String>,
    pub sent_at: Option<i64>,
    pub reply: Option<String>,
    pub dropped_at: Option<i64>,
}

impl ActiveModelBehavior for ActiveModel {}

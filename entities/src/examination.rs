//! A signed examination report. Append-only: a later version of the same key replaces
//! an earlier one.

use sea_orm::entity::prelude::*;

#[sea_orm::model]
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "examination")]
pub struct Model {
    #[sea_orm(primary_key)]
    pub id: i64,
    pub link: i64,
    pub known_at: i64,
    pub key: String,
    pub version: i64,
    pub void: bool,
    pub item: String,
    pub rule: String,
    pub at: i64,
    pub day: Option<String>,
    pub employer: Option<String>,
    pub employer_address: Option<String>,
    pub premises: Option<String>,
    pub identity: Option<String>,
    pub manufactured_on: Option<String>,
    pub last_examined_on: Option<String>,
    pub safe_working_load: Option<String>,
    pub kind: Option<String>,
    pub after_installation: Option<String>,
    pub installed_correctly: Option<String>,
    pub safe_to_operate: Option<String>,
    pub repair_needed: Option<String>,
    pub tests: Option<String>,
    pub next_due: Option<String>,
    pub examiner: Option<String>,
    pub examiner_address: Option<String>,
    pub qualification: Option<String>,
    pub employed_by: Option<String>,
    pub authenticated_by: Option<String>,
    pub reported_on: Option<String>,
    pub instrument: Option<String>,
    pub calibration_due: Option<String>,
    pub measurements: Option<String>,
    pub judgement: Option<String>,
    pub decision: Option<String>,
    pub signed_by: Option<String>,
    pub not_accepted: Option<String>,
    pub remarks: Option<String>,
}

impl ActiveModelBehavior for ActiveModel {}

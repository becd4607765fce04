//! Tallow's tables as sea-orm models. No queries, no logic: `daemon::store` is the one room that reads them.

pub mod certificate;
pub mod concession;
pub mod defect;
pub mod doubt_answers;
pub mod due;
pub mod examination;
pub mod examination_draft;
pub mod fitting;
pub mod item;
pub mod kept_date;
pub mod link;
pub mod notice;
pub mod notice_line;
pub mod part;
pub mod person;
pub mod policy_set;
pub mod setting;
pub mod state;
pub mod station;
pub mod stock;
pub mod substitution;
pub mod usage;
pub mod work;

//! An engineer's word that an item may stand where another kind of it belongs.

use super::{Look, Rows};
use crate::desk::DeskError;
use crate::records::Substitution;

/// A substitution to be recorded.
#[derive(Clone, Debug)]
pub struct Substitute {
    /// The item's tag.
    pub tag: String,
    /// The host's.
    pub host: String,
    /// Position on the host.
    pub position: String,
    /// Address of the engineer or the head.
    pub by: String,
    /// Why it is sound.
    pub reason: String,
    /// Last day on which it may be fitted so.
    pub until: Option<String>,
}

impl Substitute {
    /// The rows of it; who may say so is judged with them.
    ///
    /// # Errors
    /// Unknown or scrapped gear.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        let station = look.item(&self.host, None)?.station.as_deref();
        look.item(&self.tag, station)?;
        look.not_scrapped(&self.tag, look.now.0, "put in another's place")?;
        let row = Substitution {
            key: format!("{} {} {}", self.tag, self.host, self.position),
            void: false,
            item: self.tag.clone(),
            host: self.host.clone(),
            position: self.position.clone(),
            by: self.by.clone(),
            reason: self.reason.clone(),
            until_date: self.until.clone(),
        };
        let told = vec![format!("{} may be fitted to {}, {}", self.tag, self.host, self.position)];
        Ok(Rows { sheets: vec![look.sheet(&[row])], told })
    }
}

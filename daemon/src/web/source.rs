//! What a page reads: the fleet and the records, as they stand or as they were known.

use std::collections::BTreeSet;
use std::sync::Arc;

use policies::facts::Fleet;

use super::Web;
use super::asked::Asked;
use super::fault::Fault;
use crate::records::{
    Certificate, Concession, Defect, Examination, Item, Loan, State, Station, Substitution, Work,
};
use crate::store::current::{Newest, Register};
use crate::store::fleet::of_register;
use crate::store::{OfItem, Stored};

/// The records of one visit.
pub(super) struct Source<'w> {
    web: &'w Web,
    /// What was known then; none where the present is asked for.
    then: Option<Register>,
}

/// A record that pages show.
pub(super) trait Shown: Stored {
    fn among(register: &Register) -> &Newest<Self>;
}

macro_rules! shown {
    ($($record:ident: $field:ident),+ $(,)?) => {
        $(impl Shown for $record {
            fn among(register: &Register) -> &Newest<Self> {
                &register.$field
            }
        })+
    };
}

shown!(
    Certificate: certificates, Concession: concessions, Defect: defects, Examination: examinations, Item: items,
    Loan: loans, State: states, Station: stations, Substitution: substitutions, Work: work,
);

impl<'w> Source<'w> {
    /// Opens the records; a whole register is read only where an earlier knowledge is asked for.
    ///
    /// # Errors
    /// The store's own.
    pub(super) async fn open(web: &'w Web, asked: &Asked) -> Result<Source<'w>, Fault> {
        let then = match asked.known_on {
            None => None,
            Some(day) => Some(web.desk.store.register(Some(web.desk.known_by(day))).await?),
        };
        Ok(Source { web, then })
    }

    /// Looks at the fleet.
    ///
    /// # Errors
    /// The store's own, and those of `look`.
    pub(super) async fn fleet<T>(&self, look: impl FnOnce(&Fleet) -> Result<T, Fault>) -> Result<T, Fault> {
        match &self.then {
            Some(register) => look(&of_register(&self.web.desk.set, register)),
            None => self.web.desk.with_fleet(look).await?,
        }
    }

    /// The records of one file that are of some items and still hold, in the order of their keys.
    ///
    /// # Errors
    /// The store's own.
    pub(super) async fn of_items<R: Shown + OfItem>(
        &self,
        items: &BTreeSet<String>,
    ) -> Result<Vec<R>, Fault> {
        let mut found: Vec<R> = match &self.then {
            Some(register) => R::among(register).values().cloned().collect(),
            None => self.web.desk.store.newest_of::<R>(items).await?,
        };
        found.retain(|record| !record.is_void() && items.contains(record.item()));
        found.sort_unstable_by(|a, b| a.key().cmp(b.key()));
        Ok(found)
    }

    /// The same of one item.
    ///
    /// # Errors
    /// The store's own.
    pub(super) async fn of_item<R: Shown + OfItem>(&self, tag: &str) -> Result<Vec<R>, Fault> {
        self.of_items(&BTreeSet::from([tag.to_owned()])).await
    }

    /// One record, where it still holds.
    ///
    /// # Errors
    /// The store's own.
    pub(super) async fn one<R: Shown>(&self, key: &str) -> Result<Option<R>, Fault> {
        let found = match &self.then {
            Some(register) => R::among(register).get(key).cloned(),
            None => self.web.desk.store.current::<R>(key).await?,
        };
        Ok(found.filter(|record| !record.is_void()))
    }

    /// Every record of one file that still holds, in the order of their keys: for what the pages of a large fleet read
    /// whole, each time.
    ///
    /// # Errors
    /// The store's own.
    pub(super) async fn all<R: Shown>(&self) -> Result<Arc<Vec<R>>, Fault> {
        match &self.then {
            Some(_) => Ok(Arc::new(self.records(|_| true).await?)),
            None => Ok(self.web.desk.standing::<R>().await?),
        }
    }

    /// The records of one file that still hold, in the order of their keys.
    ///
    /// # Errors
    /// The store's own.
    pub(super) async fn records<R: Shown>(&self, wanted: impl Fn(&R) -> bool) -> Result<Vec<R>, Fault> {
        let mut found: Vec<R> = match &self.then {
            Some(register) => R::among(register).values().cloned().collect(),
            None => self.web.desk.store.newest::<R>().await?.into_values().collect(),
        };
        found.retain(|record| !record.is_void() && wanted(record));
        found.sort_unstable_by(|a, b| a.key().cmp(b.key()));
        Ok(found)
    }
}

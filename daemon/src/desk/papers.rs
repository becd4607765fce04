//! Certificates taken in by hand, each with its file and with the work that it proves.

use jiff::civil::Date;
use policies::rule::Work as WorkWord;
use policies::zone::{Instant, Zone};

use super::{Desk, DeskError, Moved, Recorded, is_new, with_set_members};
use crate::files::{FileError, Filed};
use crate::records::{Certificate, Item, Station, Work};
use crate::store::Writer;

/// A certificate as it is handed in.
#[derive(Debug)]
pub struct HandedIn {
    /// The record, without its file.
    pub paper: Certificate,
    /// The report stands for several items: its number may be theirs too.
    pub several: bool,
    /// Key of the work that it proves.
    pub proves: Option<String>,
}

impl Desk {
    /// Adds a certificate. `take` stores its file, and is asked only once nothing else stands against it.
    ///
    /// # Errors
    /// A number that stands for another item, work that it cannot prove, a file that is refused, or the store's failure.
    pub async fn add_certificate(
        &self,
        handed: HandedIn,
        take: impl FnOnce() -> Result<Option<Filed>, FileError>,
    ) -> Result<Recorded, DeskError> {
        self.warm.lock().await.take();
        self.store
            .write(self.deed("certificate"), async |tx: &mut Writer| {
                let mut paper = handed.paper;
                if !handed.several {
                    is_free(tx, &paper).await?;
                }
                let item = tx.current::<Item>(&paper.item).await?;
                check_issued(&paper, item.as_ref(), self.today())?;
                let proved = match &handed.proves {
                    Some(key) => Some(self.proved(tx, &paper, item.as_ref(), key).await?),
                    None => None,
                };
                let filed = take().map_err(|error| DeskError::Refused(with_causes(&error)))?;
                paper.file = filed.map(|filed| filed.to_string());
                let new = is_new(tx, &paper).await?;
                if new {
                    tx.append_new(std::slice::from_ref(&paper)).await?;
                }
                match proved.flatten() {
                    Some(work) => self.prove(tx, &work).await,
                    None => Ok(Recorded { new, items: 0, rows: 0 }),
                }
            })
            .await
    }

    /// Writes work down with its certificate; what it moves is worked out again.
    async fn prove(&self, tx: &mut Writer, work: &Work) -> Result<Recorded, DeskError> {
        tx.append(std::slice::from_ref(work)).await?;
        let mut loaded = tx.fleet(&self.set).await?;
        let moved = Moved { items: with_set_members(&loaded.fleet, &work.item), meters: None };
        let rows = self.rewrite(tx, &mut loaded, &moved).await?;
        Ok(Recorded { new: true, items: moved.items.len(), rows })
    }

    /// The work with the number, or nothing where it names that number already.
    async fn proved(
        &self,
        tx: &Writer,
        paper: &Certificate,
        item: Option<&Item>,
        key: &str,
    ) -> Result<Option<Work>, DeskError> {
        let refused = |text: String| Err(DeskError::Refused(format!("work: {text}")));
        let found = tx.current::<Work>(key).await?.filter(|work| !work.void);
        let Some(mut work) = found else {
            return refused(format!(
                "nothing is recorded under \"{key}\"; tallow certificate check lists work that waits"
            ));
        };
        if work.item != paper.item {
            return refused(format!(
                "\"{key}\" was done on {}, not on {}; correct one of them",
                work.item, paper.item
            ));
        }
        let zone = self.zone_of(tx, item).await?;
        let done = work.day.clone().unwrap_or_else(|| zone.date_of(Instant(work.at)).to_string());
        if paper.issued_on < done {
            return refused(format!(
                "\"{key}\" was done on {done}, and a paper of {} cannot prove it; give the report of that work",
                paper.issued_on
            ));
        }
        match work.certificate {
            Some(number) if number == paper.number => Ok(None),
            Some(number) => {
                refused(format!("\"{key}\" names {number} already; correct it by tallow correct record work"))
            }
            None => {
                work.certificate = Some(paper.number.clone());
                Ok(Some(work))
            }
        }
    }

    /// The zone of the station that owns an item.
    async fn zone_of(&self, tx: &Writer, item: Option<&Item>) -> Result<Zone, DeskError> {
        let home = || self.set.service.home_zone.clone();
        let Some(slug) = item.and_then(|item| item.station.as_deref()) else { return Ok(home()) };
        let station = tx.current::<Station>(slug).await?;
        Ok(station.and_then(|station| Zone::parse(&station.time_zone).ok()).unwrap_or_else(home))
    }

    /// Everything that work can move: the item and its set, and for a proof load that failed all that was ever in its path.
    pub(super) fn moved_by_work(&self, fleet: &policies::facts::Fleet, work: &Work) -> Moved {
        let mut items = with_set_members(fleet, &work.item);
        let rule = self.set.find_rule(&work.rule).map(|rule| self.set.rule(rule));
        let proof = rule.is_some_and(|rule| rule.work == WorkWord::ProofLoadTest);
        if let Some(id) = fleet.find(&work.item).filter(|_| proof && work.outcome == "failed") {
            items.extend(fleet.ever_linked(id));
            items.sort_unstable();
            items.dedup();
        }
        Moved { items, meters: None }
    }
}

/// No paper speaks of gear that was not made yet, or comes from days to come.
fn check_issued(paper: &Certificate, item: Option<&Item>, today: Date) -> Result<(), DeskError> {
    let issued = &paper.issued_on;
    let refused = |text: String| Err(DeskError::Refused(format!("issued_on: {text}; correct the date")));
    // A day's grace: the paper may come from east of here.
    if *issued > today.tomorrow().unwrap_or(today).to_string() {
        return refused(format!("{issued} lies ahead"));
    }
    match item.and_then(|item| item.manufactured_on.as_ref()).filter(|made| issued < *made) {
        Some(made) => refused(format!("{issued} lies before {} was made ({made})", paper.item)),
        None => Ok(()),
    }
}

/// One issuer gives a number once: for another item it is a slip, or a report for several.
async fn is_free(tx: &Writer, paper: &Certificate) -> Result<(), DeskError> {
    let others = tx.newest::<Certificate>().await?;
    let taken = others.values().filter(|other| !other.void && other.item != paper.item);
    let same = |other: &&Certificate| other.number == paper.number && other.issuer == paper.issuer;
    match taken.into_iter().filter(same).min_by_key(|other| &other.key) {
        None => Ok(()),
        Some(other) => Err(DeskError::Refused(format!(
            "number: {} of {} stands for {} already; correct the number or the item, or say --several where one \
             report stands for several items",
            paper.number, paper.issuer, other.item
        ))),
    }
}

fn with_causes(error: &FileError) -> String {
    let source = std::error::Error::source(error).map(|source| format!(": {source}"));
    format!("file: {error}{}", source.unwrap_or_default())
}

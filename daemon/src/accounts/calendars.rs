//! Calendars that other programs subscribe to: a secret link each, of a person, to their own dates or a station's. It
//! shows what they may read, until they revoke it.

use super::{AccountError, Accounts, refused, words};
use crate::records::Station;
use crate::rights::{self, Act, Place, Who};
use crate::store::StoreError;
use crate::store::accounts::ViewLink;

/// What stands in such a link, before the station.
const OPENS: &str = "calendar";
/// Bytes of a token: 256 bits.
const TOKEN: usize = 32;
/// Most of one person.
const MOST: usize = 20;

/// A calendar that somebody made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Calendar {
    /// What it is revoked by.
    pub digest: String,
    /// The station; their own dates where there is none.
    pub station: Option<String>,
    /// When it was made, in microseconds.
    pub made_at: i64,
}

/// What a link of a calendar opens.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Subscribed {
    /// Whose it is.
    pub who: Who,
    /// The station; their own dates where there is none.
    pub station: Option<String>,
}

fn station_of(opens: &str) -> Option<String> {
    opens.strip_prefix(OPENS)?.strip_prefix(' ').map(str::to_owned)
}

/// Whether somebody may read those dates.
fn may(who: &Who, station: Option<&str>) -> Result<(), rights::Refusal> {
    match station.or(who.person.station.as_deref()) {
        Some(slug) => rights::may(who, Act::ViewStation, Place::Of(Some(slug))),
        None => rights::may(who, Act::ViewRegion, Place::Own),
    }
}

impl Accounts {
    /// Makes a calendar for somebody; its token is told once.
    ///
    /// # Errors
    /// Nobody who may sign in or read it, no such station, too many, or the store's failure.
    pub async fn make_calendar(&self, email: &str, station: Option<&str>) -> Result<String, AccountError> {
        let Some((account, person)) = self.open_account(email).await? else {
            return refused(format!(
                "{email} has no open account; invite them first: tallow people invite {email}"
            ));
        };
        if let Some(slug) = station
            && self.store.current::<Station>(slug).await?.is_none_or(|station| station.void)
        {
            return refused(format!("No station is called \"{slug}\"."));
        }
        let who = self.who(&account, person);
        if let Err(refusal) = may(&who, station) {
            return refused(refusal.to_string());
        }
        if self.calendars(email).await?.len() >= MOST {
            return refused(format!("{email} has {MOST} calendars already; revoke one that is not used."));
        }
        let token = words::random(TOKEN)?;
        let link = ViewLink {
            digest: words::digest(&token),
            opens: station.map_or_else(|| OPENS.to_owned(), |slug| format!("{OPENS} {slug}")),
            person: account.email,
            made_at: self.now().0,
            expires_at: i64::MAX,
            revoked_at: None,
        };
        self.store.keep_link(link).await?;
        Ok(token)
    }

    /// Calendars of somebody, the oldest first.
    ///
    /// # Errors
    /// The store's own.
    pub async fn calendars(&self, email: &str) -> Result<Vec<Calendar>, StoreError> {
        let links = self.store.links_of(email, OPENS).await?;
        let one = |link: ViewLink| Calendar {
            station: station_of(&link.opens),
            made_at: link.made_at,
            digest: link.digest,
        };
        Ok(links.into_iter().map(one).collect())
    }

    /// Revokes a calendar; false where somebody has none of that digest.
    ///
    /// # Errors
    /// The store's own.
    pub async fn revoke_calendar(&self, email: &str, digest: &str) -> Result<bool, StoreError> {
        self.store.revoke_link(email, digest, self.now()).await
    }

    /// What a calendar's token opens now: none where it is unknown or revoked, its person gone or shut out, or no
    /// longer one who may read it.
    ///
    /// # Errors
    /// The store's own.
    pub async fn subscribed(&self, token: &str) -> Result<Option<Subscribed>, StoreError> {
        let link = self.store.view_link(&words::digest(token)).await?;
        let link = link.filter(|link| link.revoked_at.is_none() && link.opens.starts_with(OPENS));
        let Some(link) = link else { return Ok(None) };
        let Some((account, person)) = self.open_account(&link.person).await? else { return Ok(None) };
        let (who, station) = (self.who(&account, person), station_of(&link.opens));
        let open = may(&who, station.as_deref()).is_ok();
        Ok(open.then_some(Subscribed { who, station }))
    }
}

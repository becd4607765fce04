//! What gear out of use asks to be looked into: a reading that fell away from those before it.

use std::collections::{BTreeMap, BTreeSet};

use policies::as_of::AsOf;
use policies::due::Evaluator;
use policies::facts::{Fleet, ItemId};
use policies::load::PolicySet;

use crate::desk::{Desk, DeskError};
use crate::gear::{fitted_at, is_at};
use crate::records::Work;
use crate::wear;

/// For gear that is out of use and still fitted, the sudden loss that wants its cause found.
#[derive(Clone, Debug, Default)]
pub struct Causes(BTreeMap<ItemId, String>);

/// Nothing is asked.
pub static NO_CAUSES: Causes = Causes(BTreeMap::new());

impl Causes {
    /// Tags of the gear whose work must be looked through for it; of a station's own and of what is fitted there, where
    /// one is named.
    pub fn asked(
        set: &PolicySet,
        fleet: &Fleet,
        as_of: impl Into<AsOf>,
        station: Option<&str>,
    ) -> BTreeSet<String> {
        let evaluator = Evaluator::without_forecasts(set, fleet, as_of);
        let in_question = fleet.ids().filter(|id| {
            let item = fleet.item(*id);
            fitted_at(item, evaluator.cutoff(item)).is_some()
                && station.is_none_or(|slug| is_at(&evaluator, fleet, *id, slug))
                && evaluator.shut(*id).is_some()
        });
        in_question.map(|id| fleet.item(id).tag.to_string()).collect()
    }

    /// What is asked of the gear that is out of use now.
    ///
    /// # Errors
    /// The store's failure.
    pub async fn now(desk: &Desk) -> Result<Causes, DeskError> {
        let now = AsOf::Now(desk.now());
        let out = desk.with_fleet(|fleet| Causes::asked(&desk.set, fleet, now, None)).await?;
        if out.is_empty() {
            return Ok(Causes::default());
        }
        let works = desk.store.newest_of::<Work>(&out).await?;
        desk.with_fleet(|fleet| Causes::of(&desk.set, fleet, now, &works)).await
    }

    /// The causes that the readings in these records ask for.
    pub fn of(set: &PolicySet, fleet: &Fleet, as_of: impl Into<AsOf>, works: &[Work]) -> Causes {
        let evaluator = Evaluator::without_forecasts(set, fleet, as_of);
        let tags: BTreeSet<&str> = works.iter().map(|work| work.item.as_str()).collect();
        let found = tags.into_iter().filter_map(|tag| {
            let id = fleet.find(tag)?;
            let worn = wear::of_item(&evaluator, (set, fleet), id, works);
            Some((id, worn.iter().find_map(wear::sudden_loss)?))
        });
        Causes(found.collect())
    }

    /// What is asked of an item, as a sentence without its end.
    pub fn get(&self, id: ItemId) -> Option<&str> {
        self.0.get(&id).map(String::as_str)
    }
}

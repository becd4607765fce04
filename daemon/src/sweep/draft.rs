//! What each person is owed, finished as mail: the daily notice, what cannot wait, and proof loads for a test house.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::sync::Arc;

use jiff::civil::{Date, DateTime, Weekday};
use policies::owed::Audience;

use super::readers::Readers;
use super::unwritten::Unwritten;
use super::{Day, Ground, Linking, Mail};
use crate::desk::{Desk, DeskError};
use crate::notices::compose::matters::Matter;
use crate::notices::compose::{self, Addressed, Chain, MOST_REFERENCES, Owed, Place, Subject, audience};
use crate::notices::proof::{Asking, ProofNoticeError};
use crate::people::is_of;
use crate::records::{Item, Person};
use crate::store::outbox::{Fresh, Told};
use crate::store::telling::{Heard, Work};

/// Notices being written.
pub(super) struct Drafts<'d> {
    ground: Ground<'d>,
    readers: Readers,
    heard: HashMap<String, Heard>,
    unanswered: HashSet<(Work, String)>,
    numbers: Numbers,
}

/// Notices as finished mail.
#[derive(Default)]
pub(super) struct Drafted {
    /// By the key of whom they are for.
    pub(super) fresh: Vec<(String, Fresh)>,
    pub(super) unwritten: Vec<Unwritten>,
}

impl Drafted {
    fn fails(&mut self, to: &Addressed, why: &str) {
        tracing::error!(recipient = %to.to, why, "a notice cannot be written");
        // One line each, where it is kept.
        let why = why.split_whitespace().collect::<Vec<_>>().join(" ");
        self.unwritten.push(Unwritten { person: to.person.key.clone(), why });
    }
}

/// Why a notice is being written.
#[derive(Clone, Copy)]
enum Why {
    Daily(DateTime),
    Urgent,
}

/// A person's lines with the notice that goes before.
struct Plan<'p> {
    to: Addressed<'p>,
    as_of: Date,
    why: Why,
    owed: Vec<Owed>,
    matters: Arc<Vec<Matter>>,
    /// Who is sent a copy of what a test house is asked.
    copies: Vec<Addressed<'p>>,
    /// Numbers of the makers' certificates, where a test house is asked.
    makers: Arc<BTreeMap<String, String>>,
}

impl Drafts<'_> {
    pub(super) async fn begin<'d>(
        desk: &'d Desk,
        mail: &'d Mail,
        readers: Readers,
        linking: Linking,
    ) -> Result<Drafts<'d>, DeskError> {
        let mut heard = HashMap::new();
        for person in &readers.people {
            heard.insert(person.key.clone(), desk.store.heard(&person.key, desk.now()).await?);
        }
        let mechanics = readers.people.iter().filter(|person| person.role == "mechanic");
        let mechanics: Vec<&str> = mechanics.map(|person| person.key.as_str()).collect();
        let silence = desk.set.service.answer_within_micros();
        let before = policies::zone::Instant(desk.now().0 - silence);
        let unanswered = desk.store.unanswered(&mechanics, before).await?;
        let numbers = Numbers::after(desk.store.last_notice_number().await?, desk.today().year());
        Ok(Drafts { ground: Ground::read(desk, mail, linking).await?, readers, heard, unanswered, numbers })
    }

    /// The notices of people whose hour has come.
    pub(super) async fn daily(self, hours: &BTreeMap<String, DateTime>) -> Result<Drafted, DeskError> {
        let people = self.readers.people.iter().filter(|person| hours.contains_key(&person.key));
        let asked = people.map(|person| (person, Why::Daily(hours[&person.key])));
        let plans = self.plan(asked.collect()).await?;
        self.write(plans).await
    }

    /// What stops a launch and was told to nobody yet, for those who must know.
    pub(super) async fn urgent(self) -> Result<Drafted, DeskError> {
        let told = |person: &&Person| matches!(person.role.as_str(), "mechanic" | "engineer" | "clerk");
        let asked = self.readers.people.iter().filter(told).map(|person| (person, Why::Urgent));
        let plans = self.plan(asked.collect()).await?;
        self.write(plans).await
    }

    /// Whom to tell what; the table is worked out once a day of the calendar for all of them.
    async fn plan<'p>(&'p self, asked: Vec<(&'p Person, Why)>) -> Result<Vec<Plan<'p>>, DeskError> {
        let ground = &self.ground;
        let now = ground.desk.now();
        let makers = Arc::new(self.makers(asked.iter().map(|(person, _)| *person)).await?);
        ground
            .desk
            .with_fleet(|fleet| {
                let papers = ground.papers.of(&ground.desk.set, fleet);
                let mut days: BTreeMap<Date, Day> = BTreeMap::new();
                let plans = asked.into_iter().filter_map(|(person, why)| {
                    // Today where the person lives: their stations' dates are dates there.
                    let as_of = compose::zone_of(&ground.desk.set, fleet, person).date_of(now);
                    let day = days.entry(as_of).or_insert_with(|| ground.day(fleet, &papers, as_of));
                    let owed = self.owed(&ground.desk(fleet, &papers, as_of), person, day, why)?;
                    let matters = Arc::clone(&day.matters);
                    let to = self.readers.addressed(person, as_of);
                    let (copies, makers) = (self.copies(person, as_of), Arc::clone(&makers));
                    Some(Plan { to, as_of, why, owed, matters, copies, makers })
                });
                plans.collect()
            })
            .await
    }

    /// Engineers and stores are sent a copy of what a test house is asked.
    fn copies(&self, person: &Person, as_of: Date) -> Vec<Addressed<'_>> {
        let copied = |reader: &&Person| {
            person.role == "test house" && matches!(reader.role.as_str(), "engineer" | "clerk")
        };
        self.readers
            .people
            .iter()
            .filter(copied)
            .map(|reader| self.readers.addressed(reader, as_of))
            .collect()
    }

    /// The maker's certificate of every item, where somebody is a test house.
    async fn makers(
        &self,
        mut people: impl Iterator<Item = &Person>,
    ) -> Result<BTreeMap<String, String>, DeskError> {
        if !people.any(|person| person.role == "test house") {
            return Ok(BTreeMap::new());
        }
        let items = self.ground.desk.store.newest::<Item>().await?;
        Ok(items.into_iter().filter_map(|(tag, item)| Some((tag, item.certificate?))).collect())
    }

    /// What a person is to be told now; none where there is no news.
    fn owed(&self, work: &compose::Desk, person: &Person, day: &Day, why: Why) -> Option<Vec<Owed>> {
        let (audience, heard) = (audience(person)?, &self.heard[&person.key]);
        let mut owed = work.owed(audience, &day.rows, &day.matters, heard, &self.unanswered);
        match why {
            Why::Urgent => owed.retain(|owed| owed.bites && !heard.knows(&owed.mark)),
            Why::Daily(_) if matches!(audience, Audience::TestHouse(_)) => {
                owed.retain(|owed| !heard.marks.contains(&owed.mark));
            }
            Why::Daily(hour) => {
                // An answer pauses reminders, never what stops a launch already.
                let is_news = |owed: &Owed| {
                    !heard.marks.contains(&owed.mark)
                        && (owed.bites || owed.corrected.is_some() || !heard.is_answered(&owed.mark))
                };
                let news = owed.iter().any(is_news);
                let weekly = hour.weekday() == Weekday::Monday && owed.is_empty();
                return (news || weekly).then_some(owed);
            }
        }
        (!owed.is_empty()).then_some(owed)
    }

    async fn write(&self, plans: Vec<Plan<'_>>) -> Result<Drafted, DeskError> {
        let mut written = Drafted::default();
        let mut numbers = self.numbers;
        for plan in plans {
            let chain = self.chain(&plan).await?;
            let place = self.place(&plan).await?;
            let ground = &self.ground;
            let key = plan.to.person.key.clone();
            let heard = &self.heard[&key];
            let fresh = ground
                .desk
                .with_fleet(|fleet| {
                    let papers = ground.papers.of(&ground.desk.set, fleet);
                    let work = ground.desk(fleet, &papers, plan.as_of);
                    written.finish(ground, &work, &plan, (heard, &chain), &place, &mut numbers)
                })
                .await?;
            written.fresh.extend(fresh.into_iter().map(|fresh| (key.clone(), fresh)));
        }
        Ok(written)
    }

    /// What was asked before, for those to whom work climbs.
    async fn chain(&self, plan: &Plan<'_>) -> Result<Chain, DeskError> {
        if !matches!(plan.to.person.role.as_str(), "engineer" | "head") {
            return Ok(Chain::new());
        }
        let marks: BTreeSet<Told> = plan.owed.iter().map(|owed| owed.mark.clone()).collect();
        Ok(self.ground.desk.store.passed(&marks).await?)
    }

    /// The notice it replaces: the newest to this person that told of anything that is told again.
    async fn place(&self, plan: &Plan<'_>) -> Result<Place, DeskError> {
        let heard = &self.heard[&plan.to.person.key];
        let before = plan.owed.iter().filter_map(|owed| {
            let said = heard.newest.get(&(owed.mark.item.clone(), owed.mark.rule.clone()))?;
            (said.occurrence == owed.mark.occurrence).then_some(&said.number)
        });
        let supersedes = before.max_by_key(|number| order(number)).cloned();
        let references = match &supersedes {
            Some(number) => self.ground.desk.store.thread(number, MOST_REFERENCES).await?,
            None => Vec::new(),
        };
        let person = &plan.to.person.key;
        let occasion = match plan.why {
            Why::Daily(hour) => format!("daily {person} {hour}"),
            Why::Urgent => format!("urgent {person} {}", self.ground.desk.store.head().await?.seq),
        };
        Ok(Place { number: String::new(), occasion, supersedes, references })
    }
}

/// Numbers grow within a year, and years grow.
fn order(number: &str) -> (usize, &str) {
    (number.len(), number)
}

impl Drafted {
    /// One person's notices: a digest, or a notice a proof load. What cannot be written is an alarm, and tried again at
    /// the person's next hour.
    fn finish(
        &mut self,
        ground: &Ground,
        work: &compose::Desk,
        plan: &Plan,
        (heard, chain): (&Heard, &Chain),
        place: &Place,
        numbers: &mut Numbers,
    ) -> Vec<Fresh> {
        if plan.to.person.role == "test house" {
            return self.proofs(work, plan, heard, place, numbers);
        }
        let place = Place { number: numbers.next(), ..place.clone() };
        let (owed, matters, templates) = (&plan.owed, &plan.matters, &ground.mail.templates);
        match work.digest(&plan.to, owed, matters, (heard, chain), templates, place) {
            Ok(digest) => vec![digest],
            Err(error) => {
                self.fails(&plan.to, &error.to_string());
                Vec::new()
            }
        }
    }

    /// What a test house is asked, a notice a proof load, each with its copies. A copy that cannot be written keeps
    /// neither the test house unasked nor the other copies back.
    fn proofs(
        &mut self,
        work: &compose::Desk,
        plan: &Plan,
        heard: &Heard,
        place: &Place,
        numbers: &mut Numbers,
    ) -> Vec<Fresh> {
        let mut written = Vec::new();
        for owed in &plan.owed {
            let Subject::Row(row) = owed.subject else { continue };
            let certificate = plan.makers.get(&owed.mark.item).map(String::as_str);
            let asking = Asking { row: &row, told: &owed.mark, certificate };
            // Each replaces the one of its own gear, not the newest of all that the test house has.
            let before = heard.newest.get(&(owed.mark.item.clone(), owed.mark.rule.clone()));
            let before = before.filter(|said| said.occurrence == owed.mark.occurrence);
            let place = Place { supersedes: before.map(|said| said.number.clone()), ..place.clone() };
            match self.proof(work, plan, &asking, &place, numbers) {
                Ok(fresh) => written.extend(fresh),
                Err(error) => self.fails(&plan.to, &format!("the proof load of {}: {error}", owed.mark.item)),
            }
        }
        written
    }

    fn proof(
        &mut self,
        work: &compose::Desk,
        plan: &Plan,
        asking: &Asking,
        place: &Place,
        numbers: &mut Numbers,
    ) -> Result<Vec<Fresh>, ProofNoticeError> {
        let Told { item, rule, occurrence, stage } = asking.told;
        let occasion = format!("proof load {} {item} {rule} {occurrence} {stage}", plan.to.person.key);
        let station = work.fleet.station_of(work.fleet.item(asking.row.item)).map(|at| &*at.slug);
        let place = Place { number: numbers.next(), occasion: occasion.clone(), ..place.clone() };
        let number = place.number.clone();
        let mut written = vec![work.proof_load(&plan.to, asking, place)?];
        for reader in plan.copies.iter().filter(|reader| is_of(reader.person, station)) {
            let occasion = format!("{occasion} copy {}", reader.person.key);
            let place = Place { number: numbers.next(), occasion, ..Place::default() };
            match work.proof_copy(reader, (&plan.to, &number), asking, place) {
                Ok(copy) => written.push(copy),
                Err(error) => {
                    self.fails(
                        reader,
                        &format!("a copy of what {} is asked of {item}: {error}", plan.to.person.key),
                    );
                }
            }
        }
        Ok(written)
    }
}

/// Numbers of notices, one after another within a year.
#[derive(Clone, Copy)]
struct Numbers {
    year: i16,
    last: u64,
}

impl Numbers {
    fn after(last: u64, year: i16) -> Numbers {
        Numbers { year, last }
    }

    fn next(&mut self) -> String {
        self.last += 1;
        format!("N-{}-{:04}", self.year, self.last)
    }
}

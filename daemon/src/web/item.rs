//! Where has it been, and what is due? One item from manufacture to the day the page is read as of.

use std::cmp::Reverse;

use askama::Template;
use axum::response::Response;
use policies::facts::{Fleet, ItemId};
use policies::wear::Wear;
use policies::zone::Zone;

use super::asked::Asked;
use super::fault::Fault;
use super::judged::by_urgency;
use super::life::Stay;
use super::life_line::{self, LifeLine};
use super::line::Line;
use super::links::{Link, Links};
use super::place::{Place, View};
use super::shell::Shell;
use super::source::Source;
use super::visit::{Visit, html};
use super::{Web, drawing, entry, filters, history, near, out_of_service, proof, replay, why, words};
use crate::examine::defects;
use crate::files::Filed;
use crate::gear;
use crate::items::loans::agreed;
use crate::judgement::of_readings;
use crate::proofs;
use crate::records::{self, Certificate, Concession, Defect, Examination, Loan, State, Work};
use crate::store::fleet::judged;
use crate::wear;

/// Records of work on the first screen.
const WORKS: usize = 20;

/// What the records say of one item beyond the fleet.
struct Beside {
    record: Option<records::Item>,
    works: Vec<Work>,
    states: Vec<State>,
    certificates: Vec<Certificate>,
    concessions: Vec<Concession>,
    reports: Vec<Examination>,
    defects: Vec<Defect>,
    loans: Vec<Loan>,
}

/// One record of work.
struct Done {
    day: String,
    rule: Link,
    outcome: String,
    failed: bool,
    /// It waits for its certificate.
    unproved: bool,
    readings: Vec<String>,
    /// What the discard criteria say of them.
    judged: Vec<String>,
    by: String,
    certificate: String,
    note: String,
}

/// One dated remark.
struct Remark {
    day: String,
    text: String,
}

#[derive(Template)]
#[template(path = "item.html")]
struct Page {
    shell: Shell,
    tag: String,
    what: String,
    place: Place,
    unfit: Option<String>,
    out_of_service: String,
    lent: Option<(String, bool)>,
    history: String,
    due: Vec<Line>,
    count: Option<(String, String)>,
    totals: Vec<String>,
    stays: Vec<Stay>,
    carries: Vec<(String, Vec<Link>)>,
    works: Vec<Done>,
    hidden: usize,
    /// How often it was proof-loaded, and the notice for a test house.
    proofs: Option<(String, Option<Link>)>,
    whole: String,
    life: LifeLine,
    label: String,
    wear: Vec<Worn>,
    /// Readings that are too few to foretell anything.
    few: Vec<String>,
    defects: Vec<Remark>,
    reports: Vec<(String, Link, String)>,
    states: Vec<Remark>,
    certificates: Vec<(Remark, Option<Link>)>,
    concessions: Vec<Remark>,
    cut_from: Option<Link>,
    split_from: Option<Link>,
    split_into: Vec<Link>,
    cut_into: Vec<Link>,
    set: Option<(String, Vec<Link>)>,
    attributes: Vec<(String, String)>,
    /// What may be done with it, by who is signed in.
    acts: Vec<Link>,
    ends: Vec<Link>,
    /// Its part and its drum among the stores' pages.
    stores: Vec<Link>,
}

/// The item's page, or the derivation of one of its rows: tags hold slashes, so the address is taken apart here.
///
/// # Errors
/// An unknown tag or rule, a date that is none, or records that cannot be read.
pub(super) async fn or_why(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let source = Source::open(&visit.web, &asked).await?;
    let address = visit.name();
    let known = source.fleet(|fleet| Ok(fleet.find(address).is_some())).await?;
    if let Some(tag) = address.strip_suffix("/tag").filter(|_| !known) {
        return out_of_service::page(&visit.web, &asked, &source, tag).await;
    }
    if let Some(tag) = address.strip_suffix("/history").filter(|_| !known) {
        return history::page(&visit.web, &asked, &source, tag).await;
    }
    match (address.rsplit_once("/why/"), visit.query.why.as_deref()) {
        (Some((tag, rule)), _) if !known => why::page(&visit.web, &asked, &source, tag, rule).await,
        (_, Some(rule)) => why::page(&visit.web, &asked, &source, address, rule).await,
        _ => page(visit, &asked, &source, address).await,
    }
}

/// Concessions that can be ended.
fn live(concessions: &[Concession], web: &Web, may: bool) -> Vec<Link> {
    let today = web.desk.today().to_string();
    let open = concessions.iter().filter(|row| may && row.until_date >= today);
    open.map(|row| Link {
        text: format!("End {}", row.key),
        href: format!("/end/{}", super::links::encoded(&row.key, true)),
    })
    .collect()
}

async fn page(visit: &Visit, asked: &Asked, source: &Source<'_>, tag: &str) -> Result<Response, Fault> {
    let web = &*visit.web;
    let beside = Beside {
        record: source.one(tag).await?,
        works: source.of_item::<Work>(tag).await?,
        states: source.of_item::<State>(tag).await?,
        certificates: source.of_item::<Certificate>(tag).await?,
        concessions: source.records(|concession: &Concession| concession.item == tag).await?,
        reports: source.of_item::<Examination>(tag).await?,
        defects: source.of_item::<Defect>(tag).await?,
        loans: source.records(|loan: &Loan| loan.item == tag).await?,
    };
    let mut page = source.fleet(|fleet| make(web, asked, fleet, tag, &beside)).await?;
    if visit.presence.seen().is_some() && !asked.replays {
        let owner = beside.record.as_ref().and_then(|item| item.station.clone());
        page.acts = entry::ways_of(visit, tag, owner.as_deref(), page.unfit.is_some());
        for detail in page.due.iter_mut().filter_map(|line| line.detail.as_mut()) {
            detail.records_at = entry::ways_of_task(visit, tag, &detail.rule.text, owner.as_deref());
        }
        let may_end = !page.acts.is_empty() && entry::may_end(visit);
        page.ends = live(&beside.concessions, web, may_end);
    }
    html(&page)
}

/// The item, or the tags that come near to what was asked for.
///
/// # Errors
/// An unknown tag.
pub(super) fn find(fleet: &Fleet, links: &Links, tag: &str) -> Result<ItemId, Fault> {
    fleet.find(tag).ok_or_else(|| {
        let tags = fleet.items.iter().map(|item| &*item.tag);
        let near: Vec<Link> = near::nearest(tag, tags).into_iter().map(|tag| links.to_item(tag)).collect();
        let right = if near.is_empty() {
            "Search for part of the tag, or for a serial."
        } else {
            "Was one of these meant?"
        };
        Fault::missing(format!("No item is tagged \"{tag}\"."), right, near)
    })
}

fn make(web: &Web, asked: &Asked, fleet: &Fleet, tag: &str, beside: &Beside) -> Result<Page, Fault> {
    let id = find(fleet, &asked.links, tag)?;
    let view = View::new(web, asked, fleet);
    let item = view.item(id);
    let known = match item.station {
        Some(station) => replay::known_at(web, asked, fleet, station),
        None => replay::known(web, asked),
    };
    let worn = wear::of_item(&view.evaluator, (view.set, fleet), id, &beside.works);
    let (works, hidden) = works(&view, id, beside, asked.all);
    let reason = beside.states.iter().max_by_key(|state| state.at).and_then(|state| state.reason.clone());
    Ok(Page {
        shell: Shell::of(web, asked, &format!("{tag}: where has it been, and what is due?"), known),
        what: view.what(id),
        place: view.place(id),
        unfit: view.shut(id).map(|shut| view.shut_words(id, &shut, reason.as_deref())),
        out_of_service: asked.links.out_of_service(tag),
        lent: view.loan_words(id, &agreed(fleet, &beside.loans)),
        history: asked.links.history(tag),
        due: due(&view, id, &beside.concessions),
        count: view.life_count(id),
        totals: view.totals(id),
        stays: view.stays(id),
        carries: carries(&view, id),
        works,
        hidden,
        proofs: proofs_of(web, asked, &view, id),
        whole: asked.links.whole(&Links::item_path(tag)),
        few: few(&worn),
        life: life_of(&view, id, &worn, beside),
        label: asked.links.label(tag),
        wear: drawn(&view, id, &worn),
        defects: open_defects(&view, &beside.defects),
        reports: reports(&view, id, &beside.reports),
        states: states(&view, id, &beside.states),
        certificates: beside.certificates.iter().map(certificate).collect(),
        concessions: beside.concessions.iter().map(concession).collect(),
        cut_from: item.cut_from.map(|parent| asked.links.to_item(view.tag(parent))),
        split_from: taken_out_of(item).map(|parent| asked.links.to_item(view.tag(parent))),
        split_into: split_into(&view, id),
        cut_into: cut_into(&view, id),
        set: set_of(&view, id),
        attributes: attributes(&view, id, beside.record.as_ref()),
        acts: Vec::new(),
        ends: Vec::new(),
        stores: at_stores(&view, id, asked, beside.record.as_ref()),
        tag: tag.to_owned(),
    })
}

/// Its part, and the wire that is left on it where it is a drum, for who may read what stores hold.
fn at_stores(view: &View, id: ItemId, asked: &Asked, record: Option<&records::Item>) -> Vec<Link> {
    if !asked.stores {
        return Vec::new();
    }
    let part = record.and_then(|record| record.part.as_deref());
    let part = part.map(|part| Link { text: format!("Stock of {part}"), href: view.links.spare(part) });
    let is_drum = view.kind(id).name == "drum" && view.shut(id).is_none();
    let drum =
        is_drum.then(|| Link { text: "The wire on it".to_owned(), href: view.links.drum(view.tag(id)) });
    part.into_iter().chain(drum).collect()
}

fn life_of(view: &View, id: ItemId, worn: &[Wear], beside: &Beside) -> LifeLine {
    let rows = view.rows_of(id).into_iter();
    view.life_line(
        id,
        &life_line::Beside {
            worn,
            agreed: &agreed(view.fleet, &beside.loans),
            defects: &defects::of_fleet(view.fleet, &beside.defects),
            judged: &rows.map(|row| view.judge(row, &beside.concessions)).collect::<Vec<_>>(),
        },
    )
}

fn due(view: &View, id: ItemId, concessions: &[Concession]) -> Vec<Line> {
    let judged: Vec<_> = view.rows_of(id).into_iter().map(|row| view.judge(row, concessions)).collect();
    let mut rows: Vec<_> = judged.iter().collect();
    by_urgency(view, &mut rows);
    rows.sort_by_key(|judged| {
        (judged.bite, Reverse(judged.row.standing), judged.row.due_on.is_none(), judged.row.due_on)
    });
    rows.iter().map(|row| view.full_line(&[row])).collect()
}

/// What it carries, by position; nothing where it may carry something and does not.
fn carries(view: &View, id: ItemId) -> Vec<(String, Vec<Link>)> {
    let needed = view.kind(id).positions.iter().any(|position| position.required);
    if view.carried(id).is_empty() && !needed {
        return Vec::new();
    }
    let positions = (0u16..).zip(&view.kind(id).positions);
    let here = |at: u16| {
        let fitted = view.carried(id).iter().filter(move |(position, _)| *position == Some(at));
        fitted.map(|(_, item)| view.links.to_item(view.tag(*item))).collect::<Vec<Link>>()
    };
    positions.map(|(at, position)| (position.name.clone(), here(at))).collect()
}

fn works(view: &View, id: ItemId, beside: &Beside, all: bool) -> (Vec<Done>, usize) {
    let cutoff = view.cutoff(id);
    let mut records: Vec<&Work> = beside.works.iter().filter(|work| work.at < cutoff.0).collect();
    records.sort_by(|a, b| (b.at, &b.key).cmp(&(a.at, &a.key)));
    let shown = if all { records.len() } else { WORKS };
    let item = beside.record.as_ref();
    let works = records.iter().take(shown).map(|work| done(view, view.zone(id), item, work)).collect();
    (works, records.len().saturating_sub(shown))
}

/// The notice is only led to where its load can be found.
fn proofs_of(web: &Web, asked: &Asked, view: &View, id: ItemId) -> Option<(String, Option<Link>)> {
    view.kind(id).proof.as_ref()?;
    let prior = proofs::prior(view.set, view.fleet, id, view.cutoff(id));
    let can_be_asked = proof::asking(web, asked, view.fleet).proof_asked(id, None, None).is_ok();
    let href = || view.links.proof(view.tag(id));
    let notice = can_be_asked.then(|| Link { text: "Proof-load notice".to_owned(), href: href() });
    Some((prior.unwrap_or_else(|| "none".to_owned()), notice))
}

fn done(view: &View, zone: &Zone, item: Option<&records::Item>, work: &Work) -> Done {
    let rule = view.set.find_rule(&work.rule).map(|rule| view.set.rule(rule));
    let text = rule.map_or(&work.rule, |rule| &rule.title).clone();
    Done {
        day: date_of(zone, work.at, work.day.as_deref()),
        rule: Link { text, href: rule.map(|rule| view.links.rule(&rule.id)).unwrap_or_default() },
        failed: work.outcome == "failed",
        unproved: work.outcome != "failed"
            && work.certificate.is_none()
            && rule.is_some_and(|rule| rule.certificate),
        outcome: work.outcome.clone(),
        readings: gear::readings(view.set, work),
        judged: item
            .and_then(|item| judged(view.set, item, work))
            .map(|judged| of_readings(&judged))
            .unwrap_or_default(),
        by: work.by.clone().unwrap_or_default(),
        certificate: work.certificate.clone().unwrap_or_default(),
        note: work.note.clone().unwrap_or_default(),
    }
}

/// A record's day, in full.
fn date_of(zone: &Zone, at: i64, day: Option<&str>) -> String {
    let known = day.and_then(|day| day.parse().ok());
    words::full_day(known.unwrap_or_else(|| zone.date_of(policies::zone::Instant(at))))
}

/// A reading with its drawing, what it foretells, and the same numbers as a table.
struct Worn {
    heading: String,
    drawing: String,
    said: Vec<String>,
    points: Vec<(String, String, String)>,
}

/// Readings that were taken three times or more.
fn drawn(view: &View, id: ItemId, found: &[Wear]) -> Vec<Worn> {
    let mut bounded: Vec<_> =
        found.iter().filter(|wear| wear.trend.is_ok() && wear.limit.is_some()).collect();
    // What lost metal at once is read first, then what comes to its limit first.
    bounded.sort_by_key(|wear| {
        let date = wear.odds.as_ref().map_or(None, |odds| odds.by_wear[0]);
        (wear.jump.is_none(), date.is_none(), date, wear.safe_uses.is_none(), wear.safe_uses)
    });
    bounded.into_iter().map(|wear| worn_one(view, id, wear)).collect()
}

/// `link diameter (2)` for each bounded reading without a line.
fn few(found: &[Wear]) -> Vec<String> {
    let few = found.iter().filter(|wear| wear.trend.is_err() && wear.limit.is_some());
    few.map(|wear| format!("{} ({})", wear.name, wear.points.len())).collect()
}

fn worn_one(view: &View, id: ItemId, wear: &Wear) -> Worn {
    let unit = wear.unit.as_ref().map(|unit| format!(" {unit}")).unwrap_or_default();
    let meter = view.set.kinds.meter_name(wear.meter);
    let heading = words::upper_first(&wear.name);
    let title = format!("{heading} of {} against {meter}, with its limit", view.tag(id));
    let points = wear.points.iter().map(|(on, point)| {
        (
            words::full_day(*on),
            format!("{:.0} {meter}", point.used.to_f64()),
            format!("{}{unit}", point.reading),
        )
    });
    Worn {
        drawing: drawing::wear::wear(
            &format!("wear-{}", wear.name.replace(|c: char| !c.is_ascii_alphanumeric(), "-")),
            wear,
            &title,
            meter,
        ),
        said: wear::lines(view.set, wear),
        points: points.collect(),
        heading,
    }
}

fn states(view: &View, id: ItemId, records: &[State]) -> Vec<Remark> {
    let mut records: Vec<&State> = records.iter().filter(|state| state.at < view.cutoff(id).0).collect();
    records.sort_by_key(|state| state.at);
    let remark = |state: &&State| {
        let by = state.by.as_ref().map(|by| format!(" by {by}")).unwrap_or_default();
        let reason = state.reason.as_ref().map(|reason| format!(": {reason}")).unwrap_or_default();
        Remark {
            day: date_of(view.zone(id), state.at, state.day.as_deref()),
            text: format!("{}{by}{reason}", state.state),
        }
    };
    records.iter().map(remark).collect()
}

fn open_defects(view: &View, records: &[Defect]) -> Vec<Remark> {
    let open = defects::of_fleet(view.fleet, records);
    let open = open.into_iter().filter(|defect| defect.is_open(view.day(defect.item)));
    let remark = |defect: policies::readiness::Defect| Remark {
        day: words::full_day(defect.found_on),
        text: format!("{}; {}", defects::says(&defect), defects::clears(&defect)),
    };
    open.map(remark).collect()
}

fn reports(view: &View, id: ItemId, records: &[Examination]) -> Vec<(String, Link, String)> {
    let mut records: Vec<&Examination> = records.iter().filter(|row| row.at < view.cutoff(id).0).collect();
    records.sort_by(|a, b| (b.at, &b.key).cmp(&(a.at, &a.key)));
    let line = |row: &&Examination| {
        let rule = view.set.find_rule(&row.rule).map_or(&row.rule, |rule| &view.set.rule(rule).title);
        let safe = if row.safe_to_operate.as_deref() == Some("yes") {
            "safe to operate"
        } else {
            "not safe to operate"
        };
        let standing = row.not_accepted.as_deref().map(|why| format!("; {why}")).unwrap_or_default();
        let link = Link { text: row.key.clone(), href: view.links.report(&row.key) };
        (date_of(view.zone(id), row.at, row.day.as_deref()), link, format!("{rule}, {safe}{standing}"))
    };
    records.iter().map(line).collect()
}

fn text_day(text: &str) -> String {
    text.parse().map_or_else(|_| text.to_owned(), words::full_day)
}

fn certificate(certificate: &Certificate) -> (Remark, Option<Link>) {
    let until = certificate.valid_until.as_deref().map(|day| format!(", valid until {}", text_day(day)));
    let text = format!("{} by {}{}", certificate.number, certificate.issuer, until.unwrap_or_default());
    let filed = certificate.file.as_deref().and_then(Filed::parse);
    let file = filed.map(|filed| Link { href: Links::file(&filed), text: filed.name });
    (Remark { day: text_day(&certificate.issued_on), text }, file)
}

fn concession(concession: &Concession) -> Remark {
    let second = concession.second.as_ref().map(|second| format!(", second {second}")).unwrap_or_default();
    let text = format!(
        "{} on {}, to 24:00 on {}: {}; by {}{second}",
        concession.key,
        concession.rule,
        text_day(&concession.until_date),
        concession.conditions,
        concession.by
    );
    Remark { day: text_day(&concession.from_date), text }
}

fn cut_into(view: &View, id: ItemId) -> Vec<Link> {
    let children = view.fleet.items.iter().filter(|item| item.cut_from == Some(id));
    children.map(|item| view.links.to_item(&item.tag)).collect()
}

/// The batch that it was taken out of; of a piece of wire its parent is told as what it was cut from.
fn taken_out_of(item: &policies::facts::Item) -> Option<ItemId> {
    item.taken_from.map(|(parent, _)| parent).filter(|_| item.cut_from.is_none())
}

fn split_into(view: &View, id: ItemId) -> Vec<Link> {
    let children = view.fleet.items.iter().filter(|item| taken_out_of(item) == Some(id));
    children.map(|item| view.links.to_item(&item.tag)).collect()
}

/// Its set, and the others in it that are still in service.
fn set_of(view: &View, id: ItemId) -> Option<(String, Vec<Link>)> {
    let name = view.item(id).set.as_deref()?;
    let others = view
        .fleet
        .set(name)
        .iter()
        .filter(|other| **other != id && !view.evaluator.is_withdrawn(view.item(**other)));
    Some((name.to_owned(), others.map(|other| view.links.to_item(view.tag(*other))).collect()))
}

fn attributes(view: &View, id: ItemId, record: Option<&records::Item>) -> Vec<(String, String)> {
    let item = view.item(id);
    let date = |date: Option<jiff::civil::Date>| Some(date.map_or("not known".to_owned(), words::full_day));
    let of_record = |field: fn(&records::Item) -> Option<String>| record.and_then(field);
    let station = view.fleet.station_of(item).map_or("central stores", |station| &*station.name);
    let fixed = [
        ("kind", Some(view.kind(id).name.clone())),
        ("owner", Some(station.to_owned())),
        ("made", date(item.manufactured_on)),
        ("in service since", date(item.entered_service_on)),
        ("serial", of_record(|record| record.serial.clone())),
        ("certificate", of_record(|record| record.certificate.clone())),
        ("part", of_record(|record| record.part.clone())),
        ("quantity", of_record(|record| record.quantity.map(|quantity| quantity.to_string()))),
    ];
    let fixed = fixed.into_iter().filter_map(|(name, value)| Some((name.to_owned(), value?)));
    fixed.chain(item.attributes.iter().map(|(column, value)| attribute(view, id, column, value))).collect()
}

fn attribute(view: &View, id: ItemId, column: &str, value: &policies::rule::Value) -> (String, String) {
    let attribute = view.kind(id).attribute(column);
    let name = attribute.map_or_else(|| column.replace('_', " "), |attribute| attribute.name.clone());
    let unit = attribute.and_then(|attribute| attribute.unit.as_ref()).map(|unit| format!(" {unit}"));
    (name, format!("{}{}", words::value(value), unit.unwrap_or_default()))
}

//! Gear entered, set aside, fitted and removed, cut, cropped and turned, split out of a batch, lent.

use jiff::civil::Date;
use policies::amount::Amount;
use policies::facts::State;
use serde_json::Value;

use super::log::{AT, NOTE};
use super::{Deed, Doing, sheet};
use crate::desk::DeskError;
use crate::items::state::SetState;
use crate::items::{Rows, crop, cut, fit, lend, split, substitute};
use crate::rights::Act;
use crate::web::api::ask::{Field, Sort, needed, optional};
use crate::web::api::problem::{Problem, Wrong};
use crate::web::routes::At;

const NOW: Field = needed("at", Sort::Text, "when: RFC 3339, a local time or a local date");
const HOST: Field = needed("host", Sort::Text, "the tag of the host");
const POSITION: Field = needed("position", Sort::Text, "the position on the host");
const UNTIL: &str = "the last day, like 2026-10-12";

fn deed(
    path: &'static str,
    act: Act,
    names: (&'static str, &'static str),
    fields: &'static [Field],
    run: fn(Doing) -> super::Done,
) -> Deed {
    let (id, says) = names;
    Deed { path, act, at: At::Page, id, says, fields, run }
}

const ADD: &[Field] = &[
    needed("item", Sort::Text, "the tag"),
    needed("kind", Sort::Text, "the kind"),
    optional("cells", Sort::Cells, "further columns of items.csv, such as station or length_m"),
];
const STATE: &[Field] = &[
    needed(
        "state",
        Sort::Word(&["quarantined", "released", "laid up", "returned", "withdrawn"]),
        "the state",
    ),
    needed("reason", Sort::Text, "why"),
    AT,
];
const FIT: &[Field] = &[HOST, POSITION, AT, optional("swap", Sort::Text, "the tag it takes the place of")];
const CROP: &[Field] = &[
    needed("off_m", Sort::Decimal, "the metres that come off"),
    optional(
        "end",
        Sort::Word(&["working", "drum"]),
        "the end they come off; the working end where left out",
    ),
    NOW,
];
const CUT: &[Field] = &[
    needed("pieces", Sort::Cells, "lengths in metres by the new tags"),
    optional("waste_m", Sort::Decimal, "the metres lost in cutting"),
    optional("keep_m", Sort::Decimal, "the metres that stay under the parent's tag"),
    optional("kind", Sort::Text, "what the pieces become"),
    optional("set", Sort::Text, "the set they are renewed with"),
    needed("on", Sort::Text, "the day, like 2026-10-12"),
];
const SPLIT: &[Field] = &[
    needed("item", Sort::Text, "the new tag"),
    optional("quantity", Sort::Whole, "how many; 1 where left out"),
    optional("kind", Sort::Text, "what it becomes"),
    NOW,
];
const LOAN: &[Field] = &[
    needed("until", Sort::Text, UNTIL),
    optional("to", Sort::Text, "the station that borrows it"),
    optional("from", Sort::Text, "the first day, like 2026-10-12"),
    NOTE,
];
const SUBSTITUTE: &[Field] =
    &[HOST, POSITION, needed("reason", Sort::Text, "why it is sound"), optional("until", Sort::Text, UNTIL)];

pub(super) fn deeds() -> Vec<Deed> {
    vec![
        deed("/items", Act::EnterItem, ("add_item", "Enter gear"), ADD, |doing| Box::pin(add(doing))),
        deed(
            "/items/{tag}/state",
            Act::SetAside,
            ("set_state", "Set gear aside, lay it up, bring it back, release or withdraw it"),
            STATE,
            |doing| Box::pin(state(doing)),
        ),
        deed("/items/{tag}/fit", Act::FitItem, ("fit_item", "Fit an item to a host"), FIT, |doing| {
            Box::pin(fitted(doing))
        }),
        deed(
            "/items/{tag}/remove",
            Act::FitItem,
            ("remove_item", "Remove an item from its host"),
            &[AT],
            |doing| Box::pin(removed(doing)),
        ),
        deed("/items/{tag}/crop", Act::CropItem, ("crop_item", "Crop an end off a wire"), CROP, |doing| {
            Box::pin(cropped(doing))
        }),
        deed("/items/{tag}/turn", Act::TurnItem, ("turn_item", "Turn a wire end for end"), &[NOW], |doing| {
            Box::pin(turned(doing))
        }),
        deed("/items/{tag}/cut", Act::CutItem, ("cut_item", "Cut pieces off a wire or drum"), CUT, |doing| {
            Box::pin(cut_up(doing))
        }),
        deed(
            "/items/{tag}/split",
            Act::FitItem,
            ("split_item", "Give pieces of a batch a tag of their own"),
            SPLIT,
            |doing| Box::pin(split_off(doing)),
        ),
        deed(
            "/items/{tag}/loan",
            Act::AgreeLoan,
            ("lend_item", "Agree until when a station has gear of another"),
            LOAN,
            |doing| Box::pin(lent(doing)),
        ),
        deed(
            "/items/{tag}/substitute",
            Act::GrantConcession,
            ("substitute_item", "Let an item stand where it differs from what belongs there"),
            SUBSTITUTE,
            |doing| Box::pin(substituted(doing)),
        ),
    ]
}

pub(super) fn amount(doing: &Doing, name: &str) -> Option<Amount> {
    doing.given.decimal(name).and_then(|text| text.parse().ok())
}

/// A day that is given.
pub(super) fn day(doing: &Doing, name: &str) -> Result<Option<Date>, Problem> {
    let Some(text) = doing.given.text(name) else { return Ok(None) };
    let plain = text.len() == 10 && text.bytes().all(|byte| byte.is_ascii_digit() || byte == b'-');
    text.parse().ok().filter(|_| plain).map(Some).ok_or_else(|| {
        Problem::unfit(vec![Wrong::field(name, format!("\"{text}\" is no day"), "Write it like 2026-10-12.")])
    })
}

fn needed_day(doing: &Doing, name: &str) -> Result<Date, Problem> {
    let missing =
        || Problem::unfit(vec![Wrong::field(name, "The day is missing", "Write it like 2026-10-12.")]);
    day(doing, name)?.ok_or_else(missing)
}

async fn add(doing: Doing) -> Result<Value, Problem> {
    let mut cells = vec![("item".to_owned(), doing.given.needed("item"))];
    cells.push(("kind".to_owned(), doing.given.needed("kind")));
    cells.extend(doing.given.cells("cells"));
    let tag = doing.given.needed("item");
    let cells: Vec<(&str, String)> = cells.iter().map(|(name, cell)| (name.as_str(), cell.clone())).collect();
    let row = sheet("items", &cells);
    let make = |look: &crate::items::Look| {
        let Some(known) = look.register.items.get(&tag) else {
            return Ok(Rows { sheets: vec![row], told: Vec::new() });
        };
        let have = look.item_sheet(known);
        let cell = |column: &str| {
            let at = have.header.iter().position(|name| name == column)?;
            have.rows.first()?.1.get(at).cloned()
        };
        if cells.iter().all(|(column, value)| cell(column).as_ref() == Some(value)) {
            return Ok(Rows::default());
        }
        Err(DeskError::Refused(format!(
            "{tag} is in the register already with other values; correct it under /api/v1/corrections"
        )))
    };
    doing.handle("item add", make).await
}

async fn state(doing: Doing) -> Result<Value, Problem> {
    let tag = doing.name(0);
    let word = State::from_word(doing.given.raw("state")).unwrap_or(State::Quarantined);
    let act = if word == State::Released { Act::ReleaseGear } else { Act::SetAside };
    doing.may(act, &tag).await?;
    let asked = SetState {
        tag,
        state: word,
        reason: doing.given.needed("reason"),
        at: Some(doing.when()),
        by: doing.me().to_owned(),
        second: None,
    };
    doing.handle(&format!("state {word}"), |look| asked.rows(look)).await
}

async fn fitted(doing: Doing) -> Result<Value, Problem> {
    let fit = fit::Fit {
        tag: doing.name(0),
        host: doing.given.needed("host"),
        position: doing.given.needed("position"),
        at: Some(doing.when()),
        swap: doing.given.owned("swap"),
    };
    doing.may(Act::FitItem, &fit.tag).await?;
    doing.may(Act::FitItem, &fit.host).await?;
    doing.handle("item fit", |look| fit.rows(look)).await
}

async fn removed(doing: Doing) -> Result<Value, Problem> {
    let remove = fit::Remove { tag: doing.name(0), at: Some(doing.when()) };
    doing.may(Act::FitItem, &remove.tag).await?;
    doing.handle("item remove", |look| remove.rows(look)).await
}

async fn cropped(doing: Doing) -> Result<Value, Problem> {
    let end = if doing.given.text("end") == Some("drum") { "drum" } else { "working" };
    let off = amount(&doing, "off_m").unwrap_or(Amount::whole(0));
    let crop = crop::Crop { tag: doing.name(0), off, end, at: doing.when(), by: doing.me().to_owned() };
    doing.may(Act::CropItem, &crop.tag).await?;
    doing.handle("item crop", |look| crop.rows(look)).await
}

async fn turned(doing: Doing) -> Result<Value, Problem> {
    let turn = crop::Turn { tag: doing.name(0), at: doing.when(), by: doing.me().to_owned() };
    doing.may(Act::TurnItem, &turn.tag).await?;
    doing.handle("item turn", |look| turn.rows(look)).await
}

async fn cut_up(doing: Doing) -> Result<Value, Problem> {
    let mut pieces = Vec::new();
    for (tag, length) in doing.given.cells("pieces") {
        let piece = format!("{tag}:{length}").parse::<cut::Piece>();
        pieces.push(piece.map_err(|wrong| {
            Problem::unfit(vec![Wrong::field("pieces", wrong, "Give lengths in metres by the new tags.")])
        })?);
    }
    let cut = cut::Cut {
        parent: doing.name(0),
        pieces,
        waste: amount(&doing, "waste_m").unwrap_or(Amount::whole(0)),
        keep: amount(&doing, "keep_m"),
        kind: doing.given.owned("kind"),
        set: doing.given.owned("set"),
        at: needed_day(&doing, "on")?,
        by: doing.me().to_owned(),
    };
    doing.may(Act::CutItem, &cut.parent).await?;
    doing.handle("item cut", |look| cut.rows(look)).await
}

async fn split_off(doing: Doing) -> Result<Value, Problem> {
    let split = split::Split {
        batch: doing.name(0),
        tag: doing.given.needed("item"),
        quantity: doing.given.whole("quantity").unwrap_or(1),
        kind: doing.given.owned("kind"),
        at: doing.when(),
        by: doing.me().to_owned(),
    };
    doing.may(Act::FitItem, &split.batch).await?;
    doing.handle("item split", |look| split.rows(look)).await
}

async fn lent(doing: Doing) -> Result<Value, Problem> {
    let lend = lend::Lend {
        tag: doing.name(0),
        until: needed_day(&doing, "until")?,
        to: doing.given.owned("to"),
        from: day(&doing, "from")?,
        by: doing.me().to_owned(),
        note: doing.given.owned("note"),
    };
    doing.may(Act::AgreeLoan, &lend.tag).await?;
    doing.handle("item loan", |look| lend.rows(look)).await
}

async fn substituted(doing: Doing) -> Result<Value, Problem> {
    let word = substitute::Substitute {
        tag: doing.name(0),
        host: doing.given.needed("host"),
        position: doing.given.needed("position"),
        by: doing.me().to_owned(),
        reason: doing.given.needed("reason"),
        until: day(&doing, "until")?.map(|day| day.to_string()),
    };
    doing.may(Act::GrantConcession, &word.tag).await?;
    doing.handle("item substitute", |look| word.rows(look)).await
}

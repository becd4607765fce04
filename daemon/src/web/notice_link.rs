//! What a link in a notice opens: the matters of that one notice, read only. Whoever it was forwarded to sees no more.

use askama::Template;
use axum::response::Response;
use policies::zone::Instant;

use super::fault::Fault;
use super::links::{Link, Links};
use super::shell::Shell;
use super::visit::{Visit, html};
use super::words;

/// A matter as it was told.
struct Told {
    item: Link,
    title: String,
    due: String,
}

#[derive(Template)]
#[template(path = "notice-link.html")]
struct Page {
    shell: Shell,
    number: String,
    composed: String,
    told: Vec<Told>,
}

/// The page.
///
/// # Errors
/// A link that is unknown, has lapsed or was revoked.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let web = &visit.web;
    let now = web.desk.now();
    let Some(seen) = web.door.accounts.notice_of(visit.name(), now).await? else {
        let right = "A link in a notice lasts five weeks. The newest notice has a newer one; or sign in.";
        let near = vec![Link { text: "Sign in".to_owned(), href: "/sign-in".to_owned() }];
        return Err(Fault::missing("This link opens nothing, or no longer does.", right, near));
    };
    let name = visit.presence.seen().map(|seen| seen.who.person.name.as_str());
    let title = format!("What notice {} told", seen.number);
    html(&Page {
        shell: Shell::bare(web, &title, Links::default()).signed(name),
        composed: words::moment(&web.desk.set.service.home_zone, Instant(seen.composed_at)),
        told: seen.lines.into_iter().map(|line| told(visit, line)).collect(),
        number: seen.number,
    })
}

fn told(visit: &Visit, (item, rule, due_on): (String, String, Option<String>)) -> Told {
    let set = &visit.web.desk.set;
    let title = set.find_rule(&rule).map(|id| set.rule(id).title.clone());
    let day = due_on.and_then(|day| day.parse().ok()).map(words::long_day);
    Told {
        item: Links::default().to_item(&item),
        title: title.unwrap_or(rule),
        due: day.map_or_else(|| "no date".to_owned(), |day| format!("by {day}")),
    }
}

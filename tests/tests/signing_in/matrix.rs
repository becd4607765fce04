//! P-65: every role at every row of the table, at the own station, at another and at the central stores, with a second
//! factor and without. What is right is written down in [`crate::whose`], by act, apart from the program.

use axum::http::{Method, StatusCode, header};
use daemon::rights::Act;
use daemon::web::routes::{At, Need, Row};

use crate::forms::filled;
use crate::room::{Browser, Room, form, pages, take_in};
use crate::whose::{Where, is_signed, whose};

/// Somebody of each role; those of a station belong to Low Bay.
const PEOPLE: [(&str, &str); 6] = [
    ("head", "head@service.example"),
    ("engineer", "engineer@service.example"),
    ("mechanic", "mechanic@bay.example"),
    ("clerk", "clerk@service.example"),
    ("test house", "house@testhouse.example"),
    ("reader", "reader@service.example"),
];

/// Gear, work, twice a launch within ten minutes, and a report to be signed, at each station and at the stores.
const MORE: &[(&str, &str)] = &[
    (
        "items.csv",
        "item,kind,station,manufactured_on,entered_service_on\n\
         LC-2,carriage,bar,2019-05-01,2019-06-01\nF-2,fall,bar,2019-05-01,2019-06-01\nF-3,fall,,2019-05-01,\n",
    ),
    (
        "usage.csv",
        "key,host,at,meter,count\n\
         T-1,LC-1,2026-10-01T10:00:00Z,launches,1\nT-2,LC-1,2026-10-01T10:05:00Z,launches,1\n\
         T-3,LC-2,2026-10-01T10:00:00Z,launches,1\nT-4,LC-2,2026-10-01T10:05:00Z,launches,1\n",
    ),
    (
        "work.csv",
        "key,item,rule,done_at,outcome,measurements\n\
         W-F-1,F-1,fall-renewal,2026-02-03,done,\nW-F-2,F-2,fall-renewal,2026-02-03,done,\n\
         W-F-3,F-3,fall-renewal,2026-02-03,done,\n",
    ),
];

/// The places that a row is asked for, each with what stands for it in the address.
fn places(row: &Row) -> Vec<(Where, &'static str, &'static str)> {
    let (own, elsewhere) = ((Where::Own, "bay", "F-1"), (Where::Elsewhere, "bar", "F-2"));
    let stores = (Where::Stores, "bay", "F-3");
    match row.at {
        At::Region => vec![(Where::Somewhere, "bay", "F-1")],
        At::Station => vec![own, elsewhere],
        // A doubt is about a station's log, and stores have none.
        At::Page if row.path.starts_with("/doubt/") => vec![own, elsewhere],
        At::Page => vec![own, elsewhere, stores],
    }
}

/// The address of a row about gear that is there.
fn address(row: &Row, doubts: &[(&str, String)], station: &str, tag: &str) -> String {
    if row.path.starts_with("/doubt/") {
        let (_, key) = doubts.iter().find(|(of, _)| *of == station).unwrap();
        return format!("/doubt/{key}");
    }
    let path =
        row.path.replace("{slug}", station).replace("{*tag}", tag).replace("{*key}", &format!("W-{tag}"));
    let path = path.replace("{*number}", &format!("TR-{tag}"));
    filled(&path.replace("{*what}", &format!("{tag}/fall-examination")))
}

/// The room with all of that in it; the doubts by station.
async fn furnished() -> (Room, Vec<(&'static str, String)>) {
    let room = Room::of(false).await;
    for file in MORE {
        take_in(&room.desk, std::slice::from_ref(file)).await;
    }
    for tag in ["F-1", "F-2", "F-3"] {
        let text = format!("number = \"TR-{tag}\"\nitem = \"{tag}\"\nrule = \"fall-examination\"\n");
        room.desk.draft(&text, tag).await.unwrap();
    }
    let doubts = [("bay", "T-1", "T-2"), ("bar", "T-3", "T-4")];
    let doubts = doubts.map(|(station, one, other)| (station, daemon::doubts::entries_key(one, other)));
    (room, doubts.to_vec())
}

/// Asks every row as one person; says what was not as it should be, and how much was asked and granted.
async fn asked_by(
    (room, doubts): (&Room, &[(&str, String)]),
    (role, token): (&str, &str),
    factor: bool,
) -> (usize, usize, Vec<String>) {
    let (mut asked, mut granted, mut unexpected) = (0, 0, Vec::new());
    for row in pages() {
        let (Need::Reads(act) | Need::Does(act)) = row.need else { continue };
        for (place, station, tag) in places(&row) {
            let path = address(&row, doubts, station, tag);
            // What is done alone looks at its key first; the others stop at its lack, and change nothing.
            let keyed = ["/doubt/", "/sign/"].iter().any(|start| path.starts_with(start));
            let key = format!("matrix-{asked:04}-{}", role.replace(' ', "-"));
            let body = if keyed { form(&[("key", &key)]) } else { String::new() };
            let mut request = Browser::default().request(row.method.clone(), &path, body);
            let bearer = format!("Bearer {token}").parse().unwrap();
            request.headers_mut().insert(header::AUTHORIZATION, bearer);
            let answer = room.ask(request).await;
            let refused = answer.text.contains("<h1>This is not yours to do</h1>");
            assert!(!refused || answer.status == StatusCode::FORBIDDEN, "{path}");
            assert_ne!(answer.status, StatusCode::UNAUTHORIZED, "{role} {path}");
            // Where a record decides, it is there: none is passed over for want of it.
            let gone = row.at == At::Page && answer.status == StatusCode::NOT_FOUND;
            let may = whose(act, place).contains(&role) && (factor || !is_signed(act));
            if gone || refused == may {
                unexpected.push(format!("{role} {} {path}, {place:?}: {}", row.method, answer.status));
            }
            asked += 1;
            granted += usize::from(!refused);
        }
    }
    (asked, granted, unexpected)
}

#[tokio::test]
async fn every_role_at_every_address_at_the_own_and_another_station() {
    for factor in [false, true] {
        let (room, doubts) = furnished().await;
        let (mut asked, mut granted, mut unexpected) = (0, 0, Vec::new());
        for (role, email) in PEOPLE {
            if factor {
                room.enrol_with_factor(email).await;
            } else {
                room.enrol(email).await;
            }
            let token = room.accounts.make_token(email, "matrix", None).await.unwrap();
            let (here, through, wrong) = asked_by((&room, &doubts), (role, &token), factor).await;
            asked += here;
            granted += through;
            unexpected.extend(wrong);
        }
        println!("P-65: {asked} asked, {granted} granted, {} unexpected", unexpected.len());
        assert_eq!(unexpected, Vec::<String>::new());
        assert!(asked >= 6 * 60 && granted < asked);
    }
}

/// Every signed act of the table is asked above by somebody who may: nothing is signed that nobody could sign.
#[test]
fn signed_acts_stand_in_the_table() {
    let acts: Vec<Act> = pages()
        .iter()
        .filter_map(|row| match row.need {
            Need::Reads(act) | Need::Does(act) => Some(act),
            Need::Nothing => None,
        })
        .collect();
    for act in [Act::SignExamination, Act::SignOrder, Act::SaySecondWord] {
        assert!(is_signed(act) && acts.contains(&act), "{act:?}");
    }
    for act in daemon::rights::ACTS {
        assert_eq!(act.is_signed(), is_signed(act), "{act:?}");
    }
}

/// What changes anything is behind an act of its own, which reading is not.
#[test]
fn what_is_posted_needs_more_than_reading() {
    for row in pages().iter().filter(|row| row.method == Method::POST) {
        assert!(!matches!(row.need, Need::Reads(_)), "{}", row.path);
    }
    assert!(pages().iter().all(|row| [Method::GET, Method::POST].contains(&row.method)));
}

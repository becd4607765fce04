//! P-65: every role at every row of the table, at the own station and at another. What is right is written down here
//! a second time, by act, apart from the program.

use axum::http::{Method, StatusCode, header};
use daemon::rights::Act;
use daemon::web::routes::{At, Need};

use crate::forms::filled;
use crate::room::{Browser, Room, pages};

/// Somebody of each role; those of a station belong to Low Bay.
const PEOPLE: [(&str, &str); 6] = [
    ("head", "head@service.example"),
    ("engineer", "engineer@service.example"),
    ("mechanic", "mechanic@bay.example"),
    ("clerk", "clerk@service.example"),
    ("test house", "house@testhouse.example"),
    ("reader", "reader@service.example"),
];

/// Roles that an act of the table is open to, and those of them that it is open to elsewhere too.
fn right(act: Act) -> (&'static [&'static str], &'static [&'static str]) {
    const ALL: &[&str] = &["head", "engineer", "mechanic", "clerk", "test house", "reader"];
    const HOUSE: &[&str] = &["head", "engineer", "mechanic", "clerk", "reader"];
    const ENGINEERS: &[&str] = &["head", "engineer"];
    match act {
        Act::ViewItem | Act::ViewRules | Act::ViewMail | Act::OwnAccount | Act::RecordFailedWork => {
            (ALL, ALL)
        }
        Act::ViewRegion | Act::ViewStation => (HOUSE, HOUSE),
        Act::LogUse | Act::SettleDoubt | Act::FitItem | Act::SetAside | Act::CorrectRecord => {
            (&["head", "engineer", "mechanic"], ENGINEERS)
        }
        Act::KeepTokens
        | Act::AcknowledgeCorrection
        | Act::GrantConcession
        | Act::ReleaseGear
        | Act::RehearsePolicy => (ENGINEERS, ENGINEERS),
        Act::RecordWork | Act::DraftExamination | Act::AddCertificate => {
            (&["head", "engineer", "mechanic", "test house"], &["head", "engineer", "test house"])
        }
        Act::ViewStores | Act::MoveStock | Act::RaiseOrder | Act::CutItem => {
            (&["head", "engineer", "clerk"], &["head", "engineer", "clerk"])
        }
        // Nobody of these has a second factor, and to sign takes one.
        Act::SignOrder | Act::SignExamination | Act::SaySecondWord => (&[], &[]),
        other => panic!("{other:?} stands in the table; say here whose it is"),
    }
}

#[tokio::test]
async fn every_role_at_every_address_at_the_own_and_another_station() {
    let room = Room::of(false).await;
    let (mut asked, mut granted, mut unexpected) = (0, 0, Vec::new());
    for (role, email) in PEOPLE {
        room.enrol(email).await;
        let token = room.accounts.make_token(email, "matrix", None).await.unwrap();
        for row in pages() {
            let (Need::Reads(act) | Need::Does(act)) = row.need else { continue };
            let (own, elsewhere) = right(act);
            let own_path = filled(row.path);
            let mut at = vec![(own_path.clone(), own)];
            if row.at == At::Station {
                at.push((own_path.replace("bay", "bar"), elsewhere));
            }
            for (path, open_to) in at {
                let mut request = Browser::default().request(row.method.clone(), &path, String::new());
                request
                    .headers_mut()
                    .insert(header::AUTHORIZATION, format!("Bearer {token}").parse().unwrap());
                let answer = room.ask(request).await;
                let refused = answer.text.contains("<h1>This is not yours to do</h1>");
                assert!(!refused || answer.status == StatusCode::FORBIDDEN, "{path}");
                assert_ne!(answer.status, StatusCode::UNAUTHORIZED, "{role} {path}");
                asked += 1;
                granted += usize::from(!refused);
                // A page that finds its station by a record cannot refuse where there is none.
                let unasked = row.at == At::Page && answer.status == StatusCode::NOT_FOUND;
                if !unasked && refused == open_to.contains(&role) {
                    unexpected.push(format!("{role} {} {path}: {}", row.method, answer.status));
                }
            }
        }
    }
    println!("P-65: {asked} asked, {granted} granted, {} unexpected", unexpected.len());
    assert_eq!(unexpected, Vec::<String>::new());
    assert!(asked >= 6 * 20 && granted < asked);
}

/// What changes anything is behind an act of its own, which reading is not.
#[test]
fn what_is_posted_needs_more_than_reading() {
    for row in pages().iter().filter(|row| row.method == Method::POST) {
        assert!(!matches!(row.need, Need::Reads(_)), "{}", row.path);
    }
    assert!(pages().iter().all(|row| [Method::GET, Method::POST].contains(&row.method)));
}

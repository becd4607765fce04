use jiff::civil::date;

use super::*;
use crate::notices::templates::Templates;

fn text(digest: &Digest) -> String {
    Templates::embedded().unwrap().render("due work", &page(digest)).unwrap().text
}

fn html(digest: &Digest) -> String {
    Templates::embedded().unwrap().render("due work", &page(digest)).unwrap().html
}

pub(super) fn fall() -> DigestLine {
    DigestLine {
        item: "F-0417".into(),
        what: "starboard fall, 16 mm".into(),
        place: "carriage LC-2/07, starboard fall".into(),
        rule_id: "fall-renewal".into(),
        title: "Renewal of a launching fall at 250 launches".into(),
        work: "renewal".into(),
        standing: "falling due".into(),
        stops: Effect::StopsLaunch,
        due_on: Some(date(2026, 10, 28)),
        last_day: Some(date(2026, 10, 28)),
        because: "usage".into(),
        usage: Some(UsageLine {
            meter: "launches".into(),
            used: "242".into(),
            limit: "250".into(),
            left: "8".into(),
            by_place: vec![
                ("TAN".into(), "61".into()),
                ("PEL".into(), "84".into()),
                ("here".into(), "97".into()),
            ],
            p10: Some(date(2026, 10, 28)),
            p50: Some(date(2026, 11, 9)),
            p90: Some(date(2026, 11, 26)),
        }),
        by: "rigging loft".into(),
        authority: "house".into(),
        source: None,
        window: None,
        records: vec!["diameter (mm)".into()],
        conceded: None,
        marks: Vec::new(),
        told_before: Vec::new(),
        corrected: None,
    }
}

pub(super) fn check() -> DigestLine {
    DigestLine {
        item: "C-0501".into(),
        rule_id: "stopper-weekly-check".into(),
        title: "Weekly check of a stopper chain".into(),
        work: "check".into(),
        standing: "overdue".into(),
        stops: Effect::LimitsLaunch,
        due_on: Some(date(2026, 10, 5)),
        last_day: Some(date(2026, 10, 7)),
        because: "calendar".into(),
        usage: None,
        authority: "law".into(),
        source: Some("LOLER 1998, reg. 9(3)".into()),
        ..fall()
    }
}

pub(super) fn digest(lines: Vec<DigestLine>) -> Digest {
    Digest {
        number: "N-2026-1187".into(),
        to_name: "Station mechanic, Quarle Beach".into(),
        to_address: "mechanic.qua@mcbs.example".into(),
        from_address: "gear@mcbs.example".into(),
        place: "Quarle Beach".into(),
        as_known: "12 Oct 2026 07:00 (TVST)".into(),
        last_log: Some("11 Oct 2026 18:20".into()),
        lines,
        pages_url: Some("https://gear.mcbs.example/today".into()),
        link: None,
        supersedes: None,
        why_you: None,
        down: None,
        watched: 0,
    }
}

/// The words without their line breaks, to look for a sentence wherever it was wrapped.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn what_stops_a_launch_comes_first_even_if_it_is_less_late() {
    let digest = digest(vec![check(), fall()]);
    assert_eq!(
        subject(&digest),
        "Quarle Beach - falling due, stops launch: 1 of 2, due 2026-10-28 [N-2026-1187]"
    );
    let text = flat(&text(&digest));
    assert!(text.find("1. F-0417 · starboard fall, 16 mm · carriage LC-2/07") < text.find("2. C-0501"));
    assert!(text.contains("2 to do: 1 that stops launch when overdue, 1 that limits launch."));
}

// The demo's invented fall: 242 of 250 launches, gathered at three stations.
#[test]
fn the_twice_moved_fall_reads_as_a_mechanic_would_say_it() {
    let text = flat(&text(&digest(vec![fall()])));
    for said in [
        "As known 12 Oct 2026 07:00 (TVST); last launch log 11 Oct 2026 18:20.",
        "Renewal: falling due, stops launch; plan for 28 Oct 2026 (1 chance in 10 of reaching the limit before).",
        "8 launches left of 250: used 242 = TAN 61 + PEL 84 + here 97.",
        "Likely 28 Oct 2026 to 26 Nov 2026, middle 9 Nov 2026: odds from past use",
        "House policy, not law or a standard.",
        "N-2026-1187 1 DONE, N-2026-1187 1 LATER (and why), or N-2026-1187 1 NOT HERE.",
        "A competent person decides",
    ] {
        assert!(text.contains(said), "missing: {said}\nin: {text}");
    }
}

#[test]
fn a_day_fixed_by_the_calendar_is_due_and_names_its_last_day_and_law() {
    let text = flat(&text(&digest(vec![check()])));
    assert!(text.contains("Check: overdue, limits launch; due 5 Oct 2026, last allowed day 7 Oct 2026."));
    assert!(text.contains("Law: LOLER 1998, reg. 9(3)."));
}

#[test]
fn html_and_text_say_the_same_sentences() {
    let digest = digest(vec![fall(), check()]);
    let html = html(&digest);
    for (at, line) in sorted(&digest).into_iter().enumerate() {
        for said in facts(at + 1, line, &mut Cautions::default()) {
            assert!(html.contains(&escape(&said)), "missing: {said}");
            assert!(flat(&text(&digest)).contains(&said), "missing: {said}");
        }
    }
}

#[test]
fn limit_reached_passed_and_no_date_are_said_in_words() {
    let mut line = fall();
    let usage = line.usage.as_mut().unwrap();
    usage.left = "0".into();
    assert!(counted(usage).starts_with("No launches left of 250: used 242"));
    usage.left = "-3".into();
    assert!(counted(usage).starts_with("3 launches past the limit of 250"));
    (line.due_on, line.last_day, line.because) = (None, None, "no base".into());
    let said = facts(1, &line, &mut Cautions::default()).join(" ");
    assert!(said.contains("no due date") && said.contains("no date to count from"));
    assert!(subject(&digest(vec![line])).contains("1 of 1, no date"));
}

#[test]
fn twenty_five_lines_are_shown_and_the_next_is_counted() {
    let numbered = |count: usize| {
        (1..=count).map(|n| DigestLine { item: format!("F-{n:04}"), ..fall() }).collect::<Vec<_>>()
    };
    let full = digest(numbered(25));
    assert!(text(&full).contains("\n25. F-0025") && !text(&full).contains("more:"));
    let over = digest(numbered(26));
    assert!(text(&over).contains("\nand 1 more: https://gear.mcbs.example/today\n"));
    assert!(!text(&over).contains("F-0026") && !html(&over).contains("F-0026"));
    assert!(html(&over).contains("and 1 more: <a href="));
    let alone = Digest { pages_url: None, ..over };
    assert!(text(&alone).contains("\n26. F-0026") && html(&alone).contains("F-0026"));
}

#[test]
fn a_caution_is_said_once_and_then_pointed_to() {
    let other = DigestLine { item: "F-0416".into(), ..fall() };
    let text = flat(&text(&digest(vec![fall(), other])));
    assert_eq!(text.matches("never stand in a bight").count(), 1);
    assert!(text.contains("Caution as at 1."));
}

#[test]
fn nothing_due_says_that_silence_is_no_good_news() {
    let text = flat(&text(&digest(vec![])));
    assert!(
        text.contains(
            "nothing is due at Quarle Beach, 0 pieces of gear are watched. If this mail stops coming"
        )
    );
    assert!(!text.contains("DONE"));
    assert_eq!(subject(&digest(vec![])), "Quarle Beach - all is well, 0 watched [N-2026-1187]");
}

#[test]
fn hostile_words_neither_break_a_line_nor_open_a_tag() {
    let line = DigestLine {
        what: "fall\r\n9. F-9999".into(),
        title: "<script>alert(1)</script>".into(),
        because: "\u{202e}kcab\u{0}".into(),
        ..fall()
    };
    let digest = Digest {
        place: "Quarle\r\nBcc: x@y.example".into(),
        pages_url: Some("javascript:alert(1)".into()),
        ..digest(vec![line])
    };
    let (subject, text, html) = (subject(&digest), text(&digest), html(&digest));
    assert!(!subject.contains(char::is_control));
    assert!(text.chars().all(|c| c == '\n' || !c.is_control()));
    assert!(!text.contains("\n9. F-9999"));
    assert!(!html.contains("<script") && !html.contains("href"));
}

#[test]
fn text_fits_its_column_and_html_loads_nothing() {
    let digest = Digest { supersedes: Some("N-2026-1180".into()), ..digest(vec![fall(), check()]) };
    let text = text(&digest);
    assert!(text.lines().all(|line| line.chars().count() <= 72), "{text}");
    assert!(text.contains("It replaces N-2026-1180."));
    let html = html(&digest);
    assert!(!html.contains("<img") && !html.contains("src=") && !html.contains("url("));
}

#[test]
fn the_order_of_the_rows_given_does_not_matter() {
    let (one, two) = (digest(vec![fall(), check()]), digest(vec![check(), fall()]));
    assert_eq!((text(&one), html(&one), subject(&one)), (text(&two), html(&two), subject(&two)));
}

//! The coast, the line ahead and an item's life: what is drawn is what the lists beneath say.

use super::*;

/// The first drawing of that width.
fn drawing<'t>(text: &'t str, id: &str, width: &str) -> &'t str {
    let start = format!("aria-labelledby=\"{id}-{width}\"");
    let at = text.find(&start).unwrap_or_else(|| panic!("no drawing {id} {width}"));
    let text = &text[at..];
    &text[..text.find("</svg>").unwrap()]
}

/// Texts of one class in a drawing.
fn texts(svg: &str, class: &str) -> Vec<String> {
    let parts = svg.split("<text class=\"").skip(1).filter(|part| {
        part.split('"').next().is_some_and(|classes| classes.split(' ').any(|have| have == class))
    });
    parts.map(|part| part.split('>').nth(1).unwrap().split('<').next().unwrap().to_owned()).collect()
}

fn cells(text: &str, of: &str) -> Vec<String> {
    let mark = format!("data-of=\"{of}\">");
    text.split(&mark).skip(1).map(|part| part.split('<').next().unwrap().to_owned()).collect()
}

fn figures(texts: Vec<String>) -> Vec<String> {
    texts.into_iter().filter(|text| text.contains('.') && text.parse::<f64>().is_ok()).collect()
}

async fn page(router: &Router, path: &str) -> String {
    let answer = read(router, path).await;
    assert_eq!(answer.status, StatusCode::OK, "{path}");
    check_page(path, &answer);
    let heading = answer.text.split("<h1>").nth(1).unwrap().split("</h1>").next().unwrap().to_owned();
    assert!(heading.ends_with('?'), "{path} asks \"{heading}\"");
    answer.text
}

/// domain brief 4.13 A: Nethery Ness off, Cawdle Bay to Quarle Beach is 28 nm and waits 58.7 min, 13.7 over 45.
#[tokio::test]
async fn the_coast_draws_the_gap_past_a_station_that_is_off() {
    let router = router(demo_web().await);
    let text = page(&router, "/coast").await;
    assert!(text.contains("Cawdle Bay to Quarle Beach past Nethery Ness"), "{text}");
    for width in ["wide", "narrow"] {
        let drawn = drawing(&text, "coast-1", width);
        let over = texts(drawn, "over");
        assert_eq!(over, ["58.7"], "{width}");
        assert!((over[0].parse::<f64>().unwrap().round() - 59.0).abs() < 1e-9);
        assert!(drawn.contains("class=\"hatched\""), "{width}");
        assert!(drawn.contains("class=\"together\""), "Nethery Ness and Bravell Isle, {width}");
        assert_eq!(drawn.matches("class=\"off\"").count(), 4, "two crosses of two strokes, {width}");
        assert_eq!(drawn.matches("class=\"limits\"").count(), 1, "Senloe Flats, {width}");
    }
    assert_eq!(cells(&text, "over"), ["13.7"]);
    assert!(text.contains("Apart, with no flank in reach") && text.contains("Quenna Roads"), "{text}");
}

#[tokio::test]
async fn minutes_in_the_drawing_are_those_of_the_table() {
    let router = router(demo_web().await);
    for path in ["/coast", "/coast?as_of=2026-09-20"] {
        let text = page(&router, path).await;
        let told = cells(&text, "min");
        let wide = drawing(&text, "coast-1", "wide");
        let mut drawn = figures(texts(wide, "soft"));
        drawn.extend(figures(texts(wide, "over")));
        assert!(drawn.len() >= 4, "{path}: {drawn:?}");
        let mut left = told.clone();
        for figure in &drawn {
            let at = left.iter().position(|told| told == figure);
            left.remove(at.unwrap_or_else(|| panic!("{path}: {figure} is drawn and not told: {told:?}")));
        }
        let narrow = drawing(&text, "coast-1", "narrow");
        let mut other = figures(texts(narrow, "soft"));
        other.extend(figures(texts(narrow, "over")));
        assert_eq!(drawn, other, "{path}");
    }
}

#[tokio::test]
async fn a_day_to_come_is_judged_without_the_age_of_logs() {
    let router = router(demo_web().await);
    let text = page(&router, "/coast?as_of=2026-10-14").await;
    assert!(text.contains("A day to come"), "{text}");
    assert!(!text.contains("nothing logged since"), "{text}");
    assert!(text.contains("class=\"ready\""), "some station still stands on that day");
    assert!(!page(&router, "/coast").await.contains("A day to come"));
    let today = page(&router, "/coast").await;
    assert!(today.contains("href=\"/coast?as_of=2026-12-01\""), "a month ahead is one press away");
}

/// domain brief 4.8 A: F-0417 has 8 launches left: 28 Oct, 9 Nov, 26 Nov.
#[tokio::test]
async fn the_line_ahead_of_a_station_draws_each_date_it_lists() {
    let router = router(demo_web().await);
    let text = page(&router, "/station/qua/ahead").await;
    assert!(text.contains("10 % by 28 Oct, 50 % by 9 Nov, 90 % by 26 Nov"), "{text}");
    let list = text.split("works dated").nth(1).unwrap().split("</ol>").next().unwrap();
    let wide = drawing(&text, "ahead", "wide");
    assert_eq!(wide.matches("class=\"odds\"").count(), list.matches("10 % by").count());
    let lines: Vec<&str> = list.split("<li").skip(1).collect();
    // A last day beyond the strip is told and not drawn.
    let until = jiff::civil::date(2028, 4, 11);
    let within = lines.iter().filter_map(|line| last_day(line)).filter(|day| *day <= until).count();
    assert!(within > 10);
    assert_eq!(wide.matches("class=\"hard\"").count(), within);
    assert_eq!(texts(wide, "name").len(), lines.len() + 1, "a row a line, and one of its own checks");
}

#[tokio::test]
async fn the_line_ahead_has_every_station_and_links_to_why() {
    let router = router(demo_web().await);
    let text = page(&router, "/ahead").await;
    assert_eq!(texts(drawing(&text, "ahead", "wide"), "name").len(), 12);
    assert_eq!(texts(drawing(&text, "ahead", "narrow"), "name").len(), 12);
    assert!(text.contains("/item/F-0417/why/fall-renewal"), "{text}");
    assert!(text.contains("class=\"bracket\"") && text.contains("class=\"odds\""), "{text}");
    assert_eq!(read(&router, "/station/nowhere/ahead").await.status, StatusCode::NOT_FOUND);
    assert_eq!(read(&router, "/ahead?part=0").await.status, StatusCode::BAD_REQUEST);
    assert_eq!(read(&router, "/coast?part=2").await.status, StatusCode::NOT_FOUND);
}

/// domain brief 4.1 A: 61 at Tannock Strand, 84 at Pellan Sands, 97 at Quarle Beach.
#[tokio::test]
async fn bars_of_use_carry_the_counts_of_each_place() {
    let router = router(demo_web().await);
    let text = page(&router, "/item/F-0417").await;
    for width in ["wide", "narrow"] {
        assert_eq!(texts(drawing(&text, "use", width), "figure"), ["61", "84", "97"], "{width}");
        let life = drawing(&text, "life", width);
        assert_eq!(life.matches("class=\"stay\"").count(), 3, "{width}");
        let told = text.split("The same in words</summary>").nth(1).unwrap().split("</ol>").next().unwrap();
        let bands = drawing(&text, "odds", width).matches("class=\"odds\"").count();
        assert_eq!(bands, told.matches("10 % by").count(), "{width}");
        assert!(told.contains("10 % by 28 Oct, 50 % by 9 Nov, 90 % by 26 Nov"), "{told}");
    }
    for told in ["<dt>61 launches</dt>", "<dt>84 launches</dt>", "<dt>97 launches</dt>"] {
        assert!(text.contains(told), "{told}");
    }
    assert!(texts(drawing(&text, "life", "wide"), "figure").contains(&"97".to_owned()));
}

/// domain brief, story 2: C-0221 failed on 6 Oct; its readings stand below its life, with the limit of 11.70 mm.
#[tokio::test]
async fn a_life_shows_what_failed_and_how_it_wore() {
    let router = router(demo_web().await);
    let text = page(&router, "/item/C-0221").await;
    let life = drawing(&text, "life", "wide");
    assert!(life.contains("limit 11.70 mm"), "{life}");
    assert!(life.contains("class=\"off\""), "the failed measurement is crossed");
    let numbered: Vec<String> = texts(life, "middle");
    let listed = text.split("What happened</summary>").nth(1).unwrap().split("</ol>").next().unwrap();
    assert!(listed.contains("Failed: "), "{listed}");
    for number in numbered {
        assert!(listed.contains(&format!("\"dates\">{number} · ")), "{number} is drawn and not told");
    }
}

/// The last day that a line tells, in the year of the page where it names none.
fn last_day(line: &str) -> Option<Date> {
    let told = line.split("ast day ").nth(1)?.split([';', '<']).next()?;
    let year = if told.split(' ').count() == 2 { " 2026" } else { "" };
    Date::strptime("%d %b %Y", format!("{told}{year}")).ok()
}

/// Many stations come in parts of thirty.
#[tokio::test]
async fn many_stations_come_in_parts() {
    use std::fmt::Write;
    let mut stations = "station,name,time_zone,latitude,longitude,flanks\n".to_owned();
    for number in 0..70 {
        let flank = if number == 0 { String::new() } else { format!("s{:03}", number - 1) };
        let _ = writeln!(
            stations,
            "s{number:03},<i>Bay</i> {number},UTC,{:.3},-21.0,{flank}",
            55.0 - 0.15 * f64::from(number)
        );
    }
    let desk = desk(&Folder::of([("stations.csv", stations)])).await;
    let door = open_door(&desk);
    let router = router(Web { desk, files: no_files(), caught: None, stated: None, door });
    for (part, count) in [(1, 30), (2, 30), (3, 10)] {
        let text = page(&router, &format!("/ahead?part={part}")).await;
        assert_eq!(texts(drawing(&text, "ahead", "wide"), "name").len(), count, "part {part}");
        let coast = page(&router, &format!("/coast?part={part}")).await;
        assert_eq!(texts(drawing(&coast, "off", "wide"), "name").len(), count, "part {part}");
        assert!(coast.contains("&#60;i&#62;Bay") && !coast.contains("<i>Bay"), "part {part}");
    }
    assert_eq!(read(&router, "/ahead?part=4").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn names_that_mean_harm_are_texts_in_drawings_too() {
    let mut web = hostile_web().await;
    web.door.public_url = Some("https://tallow.mcbs.example".to_owned());
    let router = router(web);
    let tag = "/item/%3Cscript%3Ealert(1)%3C/script%3E";
    for path in ["/coast", "/ahead", "/station/abc/ahead", "/labels?station=abc", tag] {
        let answer = read(&router, path).await;
        assert_eq!(answer.status, StatusCode::OK, "{path}");
        check_page(path, &answer);
        assert!(!answer.text.contains("<b>A &"), "{path}");
    }
}

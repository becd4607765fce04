//! The clerk's pages over the demo: what its story says, forms that record once, and names that mean harm.

use axum::http::header;
use policies::as_of::AsOf;

use super::*;
use crate::records::{Item, Order, Stock};

const CLERK: &str = "stores@mcbs.example";

/// The demo for who is signed in, with a program's token of the clerk.
async fn clerk() -> (Router, Arc<Desk>, String) {
    let web = demo_web().await;
    let desk = Arc::clone(&web.desk);
    let accounts = web.door.accounts.clone();
    let code = accounts.invite(CLERK).await.unwrap();
    accounts.welcome(&code, "three grey seals").await.unwrap();
    let token = accounts.make_token(CLERK, "test", None).await.unwrap();
    (router(web), desk, token)
}

async fn sent(router: &Router, token: &str, method: Method, path: &str, body: &str) -> Answer {
    let request = Request::builder()
        .method(method)
        .uri(path)
        .header(header::AUTHORIZATION, format!("Bearer {token}"))
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .body(Body::from(body.to_owned()))
        .unwrap();
    let answer = router.clone().oneshot(request).await.unwrap();
    let (status, headers) = (answer.status(), answer.headers().clone());
    let bytes = to_bytes(answer.into_body(), 16 << 20).await.unwrap();
    Answer { status, headers, text: String::from_utf8_lossy(&bytes).into_owned() }
}

fn section<'t>(page: &'t str, from: &str, to: &str) -> &'t str {
    page.split_once(from).and_then(|(_, rest)| rest.split_once(to)).map(|(own, _)| own).unwrap_or_default()
}

/// domain brief 4.14 and 5.5: three wires today; Senloe's order-by day was 26 Aug, Ullery's 25 Sep; Ullery gets the one
/// in stock; the relief wire and fewer exercises are Senloe's ways out. 4.15: pairs from D-121 and D-124.
#[tokio::test]
async fn the_clerk_sees_what_to_order_and_what_lateness_costs() {
    let router = router(demo_web().await);
    let answer = read(&router, "/stores").await;
    assert_eq!(answer.status, StatusCode::OK);
    check_page("/stores", &answer);
    let text = answer.text;
    let now = section(&text, ">WW-22</a>", "</li>\n<li class=\"line");
    let now = if now.is_empty() { section(&text, ">WW-22</a>", "</ul>") } else { now };
    for said in [
        "<b>order 3 today</b>",
        "On hand 1, free 0; 2.7",
        "until 25 Jan 2027",
        "Senloe Flats</a> 26 Aug 2026 (47 days ago)",
        "25 Sep 2026 (17 days ago)",
        "station-days</b> are lost",
        "the one in stock goes to it",
        ">W-0438</a>",
        "certain by 9 Jan 2027",
        ">W-0466</a> of the relief unit R-02 to Senloe Flats",
        "no exercises at Senloe Flats",
    ] {
        assert!(now.contains(said), "{said}: {now}");
    }
    let cut = section(&text, "<h2 id=\"cut\">", "</section>");
    for said in ["2 pairs of 2 × 35.6 m", ">D-121</a>", ">D-124</a>", "40.7 m are left", "178.7 m are left"]
    {
        assert!(cut.contains(said), "{said}: {cut}");
    }
    assert!(!cut.contains(">D-118</a>"), "{cut}");
    assert!(text.contains("its examination lapsed in store on 10 Aug 2026"));
    assert!(text.contains("<a href=\"/stores\">Stores</a>"));
}

/// What is drawn is what the table says.
#[tokio::test]
async fn a_part_is_drawn_with_the_numbers_of_its_table() {
    let router = router(demo_web().await);
    for path in ["/stores/part/WW-22", "/stores/part/WR-16", "/stores/part/HL-30"] {
        let answer = read(&router, path).await;
        assert_eq!(answer.status, StatusCode::OK, "{path}");
        check_page(path, &answer);
        let text = answer.text;
        let table = text.split("<table class=\"months\">").nth(1).unwrap().split("</table>").next().unwrap();
        let last = table.rsplit("<tr>").next().unwrap();
        let told: Vec<&str> = ["with 10 %", "with 50 %", "with 90 %"]
            .map(|of| section(last, &format!("data-of=\"{of}\">"), "<"))
            .to_vec();
        let svg =
            text.split("aria-labelledby=\"stock-0-wide\"").nth(1).unwrap().split("</svg>").next().unwrap();
        let drawn: Vec<&str> = svg
            .split("<text class=\"figure level\"")
            .skip(1)
            .map(|part| part.split('>').nth(1).unwrap().split('<').next().unwrap())
            .collect();
        assert_eq!(drawn, told, "{path}");
        for part in ["class=\"odds\"", "class=\"step\"", "class=\"bracket\"", "<title"] {
            assert!(svg.contains(part), "{path}: {part}");
        }
    }
    let missing = read(&router, "/stores/part/WW-23").await;
    assert_eq!(missing.status, StatusCode::NOT_FOUND);
    assert!(missing.text.contains("/stores/part/WW-22"), "{}", missing.text);
}

#[tokio::test]
async fn drums_are_drawn_with_their_proposed_pairs_hatched() {
    let router = router(demo_web().await);
    for (path, hatched) in [("/stores/drum/D-121", 1), ("/stores/drum/D-124", 1), ("/stores/drum/D-118", 0)] {
        let answer = read(&router, path).await;
        assert_eq!(answer.status, StatusCode::OK, "{path}");
        check_page(path, &answer);
        let svg = answer.text.split("<svg").nth(1).unwrap().split("</svg>").next().unwrap();
        assert_eq!(svg.matches("class=\"hatched\"").count(), hatched, "{path}");
    }
    check_page("/stores/drums", &read(&router, "/stores/drums").await);
    assert_eq!(read(&router, "/stores/drum/D-999").await.status, StatusCode::NOT_FOUND);
}

/// Ten copies of one form, some at the same time, are one order.
#[tokio::test]
async fn an_order_from_its_raising_to_its_certificate() {
    let (router, desk, token) = clerk().await;
    let page = sent(&router, &token, Method::GET, "/stores/raise/WW-22", "").await;
    assert!(page.text.contains("The plan asks for 3 today."), "{}", page.text);
    let body = "key=0123456789abcdef&quantity=3&place=stores";
    let copies = (0..6).map(|_| sent(&router, &token, Method::POST, "/stores/raise/WW-22", body));
    let mut answers = futures_util::future::join_all(copies).await;
    for _ in 0..4 {
        answers.push(sent(&router, &token, Method::POST, "/stores/raise/WW-22", body).await);
    }
    for answer in &answers {
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.text);
        assert_eq!(answer.headers[header::LOCATION], "/stores/order/OS-2026-001?done=0123456789abcdef");
    }
    assert_eq!(desk.store.newest::<Order>().await.unwrap().len(), 1);
    let sheet = sent(&router, &token, Method::GET, "/stores/order/OS-2026-001", "").await;
    for said in
        ["<b>3</b> × Winch wire 22 mm", "Not signed yet", "Deliver by", "/stores/order/OS-2026-001.xlsx"]
    {
        assert!(sheet.text.contains(said), "{said}: {}", sheet.text);
    }
    assert!(!sheet.text.contains("/stores/sign/"), "a clerk does not sign");
    let csv = sent(&router, &token, Method::GET, "/stores/order/OS-2026-001.csv", "").await;
    assert!(csv.text.contains("OS-2026-001,3,each,WW-22,"), "{}", csv.text);
    assert_eq!(csv.headers[header::CONTENT_DISPOSITION], "attachment; filename=\"order-OS-2026-001.csv\"");
    let book = sent(&router, &token, Method::GET, "/stores/order/OS-2026-001.xlsx", "").await;
    assert!(book.status == StatusCode::OK && book.text.starts_with("PK"));

    let receive =
        |body: &'static str| sent(&router, &token, Method::POST, "/stores/receive/OS-2026-001", body);
    let many = receive("key=1123456789abcdef&quantity=4").await;
    assert_eq!(many.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        section(&many.text, "name=\"quantity\"", "</p>").contains("raise another order"),
        "{}",
        many.text
    );
    assert_eq!(receive("key=2123456789abcdef&quantity=3").await.status, StatusCode::SEE_OTHER);
    let week = sent(&router, &token, Method::GET, "/stores", "").await.text;
    assert!(section(&week, "<h2 id=\"papers\">", "</section>").contains("OS-2026-001"), "{week}");
    let issue = "key=3123456789abcdef&quantity=3&place=stores";
    let refused = sent(&router, &token, Method::POST, "/stores/issue/WW-22", issue).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    let field = section(&refused.text, "name=\"quantity\"", "</p>");
    assert!(field.contains("came without its certificate") && !field.contains("tallow "), "{field}");
    assert_eq!(receive("key=4123456789abcdef&certificate=MC-7").await.status, StatusCode::SEE_OTHER);
    assert_eq!(
        sent(&router, &token, Method::POST, "/stores/issue/WW-22", issue).await.status,
        StatusCode::SEE_OTHER
    );
    // What has left by its tag is in store no more.
    let gone = desk.store.newest::<Stock>().await.unwrap().into_values().find_map(|row| row.items).unwrap();
    let item = sent(&router, &token, Method::GET, &format!("/item/{gone}"), "").await.text;
    assert!(item.contains("issued on 12 Oct 2026, not fitted yet"), "{gone}: {item}");
}

#[tokio::test]
async fn what_is_blocked_is_refused_at_its_field_and_counts_and_moves_are_one_record() {
    let (router, desk, token) = clerk().await;
    let post = |path: &'static str, body: &'static str| sent(&router, &token, Method::POST, path, body);
    let blocked =
        post("/stores/issue/CH-13-SET", "key=0123456789abcdef&quantity=1&place=stores&item=C-0180").await;
    assert_eq!(blocked.status, StatusCode::UNPROCESSABLE_ENTITY);
    let field = section(&blocked.text, "name=\"item\"", "</p>");
    assert!(field.contains("its examination lapsed in store on 10 Aug 2026"), "{}", blocked.text);
    let rows = desk.store.newest::<Stock>().await.unwrap().len();
    for _ in 0..10 {
        let body = "key=1123456789abcdef&quantity=2&from=stores&to=qnr";
        assert_eq!(post("/stores/move/SH-4.75", body).await.status, StatusCode::SEE_OTHER);
        let body = "key=2123456789abcdef&found=30&place=stores";
        assert_eq!(post("/stores/count/SH-4.75", body).await.status, StatusCode::SEE_OTHER);
    }
    assert_eq!(desk.store.newest::<Stock>().await.unwrap().len(), rows + 3);
    // A place by its name, and what was done is said.
    let body = "key=5123456789abcdef&quantity=1&from=The+central+stores&to=qnr";
    assert_eq!(post("/stores/move/SH-4.75", body).await.status, StatusCode::SEE_OTHER);
    let said = sent(&router, &token, Method::GET, "/stores/part/SH-4.75?done=5123456789abcdef", "").await;
    assert!(said.text.contains("</span> 1 of SH-4.75 moved from stores to qnr."), "{}", said.text);
    let form = sent(&router, &token, Method::GET, "/stores/move/SH-4.75", "").await.text;
    assert!(
        section(&form, "<datalist id=\"l-to\">", "</datalist>").contains("<option value=\"qnr\">"),
        "{form}"
    );
    let nowhere = post("/stores/count/SH-4.75", "key=3123456789abcdef&found=3&place=attic").await;
    assert!(section(&nowhere.text, "name=\"place\"", "</p>").contains("is no place"), "{}", nowhere.text);
    let letters = post("/stores/count/SH-4.75", "key=4123456789abcdef&found=three&place=stores").await;
    assert!(letters.text.contains("is no number"), "{}", letters.text);
    // 29 are there: a digit too many is asked for once more, and taken when it was counted again.
    let slip = "key=6123456789abcdef&found=290&place=stores";
    let asked = post("/stores/count/SH-4.75", slip).await;
    assert_eq!(asked.status, StatusCode::UNPROCESSABLE_ENTITY);
    let field = section(&asked.text, "name=\"confirm_count\"", "</fieldset>");
    assert!(field.contains("The records have 29 of SH-4.75 at stores"), "{}", asked.text);
    assert!(field.contains("say so with “I have counted again, and it is so”"), "{}", asked.text);
    assert_eq!(desk.store.newest::<Stock>().await.unwrap().len(), rows + 5);
    assert!(asked.text.contains("name=\"again\" value=\"290\""), "{}", asked.text);
    // A tick for one figure says nothing of another.
    let other = "key=6123456789abcdef&found=2900&place=stores&confirm_count=yes&again=290";
    let other = post("/stores/count/SH-4.75", other).await;
    assert_eq!(other.status, StatusCode::UNPROCESSABLE_ENTITY);
    let tick = "name=\"confirm_count\" value=\"yes\"> I have";
    assert!(
        other.text.contains(tick) && other.text.contains("name=\"again\" value=\"2900\""),
        "{}",
        other.text
    );
    let again = "key=6123456789abcdef&found=290&place=stores&confirm_count=yes&again=290";
    assert_eq!(post("/stores/count/SH-4.75", again).await.status, StatusCode::SEE_OTHER);
    assert_eq!(desk.store.newest::<Stock>().await.unwrap().len(), rows + 6);
}

/// Two pairs, one off each drum, in one record of cuts: gear with their drum, length and pair, and what is left.
#[tokio::test]
async fn a_cutting_is_proposed_and_accepted() {
    let (router, desk, token) = clerk().await;
    let page = sent(&router, &token, Method::GET, "/stores/cut/WR-16", "").await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.text);
    assert!(page.text.contains("D-121: tags of the pair of 2 × 34 m"), "{}", page.text);
    let proposed = section(&page.text, "name=\"proposed\" value=\"", "\"").to_owned();
    let cut = section(&page.text, "name=\"cut\"", ">");
    let cut = section(cut, "value=\"", "\"").replace(' ', "+");
    let body = |tags: &str| {
        format!(
            "key=0123456789abcdef&then=accept&cut={cut}&proposed={}&{tags}&set-1=P-2026-09&set-2=P-2026-10",
            proposed.replace(':', "%3A").replace(';', "%3B")
        )
    };
    let few =
        sent(&router, &token, Method::POST, "/stores/cut/WR-16", &body("tags-1=F-9001&tags-2=F-9003,F-9004"))
            .await;
    assert_eq!(few.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(section(&few.text, "name=\"tags-1\"", "</p>").contains("two tags"), "{}", few.text);
    let all = body("tags-1=F-9001,F-9002&tags-2=F-9003,F-9004");
    for _ in 0..10 {
        let answer = sent(&router, &token, Method::POST, "/stores/cut/WR-16", &all).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.text);
    }
    let items = desk.store.newest::<Item>().await.unwrap();
    let own: Vec<&String> = items.keys().filter(|tag| tag.starts_with("F-90")).collect();
    assert_eq!(own.len(), 4, "{own:?}");
    let piece = &items["F-9003"];
    assert_eq!((piece.cut_from.as_deref(), piece.set_name.as_deref()), (Some("D-124"), Some("P-2026-10")));
    for (drum, left) in [("D-121", "length_left_m=40.7"), ("D-124", "length_left_m=178.7")] {
        let own = items[drum].attributes.as_deref().unwrap();
        assert!(own.contains(left), "{drum}: {own}");
    }
    // They lie ready: the plan has nothing more cut, and the part's page says where they wait.
    let stores = desk.stores(desk.as_of(), None).await.unwrap();
    assert!(stores.cuttings.iter().all(|(part, ..)| part != "WR-16"), "{:?}", stores.cuttings);
    let before = desk.stores(AsOf::Day(jiff::civil::date(2026, 10, 10)), None).await.unwrap();
    let ready = |seen: &crate::stores::seen::Seen| {
        seen.planned.held.iter().filter(|held| held.part == "WR-16").map(|held| held.cut.len()).sum::<usize>()
    };
    assert_eq!((ready(&before), ready(&stores)), (0, 2), "what is cut today was on its drum before");
    let part = sent(&router, &token, Method::GET, "/stores/part/WR-16", "").await;
    assert!(part.text.contains("cut for fitting, 34 m each"), "{}", part.text);
    let other =
        sent(&router, &token, Method::POST, "/stores/cut/WR-16", "key=5123456789abcdef&cut=two").await;
    assert!(section(&other.text, "name=\"cut\"", "</p>").contains("is no cut"), "{}", other.text);
}

/// Reading stores is for the clerk, engineers and the head.
#[tokio::test]
async fn a_mechanic_reads_no_stores() {
    let web = demo_web().await;
    let accounts = web.door.accounts.clone();
    let code = accounts.invite("mechanic.qua@mcbs.example").await.unwrap();
    accounts.welcome(&code, "three grey seals").await.unwrap();
    let token = accounts.make_token("mechanic.qua@mcbs.example", "test", None).await.unwrap();
    let router = router(web);
    let refused = sent(&router, &token, Method::GET, "/stores", "").await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
    let home = sent(&router, &token, Method::GET, "/", "").await;
    assert!(!home.text.contains("href=\"/stores\""), "{}", home.text);
}

#[tokio::test]
async fn hostile_names_stay_names_on_the_stores_pages() {
    let stations = "station,name,time_zone\nabc,\"<b>A & \"\"B\"\"\",UTC\n";
    let parts = "part,description,kind,lead_time,unit\n\
                 <script>x</script>,\"=1+1<img src=x>\",launching fall,10 weeks,each\n\
                 a/b?c#d,'\"><u>,shackle,3 weeks,each\n";
    let orders = "key,part,quantity,place,ordered_on,needed_by,by\n\
                  OS<i>/1,<script>x</script>,2,stores,2026-10-01,2026-12-01,x@service.example\n";
    let stock = "key,part,place,at,quantity,reason\ns1,a/b?c#d,abc,2026-10-01,3,receipt\n";
    let people = "email,name,role,station\nx@service.example,X,clerk,\n";
    let items =
        "item,kind,station,entered_service_on,part\n<em>,launching fall,abc,2026-01-05,<script>x</script>\n";
    let files = [
        ("stations.csv", stations),
        ("parts.csv", parts),
        ("orders.csv", orders),
        ("stock.csv", stock),
        ("people.csv", people),
        ("items.csv", items),
    ];
    let desk = desk(&Folder::of(files.map(|(name, text)| (name, text.to_owned())))).await;
    let door = open_door(&desk);
    let router = router(Web { desk, files: no_files(), caught: None, stated: None, door });
    let pages = [
        "/stores",
        "/stores/part/%3Cscript%3Ex%3C/script%3E",
        "/stores/part/a/b%3Fc%23d",
        "/stores/drums",
        "/stores/orders",
        "/stores/order/OS%3Ci%3E/1",
    ];
    for path in pages {
        let answer = read(&router, path).await;
        assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.text);
        check_page(path, &answer);
        for harm in ["<img", "<u>", "<i>", "<em>"] {
            assert!(!answer.text.contains(harm), "{path} holds {harm}");
        }
    }
    let csv = read(&router, "/stores/order/OS%3Ci%3E/1.csv").await;
    assert!(csv.text.contains("'=1+1<img src=x>"), "{}", csv.text);
    assert_eq!(csv.headers[header::CONTENT_DISPOSITION], "attachment; filename=\"order-OS_i__1.csv\"");
}

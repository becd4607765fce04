//! A service of two stations, small enough to be swept some thousand times. All of it is invented.

pub const POLICIES: &[(&str, &str)] = &[
    (
        "rules.toml",
        r#"
[[kind]]
name      = "carriage"
meters    = ["launches", "shock loads"]
positions = [{ name = "fall", takes = "fall", required = true }]

[[kind]]
name = "fall"

[[rule]]
id         = "fall-examination"
title      = "Examine a fall"
applies_to = { kind = "fall" }
work       = "thorough examination"
calendar   = { every = "2 months" }
notice     = { lead = "14 days", remind = ["3 days"], escalate = { engineer = "1 day before" } }
overdue    = "stops launch"
authority  = "house"

[[rule]]
id         = "fall-after-shock"
title      = "Examine a fall after a shock"
applies_to = { kind = "fall" }
work       = "thorough examination"
after      = [{ event = "shock loads", within = "0 days" }]
overdue    = "stops launch"
authority  = "house"

[[rule]]
id         = "carriage-grease"
title      = "Grease the carriage"
applies_to = { kind = "carriage" }
work       = "lubrication"
usage      = [{ meter = "launches", every = 30 }]
overdue    = "limits launch"
authority  = "house"
"#,
    ),
    (
        "service.toml",
        "home_zone = \"UTC\"\nquiet_hours = { from = \"21:00\", to = \"07:00\" }\noldest_log_hours = 9000\n[odds]\nlearn = false\n",
    ),
];

pub const REGISTER: &[(&str, &str)] = &[
    ("stations.csv", "station,name,time_zone\nbay,Low Bay,UTC\nbar,Outer Bar,UTC\n"),
    (
        "people.csv",
        "email,name,role,station,deputy,second_address\n\
         mechanic@bay.example,Mechanic,mechanic,bay,deputy@bay.example,second@bay.example\n\
         deputy@bay.example,Deputy,reader,bay,,\n\
         mechanic@bar.example,Mechanic,mechanic,bar,deputy@bay.example,\n\
         engineer@service.example,Engineer,engineer,,,\n\
         head@service.example,Head,head,,,\n",
    ),
    (
        "items.csv",
        "item,kind,station,entered_service_on\nLC-1,carriage,bay,2020-01-01\nF-1,fall,bay,2020-01-01\n\
         LC-2,carriage,bar,2020-01-01\nF-2,fall,bar,2020-01-01\n",
    ),
    ("fittings.csv", "item,fitted_at,host,position\nF-1,2020-01-01,LC-1,fall\nF-2,2020-01-01,LC-2,fall\n"),
    (
        "work.csv",
        "key,item,rule,done_at,outcome\nW-1,F-1,fall-examination,2026-05-20,passed\n\
         W-2,F-2,fall-examination,2026-06-02,passed\nW-3,LC-1,carriage-grease,2026-06-02,passed\n\
         W-4,LC-2,carriage-grease,2026-06-02,passed\n",
    ),
];

/// Carriages, each with its fall, its mechanic and its station.
pub const SIDES: [(&str, &str, &str, &str); 2] =
    [("LC-1", "F-1", "mechanic@bay.example", "bay"), ("LC-2", "F-2", "mechanic@bar.example", "bar")];

/// The mechanic whose gear this is.
pub fn mechanic_of(item: &str) -> &'static str {
    let side = SIDES.iter().find(|(carriage, fall, ..)| [*carriage, *fall].contains(&item));
    side.unwrap().2
}

//! A service of two stations and four pieces of gear, small enough to know every date of it by heart.
//! All of it is invented.

use jiff::civil::Date;
use policies::zone::{Instant, Zone};

use crate::harness::Room;

/// Register files.
pub const REGISTER: &[(&str, &str)] = &[
    (
        "stations.csv",
        "station,name,time_zone\n\
         bay,Low Bay,\"TVT0TVST,M3.5.0/1,M10.5.0/2\"\n\
         bar,Outer Bar,\"TVT0TVST,M3.5.0/1,M10.5.0/2\"\n",
    ),
    (
        "people.csv",
        "email,name,role,station\n\
         mechanic@bay.example,\"Mechanic, Low Bay\",mechanic,bay\n\
         mechanic@bar.example,Mécanicien Ø,mechanic,bar\n\
         booking@testhouse.example,Test House,test house,\n",
    ),
    (
        "items.csv",
        "item,kind,station,manufactured_on,entered_service_on,wll_t\n\
         LC-1,carriage,bay,2019-05-01,2019-06-01,\n\
         F-1,fall,bay,2019-05-01,2019-06-01,\n\
         S-1,shackle,bay,2019-05-01,2019-06-01,30\n\
         L-1,line,bar,,,\n",
    ),
    ("fittings.csv", "item,fitted_at,host,position\nF-1,2019-06-01T08:00:00Z,LC-1,fall\n"),
    ("usage.csv", "key,host,at,meter,count\nU-1,LC-1,2020-03-04T10:00:00Z,launches,7\n"),
    (
        "work.csv",
        "key,item,rule,done_at,outcome,measurements\n\
         W-1,F-1,fall-examination,2020-01-31,passed,diameter=15.9\n\
         W-2,S-1,shackle-proof-load,2020-02-29,passed,\n",
    ),
];

/// Kinds of the policy set.
pub const KINDS: &str = r#"[[kind]]
name      = "carriage"
meters    = ["launches"]
positions = [{ name = "fall", takes = "fall" }]

[[kind]]
name = "fall"

[[kind]]
name       = "shackle"
attributes = [{ name = "wll", unit = "t" }]
proof      = { gear = "shackle", load = "wll_t" }

[[kind]]
name = "line"
"#;

/// Rules of the policy set.
pub const RULES: &str = r#"[[rule]]
id         = "fall-examination"
title      = "Thorough examination of the fall"
applies_to = { kind = "fall" }
work       = "thorough examination"
calendar   = { every = "6 months" }
overdue    = "stops launch"
by         = "competent person"
authority  = "house"
records    = [{ name = "diameter", unit = "mm", plausible = [5, 45] }]

[[rule]]
id         = "fall-renewal"
title      = "Renew the fall"
applies_to = { kind = "fall" }
work       = "renewal"
usage      = [{ meter = "launches", every = 250 }]
overdue    = "stops launch"
authority  = "house"

[[rule]]
id         = "shackle-proof-load"
title      = "Proof load of the shackle"
applies_to = { kind = "shackle" }
work       = "proof load test"
calendar   = { every = "5 years" }
overdue    = "limits launch"
by         = "test house"
authority  = "house"

[[rule]]
id         = "line-renewal"
title      = "Renew the line"
applies_to = { kind = "line" }
work       = "renewal"
calendar   = { every = "3 years", from = "manufacture" }
overdue    = "advisory"
authority  = "house"
"#;

/// The service's own settings: a digest is owed from midnight on, so at any hour.
pub const SERVICE: &str = "home_zone = \"TVT0TVST,M3.5.0/1,M10.5.0/2\"\ndigest_at = \"00:00\"\n";

/// Files of the policy set.
pub const POLICIES: &[(&str, &str)] =
    &[("kinds.toml", KINDS), ("rules.toml", RULES), ("service.toml", SERVICE)];

/// Staff who may take a policy set up, and one who may not.
pub const STAFF: &str = "email,name,role,station\n\
     engineer@service.example,Engineer,engineer,\n\
     head@service.example,Head of Engineering,head,\n\
     clerk@service.example,Stores Clerk,clerk,\n";

/// A room that holds the service as files, the register in `register`.
pub fn room() -> Room {
    let room = Room::empty();
    fill(&room);
    room
}

/// Writes the service's files into a room.
pub fn fill(room: &Room) {
    for (name, text) in REGISTER {
        room.write(&format!("register/{name}"), text);
    }
    for (name, text) in POLICIES {
        room.write(&format!("policies/{name}"), text);
    }
}

/// The same, imported.
pub fn imported() -> Room {
    imported_in(Room::empty())
}

/// The same, imported in a room.
pub fn imported_in(room: Room) -> Room {
    fill(&room);
    room.tallow("import register").done();
    room
}

/// Takes the staff in.
pub fn add_staff(room: &Room) {
    room.write("staff/people.csv", STAFF);
    room.tallow("import staff").done();
}

/// The day of a moment at the service's home.
///
/// # Panics
/// Never: the zone is one.
pub fn day_of(now: Instant) -> Date {
    Zone::parse("TVT0TVST,M3.5.0/1,M10.5.0/2").unwrap().date_of(now)
}

/// The service's own settings for a set that is in force from a day.
pub fn service_from(day: Date) -> String {
    format!("effective_from = \"{day}\"\n{SERVICE}")
}

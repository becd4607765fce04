//! Cells that cannot be right: unknown names, values out of bounds, keys that stand twice.

use std::fmt::Write;

use crate::desk::row;
use crate::{faults_are, refused, refused_for, stocked, taken};

/// One bad row refuses the good ones of every file, and all bad rows are told at once.
#[tokio::test]
async fn one_bad_row_refuses_everything_and_all_are_told() {
    refused_for(
        &[
            ("stations.csv", "station,name,time_zone\npel,Pellan Sands,UTC\nUll,Ullery Bar,UTC\nstores,Stores,UTC\n"),
            ("items.csv", "item,kind,station\nF-1,launching fall,tan\nF-2,kite,tan\nF-3,launching fall,nowhere\nF-4,,tan\n"),
            ("usage.csv", "key,host,at,meter,count\nU1,LC-2/01,2026-10-01,launches,1\nU2,LC-2/77,2026-10-01,launches,1\n"),
        ],
        &[
            ("items.csv:3: kind", "\"kite\" is no kind; the kinds are carriage, launching fall, stopper chain, shackle"),
            ("items.csv:4: station", "\"nowhere\" is no station; add it to stations.csv"),
            ("items.csv:5: kind", "is empty"),
            ("stations.csv:3: station", "\"Ull\" is no slug"),
            ("stations.csv:4: station", "\"stores\" is no slug"),
            ("usage.csv:3: host", "\"LC-2/77\" is no item of the register; did you mean LC-2/0"),
        ],
    )
    .await;
}

#[tokio::test]
async fn two_hundred_bad_rows_are_told_and_the_rest_counted() {
    let rows = |n: usize| {
        let mut text = "item,kind\n".to_owned();
        (0..n).for_each(|n| writeln!(text, "K-{n},kite").unwrap());
        text
    };
    for (bad, told, more) in [(199, 199, 0), (200, 200, 0), (201, 200, 1), (1234, 200, 1034)] {
        let desk = stocked().await;
        let refusal = refused(&desk, &[("items.csv", &rows(bad))]).await;
        assert_eq!((refusal.told.len(), refusal.more), (told, more));
        assert!(refusal.told[0].starts_with("items.csv:2: kind: "), "{}", refusal.told[0]);
        assert!(refusal.told[told - 1].starts_with(&format!("items.csv:{}: kind: ", told + 1)));
    }
}

/// Fittings are the same when item and moment are, however the moment is written.
#[tokio::test]
async fn the_same_key_twice_in_a_file_is_a_bad_row() {
    refused_for(
        &[
            ("fittings.csv", "item,fitted_at,host,position\n\
                F-0417,2026-03-01T10:00Z,LC-2/01,port fall\n\
                F-0416,2026-03-01T10:00Z,LC-2/01,starboard fall\n\
                F-0417,2026-03-01T11:00+01:00,LC-2/02,port fall\n"),
            ("items.csv", "item,kind\nX-1,shackle\nX-1,shackle\n"),
            ("usage.csv", "key,host,at,meter,count\nU1,LC-2/01,2026-10-01,launches,1\n U1 ,LC-2/01,2026-10-02,launches,1\n"),
        ],
        &[
            ("fittings.csv:4: item", "\"F-0417\" stands on line 2 already"),
            ("items.csv:3: item", "\"X-1\" stands on line 2 already"),
            ("usage.csv:3: key", "\"U1\" stands on line 2 already"),
        ],
    )
    .await;
}

#[tokio::test]
async fn attributes_keep_to_their_kind_and_bounds() {
    refused_for(
        &[(
            "items.csv",
            "item,kind,mass_t,nominal_diameter_mm,lay\n\
            X-1,carriage,30.000001,,\n\
            X-2,carriage,0.4,,\n\
            X-3,launching fall,,16 mm,\n\
            X-4,launching fall,,1.6,\n\
            X-5,launching fall,12,,\n\
            X-6,launching fall,,,sideways\n\
            X-7,launching fall,,\"16,5\",\n\
            X-8,carriage,30,,\n\
            X-9,launching fall,,6,Lang\n",
        )],
        &[
            ("items.csv:2: mass_t", "\"30.000001\" is outside the plausible 0.5 to 30"),
            ("items.csv:3: mass_t", "\"0.4\" is outside the plausible 0.5 to 30"),
            ("items.csv:4: nominal_diameter_mm", "\"16 mm\" is not a decimal number"),
            ("items.csv:5: nominal_diameter_mm", "\"1.6\" is outside the plausible 6 to 40"),
            ("items.csv:6: mass_t", "is no attribute of a launching fall"),
            ("items.csv:7: lay", "\"sideways\" is not one of: ordinary, Lang"),
            ("items.csv:8: nominal_diameter_mm", "\"16,5\" is not a decimal number"),
        ],
    )
    .await;
}

/// A meter is declared by the host's own kind; exactly one of count and reading stands, and a count is above nought.
#[tokio::test]
async fn use_names_a_meter_of_its_host_and_one_quantity() {
    refused_for(
        &[(
            "usage.csv",
            "key,host,at,meter,count,reading\n\
            U1,LC-2/01,2026-10-01,immersions,1,\n\
            U2,S-1,2026-10-01,launches,1,\n\
            U3,F-0417,2026-10-01,launches,1,\n\
            U4,LC-2/01,2026-10-01,launches,1,1\n\
            U5,LC-2/01,2026-10-01,launches,,\n\
            U6,LC-2/01,2026-10-01,launches,0,\n\
            U7,LC-2/01,2026-10-01,launches,-1,\n\
            U8,LC-2/01,2026-10-01,launches,1e3,\n\
            U9,LC-2/01,2026-10-01,launches,0.0000001,\n\
            U10,LC-2/01,2026-10-01,launches,0.000001,\n",
        )],
        &[
            (
                "usage.csv:2: meter",
                "\"immersions\" is no meter of a carriage; launches, recoveries, engine hours, pump hours",
            ),
            ("usage.csv:3: meter", "\"launches\" is no meter of a shackle; pins"),
            ("usage.csv:4: meter", "\"launches\" is no meter of a launching fall; it has none"),
            ("usage.csv:5: count", "both given"),
            ("usage.csv:6: count", "both empty"),
            ("usage.csv:7: count", "above nought"),
            ("usage.csv:8: count", "above nought"),
            ("usage.csv:9: count", "\"1e3\" is not a decimal number"),
            ("usage.csv:10: count", "more than six decimals"),
        ],
    )
    .await;
}

/// Work names a rule of its item's kind, a known outcome, and measurements the rule records.
#[tokio::test]
async fn work_names_a_rule_of_its_kind_and_what_that_records() {
    refused_for(
        &[(
            "work.csv",
            "key,item,rule,done_at,outcome,measurements\n\
            W1,F-0417,fall-polishing,2026-10-01,done,\n\
            W2,F-0417,carriage-oil,2026-10-01,done,\n\
            W3,F-0417,fall-measurement,2026-10-01,well,\n\
            W4,F-0417,fall-measurement,2026-10-01,done,width=16\n\
            W5,F-0417,fall-measurement,2026-10-01,done,diameter=16 mm\n\
            W6,F-0417,fall-measurement,2026-10-01,done,diameter\n\
            W7,F-0417,fall-renewal,2026-10-01,done,diameter=16\n\
            W8,F-0417,fall-measurement,2026-10-01,done,diameter=15.9;breaks=2;look=a little rust\n",
        )],
        &[
            ("work.csv:2: rule", "\"fall-polishing\" is no rule of the policy set"),
            ("work.csv:3: rule", "\"carriage-oil\" is for a carriage, but F-0417 is a launching fall"),
            ("work.csv:4: outcome", "\"well\" is not one of: passed, failed, done"),
            ("work.csv:5: measurements", "records no \"width\"; it records: diameter, breaks, look"),
            ("work.csv:6: measurements", "is no decimal number; give it in mm"),
            ("work.csv:7: measurements", "is no measurement; write name=value"),
            ("work.csv:8: measurements", "records no \"diameter\"; it records: none"),
        ],
    )
    .await;
}

/// A reading in the wrong unit (1.59 cm for 15.9 mm) lies outside what the rule holds plausible.
#[tokio::test]
async fn a_measurement_in_the_wrong_unit_is_refused() {
    refused_for(
        &[(
            "work.csv",
            "key,item,rule,done_at,outcome,measurements\n\
            W1,F-0417,fall-measurement,2026-10-01,done,diameter=1.59\n\
            W2,F-0417,fall-measurement,2026-10-02,done,diameter=159\n\
            W3,F-0417,fall-measurement,2026-10-03,done,diameter=5\n\
            W4,F-0417,fall-measurement,2026-10-04,done,diameter=60\n",
        )],
        &[
            ("work.csv:2: measurements", "outside the plausible 5 to 60"),
            ("work.csv:3: measurements", "outside the plausible 5 to 60"),
        ],
    )
    .await;
}

#[tokio::test]
async fn papers_people_and_stock_are_judged_too() {
    refused_for(
        &[
            ("certificates.csv", "key,item,number,issuer,issued_on,valid_until\nT1,F-0417,1,I,2026-07-14,2026-07-13\nT2,F-9,1,I,2026-07-14,\n"),
            ("concessions.csv", "key,item,rule,from,until,conditions,by\n\
                K1,F-0417,fall-examination,2026-09-14,2026-10-31,daylight,engineer\n\
                K2,F-0417,fall-renewal,2026-09-14,2026-09-13,daylight,engineer\n\
                K3,F-0417,fall-polishing,2026-09-14,2026-10-31,daylight,engineer\n"),
            ("parts.csv", "part,description,kind,lead_time,unit,price\nP-1,Fall,launching fall,soon,each,\nP-2,Fall,launching fall,1 week,km,\nP-3,Fall,launching fall,1 week,m,3\n"),
            ("people.csv", "email,name,role,deputy\nno address,A,head,\nb@mcbs.example,B,head,c@mcbs.example\n"),
            ("states.csv", "key,item,at,state\nQ1,F-0417,2026-10-01,lost\n"),
            ("stock.csv", "key,part,place,at,quantity,reason\nM1,P-9,stores,2026-10-01,1,receipt\nM2,P-9,attic,2026-10-01,1,theft\n"),
        ],
        &[
            ("certificates.csv:2: valid_until", "lies before issued_on"),
            ("certificates.csv:3: item", "\"F-9\" is no item"),
            ("concessions.csv:2: rule", "asked by law and cannot be conceded"),
            ("concessions.csv:3: until", "lies before from"),
            ("concessions.csv:4: rule", "is no rule"),
            ("parts.csv:2: lead_time", "\"soon\" is not a span"),
            ("parts.csv:3: unit", "\"km\" is not one of: each, m"),
            ("parts.csv:4: price", "currency go together"),
            ("people.csv:2: email", "is no mail address"),
            ("people.csv:3: deputy", "\"c@mcbs.example\" is nobody"),
            ("states.csv:2: state", "\"lost\" is not one of: quarantined, released, withdrawn"),
            ("stock.csv:2: part", "\"P-9\" is no part"),
            ("stock.csv:3: place", "\"attic\" is no place"),
            ("stock.csv:3: reason", "\"theft\" is not one of"),
        ],
    )
    .await;
}

/// References are judged on the state after the whole import, whatever order the files and rows stand in.
#[tokio::test]
async fn references_may_point_forward_within_one_import() {
    let desk = stocked().await;
    taken(&desk, &[
        ("fittings.csv", "item,fitted_at,host,position\nF-9,2026-03-01,LC-9,port fall\n"),
        ("items.csv", "item,kind,station,entered_service_on,cut_from\nF-9,launching fall,pel,2026-01-01,F-10\nF-10,launching fall,pel,,\nLC-9,carriage,pel,,\n"),
        ("stations.csv", "station,name,time_zone,flanks\npel,Pellan Sands,UTC,ull;tan\null,Ullery Bar,UTC,pel\n"),
    ])
    .await;
    let refusal = refused(&desk, &[
        ("items.csv", "item,kind,entered_service_on,cut_from\nF-11,launching fall,,F-9\nF-12,launching fall,2026-01-01,F-13\nF-10,launching fall,2026-01-01,F-9\n"),
        ("stations.csv", "station,name,time_zone,flanks\nbra,Bravell Isle,UTC,net\n"),
    ])
    .await;
    faults_are(
        &refusal.told,
        &[
            ("items.csv:2: entered_service_on", "is needed where cut_from is given"),
            ("items.csv:3: cut_from", "\"F-13\" is no other item it can have been cut from"),
            ("items.csv:4: cut_from", "\"F-9\" is no other item it can have been cut from"),
            ("stations.csv:2: flanks", "\"net\" is no other station"),
        ],
    );
}

/// Use before the records begin counts as soon as it is accepted; blanks around its parts do not lose it.
#[tokio::test]
async fn use_before_the_records_is_never_lost() {
    refused_for(
        &[("items.csv", "item,kind,opening_use\nX-1,launching fall,launches\nX-2,launching fall,flights=3\nX-3,launching fall,launches=-3\nX-4,launching fall,launches=many\n")],
        &[
            ("items.csv:2: opening_use", "write launches=73"),
            ("items.csv:3: opening_use", "names no meter; the meters are launches"),
            ("items.csv:4: opening_use", "write launches=73"),
            ("items.csv:5: opening_use", "write launches=73"),
        ],
    )
    .await;
    for text in ["launches=73", "launches = 73", "launches =73", "launches= 73", "recoveries=2;launches=73"] {
        let desk = stocked().await;
        let items = format!("item,kind,opening_use\nF-0417,launching fall,{text}\n");
        if crate::desk::import(&desk, &[("items.csv", &items)]).await.is_ok() {
            assert_eq!(row(&desk, "F-0417", "fall-renewal", "2026-10-11").await.used, "73", "{text:?}");
        }
    }
}

/// A kind corrected later must not leave records behind that its new kind cannot have.
#[tokio::test]
async fn a_corrected_kind_must_still_fit_its_records() {
    let desk = stocked().await;
    taken(
        &desk,
        &[
            ("fittings.csv", "item,fitted_at,host,position\nF-0417,2026-03-01,LC-2/01,port fall\n"),
            ("usage.csv", "key,host,at,meter,count\nU1,LC-2/02,2026-10-01,launches,1\n"),
            ("work.csv", "key,item,rule,done_at,outcome\nW1,F-0416,fall-renewal,2026-10-01,done\n"),
        ],
    )
    .await;
    let told = refused(
        &desk,
        &[("items.csv", "item,kind\nF-0417,shackle\nLC-2/02,shackle\nF-0416,shackle\nS-1,stopper chain\n")],
    )
    .await
    .told;
    faults_are(
        &told,
        &[("items.csv:2: kind", "F-0417"), ("items.csv:3: kind", "LC-2/02"), ("items.csv:4: kind", "F-0416")],
    );
}

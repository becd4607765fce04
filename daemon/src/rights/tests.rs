use super::*;

fn who(role: &str, station: Option<&str>, competence: Option<&str>) -> Who {
    let person = Person {
        key: "somebody@service.example".to_owned(),
        role: role.to_owned(),
        station: station.map(str::to_owned),
        competence: competence.map(str::to_owned),
        ..Person::default()
    };
    Who { person, second_factor: true }
}

#[test]
fn a_mechanic_records_at_their_own_station_and_nowhere_else() {
    let mechanic = who("mechanic", Some("qua"), None);
    let at = |act, station| may(&mechanic, act, Place::Of(station));
    assert!(at(Act::LogUse, Some("qua")).is_ok() && at(Act::FitItem, Some("qua")).is_ok());
    let refused = at(Act::LogUse, Some("net")).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "somebody@service.example is mechanic of qua, and may not log use for net. \
         It would be right by the station's mechanic, an engineer or the head."
    );
    assert!(at(Act::LogUse, None).is_err(), "central stores are nobody's station");
    assert!(at(Act::RecordFailedWork, Some("net")).is_ok(), "what was found unfit is taken from anybody");
}

#[test]
fn nobody_signs_without_a_second_factor() {
    for act in ACTS.into_iter().filter(|act| act.is_signed()) {
        let head = who("head", None, None);
        assert!(may(&head, act, Place::Own).is_ok(), "{act:?}");
        let bare = Who { second_factor: false, ..head };
        assert!(may(&bare, act, Place::Own).unwrap_err().right.contains("/account"), "{act:?}");
    }
}

#[test]
fn a_reader_only_reads() {
    let reader = who("reader", None, None);
    let open: Vec<Act> = ACTS.into_iter().filter(|act| may(&reader, *act, Place::Own).is_ok()).collect();
    let reads = [
        Act::ViewRegion,
        Act::ViewStation,
        Act::ViewItem,
        Act::ViewRules,
        Act::ViewMail,
        Act::OwnAccount,
        Act::RecordFailedWork,
    ];
    assert_eq!(open, reads);
}

#[test]
fn competence_opens_what_it_is_for() {
    let house = who("test house", None, Some("competent person; test house"));
    assert!(may(&house, Act::ClearDefect, Place::Own).is_ok());
    assert!(may(&house, Act::SignExamination, Place::Of(Some("qua"))).is_ok());
    assert!(may(&house, Act::ViewRegion, Place::Own).is_err());
    assert!(may(&who("engineer", None, None), Act::ClearDefect, Place::Own).is_err());
}

use std::collections::BTreeSet;

use super::*;
use crate::records::Work;
use crate::wear;

/// Rules whose gear is worn in the scenario, evenly with its use, or cropped by the same length each time.
const WORN: [&str; 7] = [
    "fall-crop",
    "winch-wire-crop",
    "fall-measurement",
    "winch-wire-measurement",
    "stopper-gauging",
    "preventer-gauging",
    "hauling-chain-gauging",
];

/// Hooks, blocks, shackles and machines read the same from year to year: no line through their readings is a trend.
#[tokio::test]
async fn healthy_gear_shows_no_trend_by_chance() {
    let folder = std::env::temp_dir().join(format!("tallow-demo-wear-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let desk = load(&folder).await.unwrap();
    let works = desk.store.newest::<Work>().await.unwrap();
    let found =
        desk.with_fleet(|fleet| wear::of_fleet(&desk.set, fleet, STATED, works.values())).await.unwrap();
    std::fs::remove_dir_all(&folder).unwrap();
    let read: BTreeSet<&str> = found.iter().map(|(_, wear)| desk.set.rule(wear.rule).id.as_str()).collect();
    assert!(read.contains("hook-thorough-examination") && read.contains("block-gauging"), "{read:?}");
    let foreseen = found.iter().filter(|(_, wear)| wear.odds.is_ok());
    let foreseen: BTreeSet<&str> = foreseen.map(|(_, wear)| desk.set.rule(wear.rule).id.as_str()).collect();
    assert!(foreseen.contains("stopper-gauging"), "{foreseen:?}");
    assert!(foreseen.iter().all(|rule| WORN.contains(rule)), "{foreseen:?}");
}

//! What the campaigns' scripts count as done: with a `cargo` of the test's own in front of the real one.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Output};

const REPOSITORY: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

/// Runs two slices of the simulation's campaign with a `cargo` that does as it is told.
fn campaign(folder: &Path, cargo: &str) -> (Output, String) {
    let own = folder.join("cargo");
    std::fs::write(&own, format!("#!/bin/sh\n{cargo}\n")).unwrap();
    std::fs::set_permissions(&own, std::fs::Permissions::from_mode(0o755)).unwrap();
    let results = folder.join("results.tsv");
    let ended = Command::new(format!("{REPOSITORY}/ops/campaign"))
        .args(["simulation", "--seeds", "4", "--days", "3", "--slice", "2", "--from"])
        .arg(&results)
        .env("PATH", format!("{}:/usr/bin:/bin", folder.display()))
        .output()
        .unwrap();
    (ended, std::fs::read_to_string(results).unwrap_or_default())
}

#[test]
fn only_a_run_that_printed_its_verdict_counts() {
    let folder = tempfile::tempdir().unwrap();
    for broken in
        ["echo 'error: could not compile' >&2; exit 101", "echo 'simulation: seeds 1..=2, killed'; exit 137"]
    {
        let (ended, results) = campaign(folder.path(), broken);
        assert_eq!((ended.status.code(), results.as_str()), (Some(1), ""), "{broken}");
    }
    let wrong = "echo \"simulation: seeds $TALLOW_FROM, 9 mails: WRONG\"; exit 101";
    let (ended, results) = campaign(folder.path(), wrong);
    assert_eq!((ended.status.code(), results.lines().count()), (Some(1), 2), "{results}");
    std::fs::remove_file(folder.path().join("results.tsv")).unwrap();
    let sound = "echo \"simulation: seeds $TALLOW_FROM, 9 mails: sound\"";
    let (ended, results) = campaign(folder.path(), sound);
    assert_eq!((ended.status.code(), results.lines().count()), (Some(0), 2), "{results}");
    // Gone on with where it stopped, nothing is left to do.
    let (ended, again) = campaign(folder.path(), "exit 101");
    assert_eq!((ended.status.code(), again), (Some(0), results));
}

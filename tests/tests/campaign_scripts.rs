//! What the campaigns' scripts count as done: with a `cargo` and a program of the test's own.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Output};

const REPOSITORY: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

/// An executable script.
fn script(path: &Path, text: &str) {
    std::fs::write(path, format!("#!/bin/sh\n{text}\n")).unwrap();
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o755)).unwrap();
}

/// Runs two slices of the simulation's campaign with a program that does as it is told, where `cargo` builds one.
fn campaign(folder: &Path, program: Option<&str>) -> (Output, String) {
    let built = folder.join("simulation-0a");
    script(&built, program.unwrap_or_default());
    let says = format!("echo '  Executable tests/simulation.rs ({})' >&2", built.display());
    let fails = "echo 'error: could not compile' >&2; exit 101".to_owned();
    script(&folder.join("cargo"), &program.map_or(fails, |_| says));
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
    for broken in [None, Some("echo 'simulation: seeds 1..=2, killed'; exit 137")] {
        let (ended, results) = campaign(folder.path(), broken);
        assert_eq!((ended.status.code(), results.as_str()), (Some(1), ""), "{broken:?}");
        assert!(!ended.stderr.is_empty(), "{broken:?}: it says why");
    }
    let wrong = "echo \"test … simulation: seeds $TALLOW_FROM, 9 mails: WRONG\"; exit 101";
    let (ended, results) = campaign(folder.path(), Some(wrong));
    assert_eq!((ended.status.code(), results.lines().count()), (Some(1), 2), "{results}");
    std::fs::remove_file(folder.path().join("results.tsv")).unwrap();
    let sound = "echo \"test … simulation: seeds $TALLOW_FROM, 9 mails: sound\"";
    let (ended, results) = campaign(folder.path(), Some(sound));
    assert_eq!((ended.status.code(), results.lines().count()), (Some(0), 2), "{results}");
    // Gone on with where it stopped, nothing is left to do.
    let (ended, again) = campaign(folder.path(), Some("exit 101"));
    assert_eq!((ended.status.code(), again), (Some(0), results));
}

//! The demo: an invented service with three years of history, and its own post office.

pub mod catcher;
pub mod scenario;

use policies::load::{PolicyFile, SERVICE_FILE};
use policies::shipped;

/// The policy set of the demo: the shipped one, with the demo service's own settings.
pub fn policy_files() -> Vec<PolicyFile> {
    let mut files = shipped::files();
    files.retain(|file| file.name != SERVICE_FILE);
    files.push(PolicyFile { name: SERVICE_FILE.to_owned(), text: include_str!("demo/service.toml").to_owned() });
    files
}

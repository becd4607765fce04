//! A sweep with nothing to do beside one full evaluation of the due table, over some 200,000 item-rules.
//!
//! Prints both in CPU seconds and their ratio; ends with 1 where the idle sweep did something after all.
//! `cargo bench -p tests --bench idle_sweep`; `-- --tenth` takes a tenth of the fleet.

#[path = "due_table/machine.rs"]
mod machine;

use std::process::ExitCode;
use std::sync::Arc;

use daemon::clock::StandingClock;
use daemon::desk::Desk;
use daemon::notices::templates::Templates;
use daemon::policy_set;
use daemon::register::{Faults, read_folder};
use daemon::store::Store;
use daemon::sweep::{Mail, Swept, sweep};
use machine::{cpu_seconds, median, peak_mib, timed};
use policies::due::Evaluator;
use policies::facts::Fleet;
use policies::load::PolicyFile;
use policies::zone::{Instant, Zone};
use tests::large_fleet::{self, AS_OF, S, TENTH};

type Failure = Box<dyn std::error::Error>;

const SWEEPS: usize = 21;
const EVALUATIONS: usize = 3;

#[tokio::main]
async fn main() -> Result<ExitCode, Failure> {
    let size = if std::env::args().any(|word| word == "--tenth") { TENTH } else { S };
    let folder = tempfile::tempdir()?;
    large_fleet::write_register(&size, folder.path())?;
    let files = large_fleet::policy_files(&size);
    let files: Vec<PolicyFile> = files.into_iter().map(|(name, text)| PolicyFile { name, text }).collect();
    let set = Arc::new(policy_set::check(&files)?);
    let store = Store::open(&format!("sqlite:{}", folder.path().join("fleet.db").display())).await?;
    let evening = Instant(Zone::utc().end_of(AS_OF).0 - 1_000_000);
    let desk = Desk::new(store, set, Arc::new(StandingClock(evening)), "bench".to_owned());
    let faults = Faults::default();
    desk.import(&read_folder(folder.path(), &faults)?, &faults, false).await?;
    let mail = Mail {
        from: "tallow@service.example".to_owned(),
        reply_to: None,
        pages_url: None,
        templates: Templates::embedded()?,
    };
    let first = sweep(&desk, &mail).await?;
    println!("the first sweep wrote {} rows and {} notices", first.rows, first.notices);
    // What the first one left to do, such as alarms of what it found.
    sweep(&desk, &mail).await?;
    let (mut idle, mut full, mut rows) = (Vec::new(), Vec::new(), 0);
    for _ in 0..EVALUATIONS {
        let table = |fleet: &Fleet| timed(|| Evaluator::during(&desk.set, fleet, AS_OF).table().len());
        let (spent, found) = desk.with_fleet(table).await?;
        rows = found;
        full.push(spent);
    }
    let mut still = true;
    for _ in 0..SWEEPS {
        let before = cpu_seconds();
        still &= sweep(&desk, &mail).await? == Swept::default();
        idle.push(cpu_seconds() - before);
    }
    let (idle, full) = (median(&mut idle), median(&mut full));
    println!(
        "{rows} item-rules: a full evaluation {full:.3} s CPU, a sweep with nothing to do {:.2} ms",
        1e3 * idle
    );
    println!("ratio {:.4} (aim: 0.02 or less), peak {} MiB", idle / full, peak_mib());
    Ok(if still { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

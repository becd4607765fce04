//! Records of a large fleet through the real store: import, one new launch, the daemon's memory.
//!
//! Prints CPU times, and a launch's cost beside a bare durable commit in the same run; ends with 1 where the
//! stored due table is not the reckoned one. `cargo bench -p tests --bench records`; `-- --tenth` leaves the
//! whole fleet out.

#[path = "due_table/machine.rs"]
mod machine;

use std::path::Path;
use std::process::{Child, Command, ExitCode, Stdio};
use std::sync::Arc;

use daemon::clock::{Clock, StandingClock};
use daemon::desk::Desk;
use daemon::policy_set;
use daemon::records::Usage;
use daemon::register::{Faults, read_folder};
use daemon::store::write::Deed;
use daemon::store::{Store, StoreError, Writer};
use daemon::verify::differences;
use machine::{cpu_seconds, median, peak_mib, timed};
use policies::load::PolicyFile;
use policies::zone::{Instant, Zone};
use tests::large_fleet::{self, AS_OF, S, Size, TENTH};

type Failure = Box<dyn std::error::Error>;

/// Launches measured on each fleet, after as many to warm up.
const LAUNCHES: usize = 200;

#[tokio::main]
async fn main() -> Result<ExitCode, Failure> {
    let tenth_only = std::env::args().any(|word| word == "--tenth");
    let mut sound = true;
    for (name, size) in [("a tenth of S", TENTH), ("S", S)] {
        if name == "S" && tenth_only {
            continue;
        }
        println!("fleet {name}: {} stations, {} items, {} events", size.stations, size.items, size.events);
        sound &= measure(&size).await?;
    }
    Ok(if sound { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

async fn measure(size: &Size) -> Result<bool, Failure> {
    let folder = tempfile::tempdir()?;
    let (drawing, drawn) = timed(|| large_fleet::write_register(size, folder.path()));
    drawn?;
    println!("  drawn and written as CSV in {drawing:.2} s CPU");
    let desk = desk(size, &folder.path().join("fleet.db")).await?;
    import(&desk, folder.path()).await?;
    launches(&desk).await?;
    let found = differences(&desk).await?;
    println!("  verify: {} rows, {} differences", found.rows, found.differences.len());
    let Desk { store, .. } = desk;
    store.close().await?;
    memory(folder.path())?;
    Ok(found.differences.is_empty())
}

/// The evening of the fleet's as-of date.
fn evening() -> Instant {
    Instant(Zone::utc().end_of(AS_OF).0 - 1_000_000)
}

async fn desk(size: &Size, path: &Path) -> Result<Desk, Failure> {
    let files = large_fleet::policy_files(size);
    let files: Vec<PolicyFile> = files.into_iter().map(|(name, text)| PolicyFile { name, text }).collect();
    let set = Arc::new(policy_set::check(&files)?);
    let store = Store::open(&format!("sqlite:{}", path.display())).await?;
    Ok(Desk::new(store, set, Arc::new(StandingClock(evening())), "bench".to_owned()))
}

async fn import(desk: &Desk, folder: &Path) -> Result<(), Failure> {
    let before = cpu_seconds();
    let faults = Faults::default();
    let sheets = read_folder(folder, &faults)?;
    let rows: usize = sheets.iter().map(|sheet| sheet.rows.len()).sum();
    let read = cpu_seconds() - before;
    desk.import(&sheets, &faults, false).await?;
    let whole = cpu_seconds() - before;
    println!(
        "  import from CSV: {rows} rows, {whole:.2} s CPU ({read:.2} s of it reading), peak {} MiB",
        peak_mib()
    );
    Ok(())
}

async fn launches(desk: &Desk) -> Result<(), Failure> {
    let hosts = desk.with_fleet(|fleet| hosts(desk, fleet)).await?;
    let (mut logged, mut bare, mut rows) = (Vec::new(), Vec::new(), 0);
    for number in 0..2 * LAUNCHES {
        let host = &hosts[number % hosts.len()];
        let row = launch(host, number);
        let before = cpu_seconds();
        let done = desk.log_use(std::slice::from_ref(&row)).await?;
        let spent = cpu_seconds() - before;
        let commit = commit(desk, number).await?;
        if number >= LAUNCHES {
            logged.push(spent);
            bare.push(commit);
            rows += done.rows;
        }
    }
    let (logged, bare) = (1e3 * median(&mut logged), 1e3 * median(&mut bare));
    println!(
        "  one launch: {logged:.2} ms CPU, a bare durable commit {bare:.2} ms: {:.2} ms beyond it; {} rows a launch",
        logged - bare,
        rows / LAUNCHES
    );
    Ok(())
}

/// Hosts that count launches and carry something.
fn hosts(desk: &Desk, fleet: &policies::facts::Fleet) -> Vec<String> {
    let Some(meter) = desk.set.kinds.find_meter("launches") else { return Vec::new() };
    let counts =
        |id: &policies::facts::ItemId| desk.set.kinds.kind(fleet.item(*id).kind).meter(meter).is_some();
    let laden = fleet.ids().filter(counts).filter(|id| fleet.bearers(*id).len() > 5).take(100);
    laden.map(|id| fleet.item(id).tag.to_string()).collect()
}

fn launch(host: &str, number: usize) -> Usage {
    Usage {
        key: format!("bench {number}"),
        host: host.to_owned(),
        at: evening().0 - 1_000_000 * i64::try_from(number).unwrap_or(0),
        meter: "launches".to_owned(),
        count: Some(1_000_000),
        ..Usage::default()
    }
}

/// One row written and made durable, and nothing else.
async fn commit(desk: &Desk, number: usize) -> Result<f64, StoreError> {
    let before = cpu_seconds();
    let deed =
        Deed { actor: "bench".to_owned(), action: "commit".to_owned(), at: StandingClock(evening()).now() };
    desk.store.write(deed, async |tx: &mut Writer| tx.remember("bench", &number.to_string()).await).await?;
    Ok(cpu_seconds() - before)
}

/// Peak memory of the daemon itself on this store, once its first sweep is through.
fn memory(folder: &Path) -> Result<(), Failure> {
    let program = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/release/tallow");
    if !program.exists() {
        println!("  daemon's memory: not measured; cargo build --release first");
        return Ok(());
    }
    let mut child = Command::new(program)
        .arg("--database")
        .arg(format!("sqlite:{}", folder.join("fleet.db").display()))
        .arg("--policies")
        .arg(folder.join("policies"))
        .args(["serve", "--listen", "127.0.0.1:0"])
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()?;
    let peak = swept(&mut child);
    child.kill()?;
    child.wait()?;
    println!("  daemon's peak memory after its first sweep: {} MiB", peak?);
    Ok(())
}

/// Waits for the log line of the first sweep; the peak by then.
fn swept(child: &mut Child) -> Result<u64, Failure> {
    use std::io::BufRead;
    let lines = child.stderr.take().ok_or("the daemon has no standard error")?;
    for line in std::io::BufReader::new(lines).lines() {
        let line = line?;
        if line.contains("\"swept\"") {
            let status = std::fs::read_to_string(format!("/proc/{}/status", child.id()))?;
            let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap_or_default().trim();
            return Ok(peak.trim_end_matches(" kB").parse::<u64>()? / 1024);
        }
    }
    Err("the daemon ended before its first sweep".into())
}

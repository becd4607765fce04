//! The command line: what the pages can do, it can do.

mod adopt;
mod assess;
mod backup;
mod carry;
mod certificate;
mod concession;
mod config;
mod correct;
mod doubt;
mod drums;
mod due;
mod examine;
mod hold;
mod item;
mod log;
mod notices;
mod odds;
mod order;
mod people;
mod policy;
mod proof_load;
mod readiness;
mod register;
mod say;
mod serve;
mod setting;
mod spares;
mod state;
mod stock;
mod verify;
mod waits;
mod work;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand, ValueEnum};

pub(crate) use odds::learnt as odds_learnt;
pub use setting::Settings;

/// When a rope, chain or carriage of a beach-launch station must be examined, turned, proof-loaded or renewed,
/// and why. Tallow advises; a competent person decides.
#[derive(Debug, Parser)]
#[command(name = "tallow", version, arg_required_else_help = true)]
pub struct Arguments {
    /// Settings file.
    #[arg(long, global = true, value_name = "FILE")]
    config: Option<PathBuf>,
    /// Database, such as sqlite:tallow.db.
    #[arg(long, global = true, value_name = "URL")]
    database: Option<String>,
    /// Folder of a policy set, instead of the one in force.
    #[arg(long, global = true, value_name = "DIR")]
    policies: Option<PathBuf>,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Take a register in: a folder of CSV files, or of one workbook
    Import(register::Import),
    /// Give the register out
    Export(register::Export),
    /// What is due, by when, because of what
    Due(due::Due),
    /// The whole derivation of one date
    Why(due::Why),
    /// Which stations can launch by the state of their gear, and why not
    Readiness(readiness::Readiness),
    /// Check or rehearse a policy set, or print its schema
    Policy(policy::Policy),
    /// Log a launch, a recovery or a reading
    Log(log::Log),
    /// Holds after a shock load, an overload or a grounding
    Hold(hold::Hold),
    /// Put a record right, or acknowledge a later date
    Correct(correct::Correct),
    /// Record work done
    Work(work::Work),
    /// Gear: entered, fitted, removed, cut, cropped, split, lent, and its history
    Item(item::Item),
    /// Gear set aside, released, laid up, withdrawn
    State(state::State),
    /// Rules waived for an item, for a time and under conditions
    Concession(concession::Concession),
    /// Examination reports: the form, drafts, signing, and the defects they found
    Examine(examine::Examine),
    /// Certificates and reports, with their files
    Certificate(certificate::Certificate),
    /// Doubts in the logs, and what people answer to them
    Doubt(doubt::Doubt),
    /// Chances of crossing a usage limit or wearing to one, and how well they did
    Odds(odds::Odds),
    /// What will be renewed, what to hold, what to order and by when
    Spares(spares::Spares),
    /// Stock: moved, counted, issued, listed
    Stock(stock::Stock),
    /// Orders: raised, received, listed, and the sheet that goes out
    Order(order::Order),
    /// Drums of wire, and how to cut what is wanted
    Drums(drums::Drums),
    /// What was, is and will be sent
    Notices(notices::Notices),
    /// The daemon: sweeps, notices, pages
    Serve(serve::Serve),
    /// An invented service to look at, with its own post office
    Demo(serve::Demo),
    /// Who may do what, and who may sign in
    People(people::People),
    /// Check the settings
    Config(config::ConfigCommand),
    /// Judge what was found on gear by the discard criteria; records nothing
    Assess(assess::Assess),
    /// The proof load a piece of gear must bear
    ProofLoad(proof_load::ProofLoad),
    /// Reckon everything again from the records and compare
    Verify,
    /// Copy the store while it is in use
    Backup(backup::Backup),
    /// Put a backup in the place of the store
    Restore(backup::Restore),
    /// Carry a store into an empty other, such as from a file to a PostgreSQL server
    Move(carry::Move),
    /// Take a copy of a store, or a restored one, into service: until then it sends nothing
    Adopt(adopt::Adopt),
}

impl Arguments {
    /// Whether it runs until it is stopped, so that its log is kept rather than read along.
    pub fn is_daemon(&self) -> bool {
        matches!(self.command, Command::Serve(_))
    }
}

/// How a result is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
enum Format {
    /// For people.
    #[default]
    Table,
    /// For spreadsheets.
    Csv,
    /// For programs.
    Json,
}

/// How a derivation is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
enum TextFormat {
    /// For people.
    #[default]
    Text,
    /// For programs.
    Json,
}

/// What a command answers: done, or "no" (faults or differences found).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Exit 0.
    Done,
    /// Exit 1.
    No,
}

impl From<Answer> for ExitCode {
    fn from(answer: Answer) -> ExitCode {
        match answer {
            Answer::Done => ExitCode::SUCCESS,
            Answer::No => ExitCode::from(1),
        }
    }
}

/// Runs one command.
///
/// # Errors
/// The command could not be carried out: exit 2, with every cause.
pub async fn run(arguments: Arguments) -> anyhow::Result<Answer> {
    let settings = Settings::read(arguments.config.as_deref(), arguments.database, arguments.policies)?;
    match arguments.command {
        Command::Import(import) => import.run(&settings).await,
        Command::Export(export) => export.run(&settings).await,
        Command::Due(due) => due.run(&settings).await,
        Command::Why(why) => why.run(&settings).await,
        Command::Readiness(readiness) => readiness.run(&settings).await,
        Command::Policy(policy) => policy.run(&settings).await,
        Command::Log(log) => log.run(&settings).await,
        Command::Hold(hold) => hold.run(&settings).await,
        Command::Correct(correct) => correct.run(&settings).await,
        Command::Work(work) => work.run(&settings).await,
        Command::Item(item) => item.run(&settings).await,
        Command::State(state) => state.run(&settings).await,
        Command::Concession(concession) => concession.run(&settings).await,
        Command::Examine(examine) => Box::pin(examine.run(&settings)).await,
        Command::Certificate(certificate) => certificate.run(&settings).await,
        Command::Doubt(doubt) => doubt.run(&settings).await,
        Command::Odds(odds) => odds.run(&settings).await,
        Command::Spares(spares) => spares.run(&settings).await,
        Command::Stock(stock) => stock.run(&settings).await,
        Command::Order(order) => order.run(&settings).await,
        Command::Drums(drums) => drums.run(&settings).await,
        Command::Notices(notices) => notices.run(&settings).await,
        Command::Serve(serve) => serve.run(&settings).await,
        Command::Demo(demo) => demo.run().await,
        Command::People(people) => people.run(&settings).await,
        Command::Config(config) => config.run(&settings),
        Command::Assess(assess) => assess.run(),
        Command::ProofLoad(proof_load) => proof_load.run(),
        Command::Verify => verify::run(&settings).await,
        Command::Backup(backup) => backup.run(&settings).await,
        Command::Restore(restore) => restore.run(&settings).await,
        Command::Move(carry) => carry.run(&settings).await,
        Command::Adopt(adopt) => adopt.run(&settings).await,
    }
}

//! `tallow people`: who may do what, and who may sign in.

use std::sync::Arc;

use clap::{Args, Subcommand};

use super::say::say;
use super::{Answer, Settings};
use crate::accounts::Accounts;
use crate::clock::SystemClock;
use crate::records::Person;
use crate::register::{Faults, Sheet};
use crate::store::Store;

#[derive(Debug, Args)]
pub(super) struct People {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Enter somebody in the register, as an import would; they sign in once they are invited
    Add(Add),
    /// Everybody, and whether they can sign in
    List,
    /// Print a code with which somebody sets their password, once, within three days
    Invite(Named),
    /// Shut an account: whoever is signed in with it is so no longer
    Disable(Named),
    /// Open an account again
    Enable(Named),
    /// The second factor of somebody
    SecondFactor(Factor),
    /// End every sign-in of somebody
    SignOut(Named),
    /// Make a token with which a program has somebody's rights, or revoke one
    Token(Token),
    /// Make an address that a calendar program subscribes to, list them, or revoke one
    Calendar(Calendar),
}

#[derive(Debug, Args)]
struct Named {
    /// Address of the person
    email: String,
}

#[derive(Debug, Args)]
struct Add {
    /// Address of the person
    email: String,
    /// Name
    #[arg(long)]
    name: String,
    /// head, engineer, mechanic, clerk, test house or reader
    #[arg(long)]
    role: String,
    /// Station slug; the whole region where left out
    #[arg(long)]
    station: Option<String>,
    /// What they are competent for, such as "competent person"; several stand apart by ;
    #[arg(long)]
    competence: Option<String>,
}

#[derive(Debug, Args)]
struct Factor {
    /// Address of the person
    email: String,
    /// Take it away, such as after the telephone was lost
    #[arg(long, required = true)]
    reset: bool,
}

#[derive(Debug, Args)]
struct Token {
    /// Address of the person whose rights it has
    email: String,
    /// What it is for
    #[arg(long, required_unless_present = "revoke")]
    label: Option<String>,
    /// Days that it lasts; a year where left out
    #[arg(long, requires = "label")]
    days: Option<i64>,
    /// Revoke the token with this label
    #[arg(long, value_name = "LABEL", conflicts_with_all = ["label", "days"])]
    revoke: Option<String>,
}

#[derive(Debug, Args)]
struct Calendar {
    /// Address of the person whose calendar it is
    email: String,
    /// The dates of this station; the person's own where left out
    #[arg(long, value_name = "STATION")]
    station: Option<String>,
    /// Instead, list those that are in force
    #[arg(long, conflicts_with_all = ["station", "revoke"])]
    list: bool,
    /// Instead, revoke the one that the list shows under this mark
    #[arg(long, value_name = "MARK", conflicts_with = "station")]
    revoke: Option<String>,
}

impl Calendar {
    async fn run(self, settings: &Settings, accounts: &Accounts) -> anyhow::Result<Answer> {
        let made = accounts.calendars(&self.email).await?;
        let mark = |digest: &str| digest.get(..8).unwrap_or(digest).to_owned();
        if self.list {
            for one in &made {
                let of = one.station.as_deref().unwrap_or("their own dates");
                let since = policies::zone::Instant(one.made_at).timestamp().strftime("%Y-%m-%d");
                say(format_args!("{}  {of}, since {since}\n", mark(&one.digest)))?;
            }
            return Ok(Answer::Done);
        }
        if let Some(revoked) = self.revoke {
            let Some(one) = made.iter().find(|one| mark(&one.digest) == revoked) else {
                anyhow::bail!("{} has no calendar \"{revoked}\"; see --list", self.email);
            };
            accounts.revoke_calendar(&self.email, &one.digest).await?;
            return said(format_args!("{}: calendar {revoked} opens nothing any more\n", self.email));
        }
        let token = accounts.make_calendar(&self.email, self.station.as_deref()).await?;
        let listen = format!("http://{}", settings.config.listen);
        let pages = settings.config.public_url.as_deref().unwrap_or(&listen).trim_end_matches('/');
        said(format_args!("{pages}/calendar/{token}.ics\n"))
    }
}

impl People {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        if let What::Add(add) = self.what {
            return add.run(settings).await;
        }
        let store = settings.store().await?;
        let clock = Arc::new(SystemClock);
        let accounts = Accounts::over(store.clone(), clock, settings.config.pages.limits());
        match self.what {
            What::Add(_) | What::List => list(&store, &accounts).await,
            What::Invite(named) => invite(settings, &accounts, &named.email).await,
            What::Disable(named) => shut(&store, &named.email, true).await,
            What::Enable(named) => shut(&store, &named.email, false).await,
            What::SecondFactor(factor) => reset(&store, &factor.email).await,
            What::SignOut(named) => {
                let ended = store.end_sessions(&named.email, None).await?;
                said(format_args!("{}: {ended} sign-in(s) ended\n", named.email))
            }
            What::Token(token) => token.run(&accounts).await,
            What::Calendar(calendar) => calendar.run(settings, &accounts).await,
        }
    }
}

fn said(text: std::fmt::Arguments<'_>) -> anyhow::Result<Answer> {
    say(text)?;
    Ok(Answer::Done)
}

impl Add {
    async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.new_desk().await?;
        let faults = Faults::default();
        let imported = desk.import(&[self.sheet()], &faults, false).await;
        if let Err(crate::desk::DeskError::BadRows { told, .. }) = &imported {
            let told: Vec<String> = told.iter().map(ToString::to_string).collect();
            anyhow::bail!("{}", told.join("\n"));
        }
        let done = if imported?.counts.is_empty() { "stood in the register already" } else { "entered" };
        said(format_args!(
            "{}: {done}; to let them sign in: tallow people invite {}\n",
            self.email, self.email
        ))
    }

    /// The row as an import would bring it; a column that is not said leaves what is stored.
    fn sheet(&self) -> Sheet {
        let given = [
            ("email", Some(&self.email)),
            ("name", Some(&self.name)),
            ("role", Some(&self.role)),
            ("station", self.station.as_ref()),
            ("competence", self.competence.as_ref()),
        ];
        let (header, row) =
            given.into_iter().filter_map(|(name, cell)| Some((name.to_owned(), cell?.clone()))).unzip();
        Sheet { file: "people".to_owned(), name: "people".to_owned(), header, rows: vec![(1, row)] }
    }
}

async fn list(store: &Store, accounts: &Accounts) -> anyhow::Result<Answer> {
    let known = store.accounts().await?;
    let mut people: Vec<Person> = store.newest::<Person>().await?.into_values().collect();
    people.retain(|person| !person.void);
    people.sort_by(|a, b| a.key.cmp(&b.key));
    for person in people {
        let account = known.iter().find(|account| account.email == person.key);
        let state = match account {
            None => "no account; invite them",
            Some(account) if account.disabled => "shut",
            Some(account) if account.password.is_none() => "invited",
            Some(account) if account.secret.is_some() => "signs in, with a second factor",
            Some(_) => "signs in",
        };
        let here = accounts.sessions(&person.key).await?.len();
        let now = if here > 0 { format!(", signed in on {here}") } else { String::new() };
        let of = person.station.as_ref().map(|slug| format!(" of {slug}")).unwrap_or_default();
        say(format_args!("{}  {}, {}{of}: {state}{now}\n", person.key, person.name, person.role))?;
    }
    Ok(Answer::Done)
}

async fn invite(settings: &Settings, accounts: &Accounts, email: &str) -> anyhow::Result<Answer> {
    let code = accounts.invite(email).await?;
    let listen = format!("http://{}", settings.config.listen);
    let pages = settings.config.public_url.as_deref().unwrap_or(&listen).trim_end_matches('/');
    said(format_args!(
        "{email} sets a password with this code, once, within three days:\n\n    {code}\n\nat {pages}/welcome\n\
         Hand it over in person or by telephone, not by mail.\n"
    ))
}

async fn shut(store: &Store, email: &str, disabled: bool) -> anyhow::Result<Answer> {
    if !store.disable_account(email, disabled).await? {
        anyhow::bail!("{email} has no account; tallow people list names those who have");
    }
    said(format_args!("{email}: {}\n", if disabled { "shut, and signed in nowhere" } else { "open" }))
}

async fn reset(store: &Store, email: &str) -> anyhow::Result<Answer> {
    if !store.reset_secret(email).await? {
        anyhow::bail!("{email} has no account; tallow people list names those who have");
    }
    store.end_sessions(email, None).await?;
    said(format_args!("{email}: no second factor any more, and signed in nowhere\n"))
}

impl Token {
    async fn run(self, accounts: &Accounts) -> anyhow::Result<Answer> {
        if let Some(label) = self.revoke {
            if !accounts.revoke_token(&self.email, &label).await? {
                let have = accounts.tokens(&self.email).await?;
                let have: Vec<&str> = have.iter().map(|token| token.label.as_str()).collect();
                anyhow::bail!("{} has no token \"{label}\"; they have: {}", self.email, have.join(", "));
            }
            return said(format_args!("{}: token \"{label}\" is worth nothing any more\n", self.email));
        }
        let token = accounts.make_token(&self.email, &self.label.unwrap_or_default(), self.days).await?;
        said(format_args!("{token}\n"))
    }
}

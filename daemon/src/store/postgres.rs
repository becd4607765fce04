//! A store on a PostgreSQL server: its sessions, what must hold there, and its schema.

mod pulse;

use std::time::Duration;

use migrations::Migrator;
use sea_orm::sqlx::ConnectOptions;
use sea_orm::sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use sea_orm::{
    ConnectionTrait, DatabaseTransaction, DbErr, RuntimeErr, SqlxPostgresConnector, TransactionOptions,
    TransactionTrait,
};
use sea_orm_migration::MigratorTrait;

use super::address::Server;
use super::answered::{Answered, Connections, Silence};
use super::open::{Store, refuse_newer};
use super::{StoreError, address};
use pulse::Pulse;

/// Who has this transaction-level lock is the one writer of the database.
const WRITING: i64 = 0x7461_6c6c_6f77_0001;
/// Who has this one brings the schema up to date.
const MIGRATING: i64 = 0x7461_6c6c_6f77_0002;

/// Connections of one daemon, beside the one that feels the pulse.
const CONNECTIONS: u32 = 8;
/// So long a request waits for a connection before it fails: it must have failed within ten seconds.
const ACQUIRE: Duration = Duration::from_secs(5);

/// What every session begins with. A client that vanishes is found out by the server's own keepalives, so that it
/// holds the writer's lock for seconds and not for hours.
const SESSION: &[(&str, &str)] = &[
    ("idle_in_transaction_session_timeout", "30s"),
    ("lock_timeout", "5s"),
    ("statement_timeout", "30s"),
    ("timezone", "UTC"),
    ("default_transaction_isolation", "read committed"),
    // A ROLLBACK where nothing is to be rolled back is no news.
    ("client_min_messages", "error"),
    ("tcp_keepalives_idle", "10"),
    ("tcp_keepalives_interval", "5"),
    ("tcp_keepalives_count", "3"),
    ("tcp_user_timeout", "25000"),
];

/// What the server must be set to, or it can lose what was acknowledged.
const DURABLE: &[(&str, &[&str], &str)] = &[
    ("fsync", &["on"], "on"),
    ("full_page_writes", &["on"], "on"),
    ("synchronous_commit", &["on", "local", "remote_write", "remote_apply"], "on, or at least local"),
];

/// Connects, checks the server's settings and brings the schema up to date.
pub(super) async fn open(server: &Server) -> Result<Store, StoreError> {
    let store = Store::over(connect(server).await?);
    match prepare(&store, server).await {
        Ok(()) => Ok(store),
        Err(error) => {
            store.close().await?;
            Err(error)
        }
    }
}

async fn prepare(store: &Store, server: &Server) -> Result<(), StoreError> {
    check(store, "server_encoding", &["UTF8"], "UTF8").await?;
    if !server.unsafe_allowed {
        for (setting, allowed, wanted) in DURABLE {
            check(store, setting, allowed, wanted).await?;
        }
    }
    migrate(store).await
}

async fn connect(server: &Server) -> Result<Connections, StoreError> {
    let options = options(server)?;
    let pulse = Pulse::feel(options.clone());
    let pool = PgPoolOptions::new()
        .max_connections(CONNECTIONS)
        .acquire_timeout(ACQUIRE)
        .idle_timeout(Duration::from_mins(1))
        // The hooks ask the connection something of their own.
        .test_before_acquire(false);
    let pool = pulse.guarded(pool).connect_with(options).await;
    let pool = pool.map_err(|error| DbErr::Conn(RuntimeErr::SqlxError(error.into())));
    let pool = pool.map_err(StoreError::while_("opening the database"))?;
    let inner = SqlxPostgresConnector::from_sqlx_postgres_pool(pool);
    Ok(Answered { inner, silence: Silence::of(pulse.silence) })
}

fn options(server: &Server) -> Result<PgConnectOptions, StoreError> {
    let options: Result<PgConnectOptions, _> = server.url.parse();
    let options = options.map_err(|_| StoreError::Address(address::shown(&server.url)))?;
    Ok(options.application_name("tallow").options(SESSION.iter().copied()).disable_statement_logging())
}

async fn check(
    store: &Store,
    setting: &'static str,
    allowed: &[&str],
    wanted: &'static str,
) -> Result<(), StoreError> {
    let found = store.scalar(&format!("SHOW {setting}")).await?;
    if allowed.contains(&found.as_str()) {
        return Ok(());
    }
    Err(StoreError::Setting { pragma: setting, found, wanted })
}

/// One at a time, and all of it or nothing: two daemons that start together do not both make a table, and a start
/// that is killed half way leaves the schema as it was.
async fn migrate(store: &Store) -> Result<(), StoreError> {
    let doing = StoreError::while_("bringing the schema up to date");
    let tx = store.db.inner.begin_with_options(TransactionOptions::default()).await.map_err(&doing)?;
    match migrating(&tx).await {
        Ok(()) => tx.commit().await.map_err(doing),
        Err(error) => {
            // Now, and not when the connection is used again: others wait for the lock.
            let _ = tx.rollback().await;
            Err(error)
        }
    }
}

async fn migrating(tx: &DatabaseTransaction) -> Result<(), StoreError> {
    let doing = StoreError::while_("bringing the schema up to date");
    let wait = format!(
        "SET LOCAL lock_timeout = '60s'; SET LOCAL statement_timeout = 0; \
         SET LOCAL idle_in_transaction_session_timeout = 0; SELECT pg_advisory_xact_lock({MIGRATING})"
    );
    tx.execute_unprepared(&wait).await.map_err(&doing)?;
    refuse_newer(tx).await?;
    Migrator::up(tx, None).await.map_err(doing)
}

/// Waits for the writer's turn, as long as for an embedded store that is busy. Everything read after it is the newest,
/// and nobody else writes until this transaction ends.
pub(super) async fn take_turn(tx: &DatabaseTransaction) -> Result<(), DbErr> {
    let wait = format!(
        "SET LOCAL lock_timeout = '10s'; SELECT pg_advisory_xact_lock({WRITING}); SET LOCAL lock_timeout = '5s'"
    );
    tx.execute_unprepared(&wait).await.map(drop)
}

/// For work that goes over the whole register: what it reads and works out may take minutes.
pub(super) async fn take_time(tx: &impl ConnectionTrait) -> Result<(), DbErr> {
    let time =
        "SET LOCAL statement_timeout = '10min'; SET LOCAL idle_in_transaction_session_timeout = '5min'";
    tx.execute_unprepared(time).await.map(drop)
}

#[cfg(test)]
mod tests {
    use ::tests::stores::{Database, server_for};
    use sea_orm::{DatabaseConnection, Statement};

    use super::*;

    /// Every connection of the pool, all held open at once, has the session it is to have.
    #[tokio::test]
    async fn every_session_has_its_limits() {
        let Some(server) = server_for("every_session_has_its_limits") else { return };
        let database = Database::on(&server);
        let store = Store::open(database.address()).await.unwrap();
        let mut held = Vec::new();
        for _ in 0..CONNECTIONS {
            let tx = store.db.inner.begin_with_options(TransactionOptions::default()).await.unwrap();
            for (setting, wanted) in SESSION {
                let ask = Statement::from_string(tx.get_database_backend(), format!("SHOW {setting}"));
                let found: String =
                    tx.query_one_raw(ask).await.unwrap().unwrap().try_get_by_index(0).unwrap();
                // Keepalives belong to TCP: a local socket has none.
                assert!(found == *wanted || setting.starts_with("tcp_"), "{setting} = {found}");
            }
            held.push(tx);
        }
    }

    /// Microseconds: the runtime's own timers count in milliseconds.
    async fn give_up_after(limit: Duration) {
        let begun = std::time::Instant::now();
        while begun.elapsed() < limit {
            tokio::task::yield_now().await;
        }
    }

    /// How many of 600 acknowledged inserts are lost when beginnings are given up on between them, and how many were.
    async fn lost(db: &DatabaseConnection) -> (i64, u32) {
        let mut given_up = 0;
        for number in 0..600_u32 {
            tokio::select! {
                _ = db.begin_with_options(TransactionOptions::default()) => {}
                () = give_up_after(Duration::from_micros(u64::from(number % 41) * 10)) => given_up += 1,
            }
            let insert = format!("INSERT INTO setting (name, value) VALUES ('{number}', '')");
            db.execute_unprepared(&insert).await.unwrap();
        }
        let count = Statement::from_string(db.get_database_backend(), "SELECT count(*) FROM setting");
        let kept: i64 = db.query_one_raw(count).await.unwrap().unwrap().try_get_by_index(0).unwrap();
        (600 - kept, given_up)
    }

    /// What is given up on in flight is known to leave connections that stand in a transaction: the pool itself, with
    /// no task of our own around `BEGIN`, hands out none that swallows what is written through it.
    #[tokio::test(flavor = "multi_thread", worker_threads = 4)]
    async fn no_connection_is_handed_out_in_a_transaction() {
        let Some(server) = server_for("no_connection_is_handed_out_in_a_transaction") else { return };
        let database = Database::on(&server);
        let store = Store::open(database.address()).await.unwrap();
        let (of_guarded, given_up) = lost(&store.db.inner).await;
        let other = Database::on(&server);
        Store::open(other.address()).await.unwrap().close().await.unwrap();
        let address::Address::Postgres(plain) = address::Address::parse(other.address()).unwrap() else {
            panic!("{} is a server's", other.address())
        };
        let unguarded = PgPoolOptions::new().connect_with(options(&plain).unwrap()).await.unwrap();
        let (of_unguarded, _) = lost(&SqlxPostgresConnector::from_sqlx_postgres_pool(unguarded)).await;
        println!(
            "600 inserts, {given_up} beginnings given up on: {of_guarded} lost, without guard {of_unguarded}"
        );
        assert_eq!(of_guarded, 0);
        assert!(given_up > 100, "too few were given up on to tell anything: {given_up}");
    }
}

//! A connection whose statements fail once the database no longer answers, instead of waiting for an answer that
//! the network may take a quarter of an hour to give up on.

use std::pin::Pin;
use std::task::{Context, Poll};

use futures_util::Stream;
use futures_util::stream::BoxStream;
use sea_orm::{
    ConnectionTrait, DatabaseConnection, DatabaseTransaction, DbBackend, DbErr, ExecResult, QueryResult,
    RuntimeErr, Statement, StreamTrait,
};
use sea_orm_migration::async_trait;
use tokio::sync::watch;

/// Whether the database has fallen silent.
#[derive(Clone, Debug, Default)]
pub(super) struct Silence {
    /// None where the database stands in this process.
    fallen: Option<watch::Receiver<bool>>,
    /// Statements left until one fails.
    #[cfg(test)]
    pub(super) fails_after: std::sync::Arc<std::sync::atomic::AtomicI64>,
}

impl Silence {
    /// Of a database that is felt from here.
    pub(super) fn of(fallen: watch::Receiver<bool>) -> Silence {
        Silence {
            fallen: Some(fallen),
            #[cfg(test)]
            fails_after: std::sync::Arc::default(),
        }
    }

    /// Where a test lets a statement fail, it does so here: before it reaches the database.
    #[cfg_attr(not(test), expect(clippy::unused_self, clippy::unnecessary_wraps, reason = "for tests"))]
    pub(super) fn stand(&self) -> Result<(), DbErr> {
        #[cfg(test)]
        if self.fails_after.fetch_sub(1, std::sync::atomic::Ordering::SeqCst) == 1 {
            return Err(DbErr::Custom("this statement fails for a test".to_owned()));
        }
        Ok(())
    }
}

/// A connection, or a transaction, that listens for silence.
#[derive(Clone, Debug)]
pub struct Answered<C> {
    pub(super) inner: C,
    pub(super) silence: Silence,
}

/// Every connection of a store.
pub(super) type Connections = Answered<DatabaseConnection>;
/// One write.
pub(super) type Transaction = Answered<DatabaseTransaction>;

impl<C> Answered<C> {
    async fn answer<T>(&self, asked: impl Future<Output = Result<T, DbErr>>) -> Result<T, DbErr> {
        self.silence.stand()?;
        let Some(silence) = &self.silence.fallen else { return asked.await };
        tokio::select! {
            biased;
            () = fallen(silence.clone()) => Err(silent()),
            done = asked => done,
        }
    }
}

impl Transaction {
    /// Commits what was written in it.
    pub(super) async fn commit(self) -> Result<(), DbErr> {
        self.silence.stand()?;
        self.inner.commit().await
    }
}

/// Ends when the database falls silent.
async fn fallen(mut silence: watch::Receiver<bool>) {
    if silence.wait_for(|silent| *silent).await.is_err() {
        // Nobody listens to the database any more: the store is being closed.
        std::future::pending::<()>().await;
    }
}

fn silent() -> DbErr {
    DbErr::Conn(RuntimeErr::Internal("the database does not answer".to_owned()))
}

#[async_trait::async_trait]
impl<C: ConnectionTrait> ConnectionTrait for Answered<C> {
    fn get_database_backend(&self) -> DbBackend {
        self.inner.get_database_backend()
    }

    async fn execute_raw(&self, statement: Statement) -> Result<ExecResult, DbErr> {
        self.answer(self.inner.execute_raw(statement)).await
    }

    async fn execute_unprepared(&self, sql: &str) -> Result<ExecResult, DbErr> {
        self.answer(self.inner.execute_unprepared(sql)).await
    }

    async fn query_one_raw(&self, statement: Statement) -> Result<Option<QueryResult>, DbErr> {
        self.answer(self.inner.query_one_raw(statement)).await
    }

    async fn query_all_raw(&self, statement: Statement) -> Result<Vec<QueryResult>, DbErr> {
        self.answer(self.inner.query_all_raw(statement)).await
    }
}

impl<C: StreamTrait + Sync> StreamTrait for Answered<C> {
    type Stream<'a>
        = Rows<'a>
    where
        C: 'a;

    fn get_database_backend(&self) -> DbBackend {
        self.inner.get_database_backend()
    }

    fn stream_raw<'a>(
        &'a self,
        statement: Statement,
    ) -> Pin<Box<dyn Future<Output = Result<Rows<'a>, DbErr>> + 'a + Send>> {
        Box::pin(async move {
            let rows = self.answer(self.inner.stream_raw(statement)).await?;
            let fallen = self.silence.fallen.clone().map(|silence| Box::pin(fallen(silence)) as Fallen);
            Ok(Rows { rows: Box::pin(rows), fallen })
        })
    }
}

type Fallen = Pin<Box<dyn Future<Output = ()> + Send>>;

/// Rows as they come, until the last or until silence.
pub struct Rows<'a> {
    rows: BoxStream<'a, Result<QueryResult, DbErr>>,
    fallen: Option<Fallen>,
}

impl Stream for Rows<'_> {
    type Item = Result<QueryResult, DbErr>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        if let Poll::Ready(row) = self.rows.as_mut().poll_next(context) {
            return Poll::Ready(row);
        }
        let fell = self.fallen.as_mut().is_some_and(|fallen| fallen.as_mut().poll(context).is_ready());
        if fell {
            // A future that has ended is not asked again.
            self.fallen = None;
            return Poll::Ready(Some(Err(silent())));
        }
        Poll::Pending
    }
}

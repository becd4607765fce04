//! How people sign in, beside the record chain: accounts, sessions, tokens and codes. What must happen once is decided
//! by one guarded statement, so that of many at the same time one succeeds.

mod links;
mod sessions;
mod throttles;
mod tokens;

use policies::zone::Instant;
use sea_orm::sea_query::{Expr, ExprTrait, Func, OnConflict};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Set};

use super::tables::Stored;
use super::write::{Deed, Writer};
use super::{Store, StoreError};
use entities::account::{ActiveModel, Column, Entity};

pub use entities::account::Model as Account;
pub use entities::api_token::Model as ApiToken;
pub use entities::session::Model as Session;
pub use entities::sign_in_code::Model as SignInCode;
pub use entities::view_link::Model as ViewLink;
pub use throttles::Guesses;
pub use tokens::NoticeSeen;

impl Store {
    /// The newest version under a key, whatever its state.
    ///
    /// # Errors
    /// The database's own.
    pub async fn current<R: Stored>(&self, key: &str) -> Result<Option<R>, StoreError> {
        let columns = R::columns();
        let rows = R::Entity::find().filter(columns.key.eq(key)).order_by_desc(columns.version).limit(1);
        let row = rows.one(&self.db).await.map_err(StoreError::while_("looking a record up"))?;
        Ok(row.map(|row| R::of_row(row).0))
    }

    /// The account of an address, however its letters were typed.
    ///
    /// # Errors
    /// The database's own.
    pub async fn account(&self, email: &str) -> Result<Option<Account>, StoreError> {
        let same = Expr::expr(Func::lower(Expr::col(Column::Email))).eq(email.to_ascii_lowercase());
        let found = Entity::find().filter(same).one(&self.db).await;
        found.map_err(StoreError::while_("looking an account up"))
    }

    /// Every account, by address.
    ///
    /// # Errors
    /// The database's own.
    pub async fn accounts(&self) -> Result<Vec<Account>, StoreError> {
        let found = Entity::find().order_by_asc(Column::Email).all(&self.db).await;
        found.map_err(StoreError::while_("reading the accounts"))
    }

    /// Makes an account that nobody can sign in to yet; one that is there stays as it is.
    ///
    /// # Errors
    /// The database's own.
    pub async fn make_account(&self, email: &str, now: Instant) -> Result<(), StoreError> {
        let row = ActiveModel {
            email: Set(email.to_owned()),
            disabled: Set(false),
            made_at: Set(now.0),
            ..Default::default()
        };
        let keep = OnConflict::column(Column::Email).do_nothing().to_owned();
        let made = Entity::insert(row).on_conflict(keep).exec_without_returning(&self.db).await;
        made.map(drop).map_err(StoreError::while_("making an account"))
    }

    /// Shuts an account, or opens it again; false where there is none. Whoever is signed in with it is no longer.
    ///
    /// # Errors
    /// The database's own.
    pub async fn disable_account(&self, email: &str, disabled: bool) -> Result<bool, StoreError> {
        let changed = change(&self.db, email, &[(Column::Disabled, Expr::value(disabled))]).await?;
        if disabled {
            self.end_sessions(email, None).await?;
        }
        Ok(changed)
    }

    /// Sets a password by a code, which is used up; false where it was used already. Every session ends, and every
    /// token and calendar: whoever forgot a password may have lost it to somebody.
    ///
    /// # Errors
    /// The database's own.
    pub async fn set_first_password(
        &self,
        code: &SignInCode,
        hash: &str,
        now: Instant,
    ) -> Result<bool, StoreError> {
        self.write(deed("first password", now), async |tx: &mut Writer| {
            if !tokens::use_code(&tx.tx, &code.digest, now).await? {
                return Ok(false);
            }
            set_password(&tx.tx, &code.email, hash, now).await?;
            sessions::end(&tx.tx, &code.email, None).await?;
            tokens::revoke_all(&tx.tx, &code.email, now).await?;
            Ok(true)
        })
        .await
    }

    /// Changes a password; every session but the one named ends, and tokens and calendars unless they are kept. How
    /// many of these ended.
    ///
    /// # Errors
    /// The database's own.
    pub async fn change_password(
        &self,
        email: &str,
        hash: &str,
        (but, keeps): (&str, bool),
        now: Instant,
    ) -> Result<u64, StoreError> {
        self.write(deed("password", now), async |tx: &mut Writer| {
            set_password(&tx.tx, email, hash, now).await?;
            sessions::end(&tx.tx, email, Some(but)).await?;
            if keeps { Ok(0) } else { tokens::revoke_all(&tx.tx, email, now).await }
        })
        .await
    }

    /// Keeps the seed of a second factor that is not proved yet.
    ///
    /// # Errors
    /// The database's own.
    pub async fn offer_secret(&self, email: &str, secret: &str) -> Result<(), StoreError> {
        change(&self.db, email, &[(Column::SecretOffered, Expr::value(secret))]).await.map(drop)
    }

    /// The offered seed becomes the second factor, its first code being used up; false where another was offered since.
    ///
    /// # Errors
    /// The database's own.
    pub async fn take_secret(&self, email: &str, secret: &str, step: i64) -> Result<bool, StoreError> {
        let taken = Entity::update_many()
            .col_expr(Column::Secret, Expr::value(secret))
            .col_expr(Column::SecretOffered, Expr::value(Option::<String>::None))
            .col_expr(Column::LastStep, Expr::value(step))
            .filter(Column::Email.eq(email))
            .filter(Column::SecretOffered.eq(secret));
        let taken = taken.exec(&self.db).await.map_err(StoreError::while_("taking a second factor up"))?;
        Ok(taken.rows_affected == 1)
    }

    /// Takes a second factor away, such as of a telephone that was lost.
    ///
    /// # Errors
    /// The database's own.
    pub async fn reset_secret(&self, email: &str) -> Result<bool, StoreError> {
        let none = || Expr::value(Option::<String>::None);
        change(&self.db, email, &[(Column::Secret, none()), (Column::SecretOffered, none())]).await
    }

    /// Uses a step of a second factor up; false where it, or a later one, was used before.
    ///
    /// # Errors
    /// The database's own.
    pub async fn use_step(&self, email: &str, step: i64) -> Result<bool, StoreError> {
        let used = Entity::update_many()
            .col_expr(Column::LastStep, Expr::value(step))
            .filter(Column::Email.eq(email))
            .filter(Column::LastStep.is_null().or(Column::LastStep.lt(step)));
        let used = used.exec(&self.db).await.map_err(StoreError::while_("using a code up"))?;
        Ok(used.rows_affected == 1)
    }
}

fn deed(action: &str, at: Instant) -> Deed {
    Deed { actor: "accounts".to_owned(), action: action.to_owned(), at }
}

async fn set_password(
    db: &impl ConnectionTrait,
    email: &str,
    hash: &str,
    now: Instant,
) -> Result<bool, StoreError> {
    let set = [(Column::Password, Expr::value(hash)), (Column::PasswordSetAt, Expr::value(now.0))];
    change(db, email, &set).await
}

async fn change(
    db: &impl ConnectionTrait,
    email: &str,
    columns: &[(Column, Expr)],
) -> Result<bool, StoreError> {
    let mut update = Entity::update_many().filter(Column::Email.eq(email));
    for (column, value) in columns {
        update = update.col_expr(*column, value.clone());
    }
    let changed = update.exec(db).await.map_err(StoreError::while_("changing an account"))?;
    Ok(changed.rows_affected == 1)
}

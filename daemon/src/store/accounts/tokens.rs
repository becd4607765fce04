//! Codes that set a first password, tokens of programs, and links that only read. Each is kept under its digest.

use policies::zone::Instant;
use sea_orm::sea_query::{Expr, OnConflict};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, IntoActiveModel, QueryFilter, QueryOrder};

use super::{ApiToken, SignInCode, ViewLink};
use crate::store::{Store, StoreError, Writer};
use entities::{api_token, notice, notice_line, sign_in_code, view_link};

/// What a link into a notice shows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoticeSeen {
    /// Its number.
    pub number: String,
    /// Whom it was for.
    pub person: String,
    /// When it was written, in microseconds.
    pub composed_at: i64,
    /// Item, rule and the date told of each line.
    pub lines: Vec<(String, String, Option<String>)>,
}

impl Store {
    /// Keeps a code; earlier ones of the same person no longer work.
    ///
    /// # Errors
    /// The database's own.
    pub async fn keep_code(&self, code: SignInCode) -> Result<(), StoreError> {
        use sign_in_code::{Column, Entity};
        let doing = StoreError::while_("keeping a sign-in code");
        let old = Entity::delete_many().filter(Column::Email.eq(code.email.as_str())).exec(&self.db).await;
        old.map_err(&doing)?;
        let kept = Entity::insert(code.into_active_model()).exec_without_returning(&self.db).await;
        kept.map(drop).map_err(doing)
    }

    /// The code of a digest.
    ///
    /// # Errors
    /// The database's own.
    pub async fn code(&self, digest: &str) -> Result<Option<SignInCode>, StoreError> {
        let found = sign_in_code::Entity::find_by_id(digest.to_owned()).one(&self.db).await;
        found.map_err(StoreError::while_("looking a sign-in code up"))
    }

    /// Keeps a program's token.
    ///
    /// # Errors
    /// The database's own: a label that is in use among them.
    pub async fn keep_token(&self, token: ApiToken) -> Result<(), StoreError> {
        let kept =
            api_token::Entity::insert(token.into_active_model()).exec_without_returning(&self.db).await;
        kept.map(drop).map_err(StoreError::while_("keeping a token"))
    }

    /// The token of a digest.
    ///
    /// # Errors
    /// The database's own.
    pub async fn token(&self, digest: &str) -> Result<Option<ApiToken>, StoreError> {
        let found = api_token::Entity::find_by_id(digest.to_owned()).one(&self.db).await;
        found.map_err(StoreError::while_("looking a token up"))
    }

    /// Tokens of somebody, revoked ones left out.
    ///
    /// # Errors
    /// The database's own.
    pub async fn tokens(&self, email: &str) -> Result<Vec<ApiToken>, StoreError> {
        use api_token::{Column, Entity};
        let own = Entity::find().filter(Column::Email.eq(email)).filter(Column::RevokedAt.is_null());
        let found = own.order_by_asc(Column::Label).all(&self.db).await;
        found.map_err(StoreError::while_("reading tokens"))
    }

    /// Revokes a token by its label; false where there is none.
    ///
    /// # Errors
    /// The database's own.
    pub async fn revoke_token(&self, email: &str, label: &str, now: Instant) -> Result<bool, StoreError> {
        use api_token::{Column, Entity};
        let revoked = Entity::update_many()
            .col_expr(Column::RevokedAt, Expr::value(now.0))
            .filter(Column::Email.eq(email))
            .filter(Column::Label.eq(label))
            .filter(Column::RevokedAt.is_null());
        let revoked = revoked.exec(&self.db).await.map_err(StoreError::while_("revoking a token"))?;
        Ok(revoked.rows_affected > 0)
    }

    /// The link of a digest.
    ///
    /// # Errors
    /// The database's own.
    pub async fn view_link(&self, digest: &str) -> Result<Option<ViewLink>, StoreError> {
        let found = view_link::Entity::find_by_id(digest.to_owned()).one(&self.db).await;
        found.map_err(StoreError::while_("looking a link up"))
    }

    /// A notice's matters, as they were told.
    ///
    /// # Errors
    /// The database's own.
    pub async fn notice_seen(&self, number: &str) -> Result<Option<NoticeSeen>, StoreError> {
        let doing = StoreError::while_("reading a notice");
        let found = notice::Entity::find().filter(notice::Column::Number.eq(number)).one(&self.db).await;
        let Some(found) = found.map_err(&doing)? else { return Ok(None) };
        let lines = notice_line::Entity::find()
            .filter(notice_line::Column::Notice.eq(found.id))
            .filter(notice_line::Column::Line.gt(0))
            .order_by_asc(notice_line::Column::Line);
        let lines = lines.all(&self.db).await.map_err(doing)?;
        let (number, person, composed_at) = (found.number, found.person, found.composed_at);
        let lines = lines.into_iter().map(|line| (line.item, line.rule, line.due_on)).collect();
        Ok(Some(NoticeSeen { number, person, composed_at, lines }))
    }
}

impl Writer {
    /// Keeps a link; one that is there already stays as it is.
    ///
    /// # Errors
    /// The database's own.
    pub async fn keep_view_link(&mut self, link: ViewLink) -> Result<(), StoreError> {
        let keep = OnConflict::column(view_link::Column::Digest).do_nothing().to_owned();
        let insert = view_link::Entity::insert(link.into_active_model()).on_conflict(keep);
        let kept = insert.exec_without_returning(&self.tx).await;
        kept.map(drop).map_err(StoreError::while_("keeping a link"))
    }
}

/// Uses a code up; false where it was before.
pub(super) async fn use_code(
    db: &impl ConnectionTrait,
    digest: &str,
    now: Instant,
) -> Result<bool, StoreError> {
    use sign_in_code::{Column, Entity};
    let used = Entity::update_many()
        .col_expr(Column::UsedAt, Expr::value(now.0))
        .filter(Column::Digest.eq(digest))
        .filter(Column::UsedAt.is_null())
        .filter(Column::ExpiresAt.gt(now.0));
    let used = used.exec(db).await.map_err(StoreError::while_("using a sign-in code up"))?;
    Ok(used.rows_affected == 1)
}

/// Revokes every token and calendar of somebody; how many.
pub(super) async fn revoke_all(
    db: &impl ConnectionTrait,
    email: &str,
    now: Instant,
) -> Result<u64, StoreError> {
    let doing = StoreError::while_("revoking tokens and calendars");
    let tokens = api_token::Entity::update_many()
        .col_expr(api_token::Column::RevokedAt, Expr::value(now.0))
        .filter(api_token::Column::Email.eq(email))
        .filter(api_token::Column::RevokedAt.is_null());
    let tokens = tokens.exec(db).await.map_err(&doing)?;
    let calendars = view_link::Entity::update_many()
        .col_expr(view_link::Column::RevokedAt, Expr::value(now.0))
        .filter(view_link::Column::Person.eq(email))
        .filter(view_link::Column::Opens.starts_with("calendar"))
        .filter(view_link::Column::RevokedAt.is_null());
    let calendars = calendars.exec(db).await.map_err(doing)?;
    Ok(tokens.rows_affected + calendars.rows_affected)
}

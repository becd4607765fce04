//! Into the outbox: in the transaction of what the notice tells.

use entities::notice::Column;
use entities::{notice, notice_line, notice_mail};
use policies::zone::Instant;
use sea_orm::sea_query::OnConflict;
use sea_orm::{ColumnTrait, DbErr, EntityTrait, ExprTrait, PaginatorTrait, QueryFilter, Set};

use super::told::last_notice_number;
use super::{Fresh, FreshLine, State};
use crate::store::StoreError;
use crate::store::write::Writer;

impl Writer {
    /// Puts a notice into the outbox; false where the same occasion was told to the same recipient already.
    ///
    /// # Errors
    /// The database's own.
    pub async fn enqueue(&mut self, fresh: &Fresh, now: Instant) -> Result<bool, StoreError> {
        let doing = StoreError::while_("queueing a notice");
        let due_at = fresh.not_before.map_or(now.0, |before| Ord::max(before.0, now.0));
        let row = notice::ActiveModel {
            number: Set(fresh.number.clone()),
            kind: Set(fresh.kind.clone()),
            occasion: Set(fresh.occasion.clone()),
            person: Set(fresh.person.clone()),
            recipient: Set(fresh.recipient.clone()),
            urgent: Set(fresh.urgent),
            subject: Set(fresh.subject.clone()),
            message_id: Set(fresh.message_id.clone()),
            token: Set(fresh.token.clone()),
            supersedes: Set(fresh.supersedes.clone()),
            composed_at: Set(now.0),
            state: Set(State::Queued.word().to_owned()),
            attempts: Set(0),
            due_at: Set(due_at),
            next_attempt_at: Set(due_at),
            ..Default::default()
        };
        let told = OnConflict::columns([Column::Occasion, Column::Recipient]).do_nothing().to_owned();
        let notice = match notice::Entity::insert(row).on_conflict(told).exec(&self.tx).await {
            Ok(inserted) => inserted.last_insert_id,
            Err(DbErr::RecordNotInserted) => return Ok(false),
            Err(error) => return Err(doing(error)),
        };
        let mail = notice_mail::ActiveModel { notice: Set(notice), bytes: Set(fresh.bytes.clone()) };
        let kept = notice_mail::Entity::insert(mail).exec_without_returning(&self.tx).await;
        kept.map_err(&doing)?;
        self.enqueue_lines(notice, &fresh.lines).await?;
        Ok(true)
    }

    /// The number of the newest notice, as [`crate::store::Store::last_notice_number`]: nobody else takes one
    /// meanwhile.
    ///
    /// # Errors
    /// The database's own.
    pub async fn last_notice_number(&self) -> Result<u64, StoreError> {
        last_notice_number(&self.tx).await
    }

    async fn enqueue_lines(&self, notice: i64, lines: &[FreshLine]) -> Result<(), StoreError> {
        let rows = lines.iter().map(|line| notice_line::ActiveModel {
            notice: Set(notice),
            line: Set(line.number),
            item: Set(line.told.item.clone()),
            rule: Set(line.told.rule.clone()),
            occurrence: Set(line.told.occurrence.clone()),
            stage: Set(line.told.stage.clone()),
            due_on: Set(line.due_on.clone()),
        });
        let rows: Vec<_> = rows.collect();
        for chunk in rows.chunks(3_000) {
            let inserted = notice_line::Entity::insert_many(chunk.to_vec());
            let inserted = inserted.exec_without_returning(&self.tx).await;
            inserted.map_err(StoreError::while_("queueing a notice"))?;
        }
        Ok(())
    }

    /// Whether an occasion was told: to this recipient, or to another address in a notice that stands. Who is reached
    /// elsewhere since then is told the same again only where it did not arrive.
    ///
    /// # Errors
    /// The database's own.
    pub async fn is_told(&self, occasion: &str, recipient: &str) -> Result<bool, StoreError> {
        let lost = [State::Failed, State::Bounced].map(State::word);
        let stands = Column::Recipient.eq(recipient).or(Column::State.is_not_in(lost));
        let same = notice::Entity::find().filter(Column::Occasion.eq(occasion)).filter(stands);
        Ok(same.count(&self.tx).await.map_err(StoreError::while_("looking a notice up"))? > 0)
    }
}

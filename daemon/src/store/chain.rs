//! The record chain: one link a committed transaction, over the digest of its rows and the link before.

use std::collections::BTreeMap;

use futures_util::TryStreamExt;
use sea_orm::{
    ActiveModelTrait, ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Set,
};
use sha2::{Digest, Sha256};

use super::tables::Stored;
use super::write::Deed;
use super::{Store, StoreError};
use crate::records;

/// The newest link.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Head {
    /// Its number; nought before the first.
    pub seq: i64,
    /// Its hash, in hex.
    pub hash: String,
}

/// Something in the chain that does not hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChainFault(pub String);

type Sum = [u8; 32];

const VERSION: &[u8] = b"tallow chain 1";

pub(super) async fn head(db: &impl ConnectionTrait) -> Result<Head, StoreError> {
    let newest = entities::link::Entity::find().order_by_desc(entities::link::Column::Seq).limit(1);
    let found = newest.one(db).await.map_err(StoreError::while_("reading the record chain"))?;
    Ok(found.map_or(Head { seq: 0, hash: "0".repeat(64) }, |link| Head { seq: link.seq, hash: link.hash }))
}

/// Digest of one transaction's rows: table by table in the order of their names.
pub(super) fn digest(parts: impl Iterator<Item = (&'static str, u64, Sum)>) -> Sum {
    let mut whole = Sha256::new();
    for (table, count, sum) in parts {
        whole.update((table.len() as u64).to_be_bytes());
        whole.update(table);
        whole.update(count.to_be_bytes());
        whole.update(sum);
    }
    whole.finalize().into()
}

fn hash_of(seq: i64, at: i64, actor: &str, action: &str, digest: &str, prev: &str) -> String {
    let mut whole = Sha256::new();
    whole.update(VERSION);
    whole.update(seq.to_be_bytes());
    whole.update(at.to_be_bytes());
    for text in [actor, action, digest, prev] {
        whole.update((text.len() as u64).to_be_bytes());
        whole.update(text);
    }
    hex(&whole.finalize().into())
}

fn hex(sum: &Sum) -> String {
    sum.iter().fold(String::with_capacity(64), |text, byte| text + &format!("{byte:02x}"))
}

pub(super) async fn append(
    db: &impl ConnectionTrait,
    head: &Head,
    deed: &Deed,
    digest: Sum,
) -> Result<String, StoreError> {
    let (seq, digest) = (head.seq + 1, hex(&digest));
    let hash = hash_of(seq, deed.at.0, &deed.actor, &deed.action, &digest, &head.hash);
    let link = entities::link::ActiveModel {
        seq: Set(seq),
        at: Set(deed.at.0),
        actor: Set(deed.actor.clone()),
        action: Set(deed.action.clone()),
        digest: Set(digest),
        prev: Set(head.hash.clone()),
        hash: Set(hash.clone()),
    };
    link.insert(db).await.map_err(StoreError::while_("linking the record chain"))?;
    Ok(hash)
}

/// What the rows themselves say of the chain.
#[derive(Default)]
struct Reckoned {
    digests: BTreeMap<i64, Vec<(&'static str, u64, Sum)>>,
    faults: Vec<ChainFault>,
}

impl Store {
    /// The newest link.
    ///
    /// # Errors
    /// The database's own.
    pub async fn head(&self) -> Result<Head, StoreError> {
        head(&self.db).await
    }

    /// The actions of an actor's links, in their order.
    ///
    /// # Errors
    /// The database's own.
    pub async fn actions_of(&self, actor: &str) -> Result<Vec<String>, StoreError> {
        use entities::link::{Column, Entity};
        let actions = Entity::find().filter(Column::Actor.eq(actor)).order_by_asc(Column::Seq);
        let actions = actions.select_only().column(Column::Action).into_tuple().all(&self.db).await;
        actions.map_err(StoreError::while_("reading the record chain"))
    }

    /// Reckons every link again from its rows; every one that does not hold is named.
    ///
    /// # Errors
    /// The database's own.
    pub async fn check_chain(&self) -> Result<Vec<ChainFault>, StoreError> {
        let mut found = Reckoned::default();
        // What is committed while the tables are read shows in some of them only, and is left to the next check.
        let until = self.head().await?.seq;
        // In the order of their names, as the digest takes them.
        self.digests::<records::Certificate>(&mut found).await?;
        self.digests::<records::Concession>(&mut found).await?;
        self.digests::<records::Defect>(&mut found).await?;
        self.digests::<records::DoubtAnswer>(&mut found).await?;
        self.digests::<records::Examination>(&mut found).await?;
        self.digests::<records::ExaminationDraft>(&mut found).await?;
        self.digests::<records::Fitting>(&mut found).await?;
        self.digests::<records::Item>(&mut found).await?;
        self.digests::<records::KeptDate>(&mut found).await?;
        self.digests::<records::Loan>(&mut found).await?;
        self.digests::<records::Part>(&mut found).await?;
        self.digests::<records::Order>(&mut found).await?;
        self.digests::<records::Person>(&mut found).await?;
        self.digests::<records::TakenUp>(&mut found).await?;
        self.digests::<records::State>(&mut found).await?;
        self.digests::<records::Station>(&mut found).await?;
        self.digests::<records::Stock>(&mut found).await?;
        self.digests::<records::Substitution>(&mut found).await?;
        self.digests::<records::Usage>(&mut found).await?;
        self.digests::<records::Work>(&mut found).await?;
        let links = entities::link::Entity::find().order_by_asc(entities::link::Column::Seq);
        let links = links.all(&self.db).await.map_err(StoreError::while_("reading the record chain"))?;
        let mut faults = faults(&links, &found.digests, until);
        faults.extend(found.faults);
        Ok(faults)
    }

    async fn digests<R: Stored>(&self, found: &mut Reckoned) -> Result<(), StoreError> {
        let doing = StoreError::while_("reading records for the chain");
        let columns = R::columns();
        let rows = R::Entity::find().order_by_asc(columns.id);
        let mut rows = rows.stream(&self.db).await.map_err(&doing)?;
        let mut open: BTreeMap<i64, (u64, Sha256)> = BTreeMap::new();
        let mut newest = 0;
        while let Some(row) = rows.try_next().await.map_err(&doing)? {
            let (record, place) = R::of_row(row);
            // Ids say which version is the newest, and no digest holds them.
            if place.link < newest {
                let text = format!(
                    "{} \"{}\" of link {} stands after link {newest}",
                    R::TABLE,
                    record.key(),
                    place.link
                );
                found.faults.push(ChainFault(text));
            }
            newest = newest.max(place.link);
            let (count, digest) = open.entry(place.link).or_default();
            *count += 1;
            record.put_digest(place, &mut |bytes| digest.update(bytes));
        }
        for (link, (count, digest)) in open {
            found.digests.entry(link).or_default().push((R::TABLE, count, digest.finalize().into()));
        }
        Ok(())
    }
}

fn faults(
    links: &[entities::link::Model],
    found: &BTreeMap<i64, Vec<(&'static str, u64, Sum)>>,
    until: i64,
) -> Vec<ChainFault> {
    let mut faults = Vec::new();
    let mut prev = Head { seq: 0, hash: "0".repeat(64) };
    for link in links {
        if link.seq != prev.seq + 1 || link.prev != prev.hash {
            faults.push(ChainFault(format!("link {} does not follow link {}", link.seq, prev.seq)));
        }
        let rows = hex(&digest(found.get(&link.seq).into_iter().flatten().copied()));
        if link.seq <= until && rows != link.digest {
            let text =
                format!("link {}: its records digest to {rows}, but {} was signed", link.seq, link.digest);
            faults.push(ChainFault(text));
        }
        let hash = hash_of(link.seq, link.at, &link.actor, &link.action, &link.digest, &link.prev);
        if hash != link.hash {
            faults.push(ChainFault(format!(
                "link {}: it hashes to {hash}, but {} is stored",
                link.seq, link.hash
            )));
        }
        prev = Head { seq: link.seq, hash: link.hash.clone() };
    }
    for link in found.keys().filter(|seq| links.binary_search_by_key(*seq, |link| link.seq).is_err()) {
        faults.push(ChainFault(format!("records belong to link {link}, which is missing")));
    }
    faults
}

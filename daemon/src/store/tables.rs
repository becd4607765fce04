//! Plain records against their tables: the one place where both vocabularies meet.

use sea_orm::{EntityTrait, Set};

use crate::records::{
    Certificate, Concession, Defect, DoubtAnswer, Examination, ExaminationDraft, Fitting, Item, KeptDate,
    Loan, Order, Part, Person, State, Station, Stock, Substitution, TakenUp, Usage, Work,
};

/// Where a version of a record stands in the chain.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    pub(super) link: i64,
    pub(super) known_at: i64,
    pub(super) version: i64,
}

/// A record with a table of versions.
pub trait Stored: Sized + Clone + PartialEq + Send + Sync + 'static {
    /// Its table.
    type Entity: EntityTrait;
    /// The table's name.
    const TABLE: &'static str;
    /// Columns of the table, for the bound on variables a statement.
    const WIDTH: usize;

    /// What identifies it.
    fn key(&self) -> &str;
    /// Whether it says the record never happened.
    fn is_void(&self) -> bool;
    /// Adds it to a digest, with its place but for the link, which holds the digest.
    fn put_digest(&self, place: Place, sink: &mut impl FnMut(&[u8]));
    /// A row to insert.
    fn to_row(&self, place: Place) -> <Self::Entity as EntityTrait>::ActiveModel;
    /// The record and its place.
    fn of_row(row: <Self::Entity as EntityTrait>::Model) -> (Self, Place);
    /// Columns that queries go by.
    fn columns() -> Columns<Self>;
}

/// Columns every record table has.
pub struct Columns<R: Stored> {
    pub(super) id: <R::Entity as EntityTrait>::Column,
    pub(super) known_at: <R::Entity as EntityTrait>::Column,
    pub(super) key: <R::Entity as EntityTrait>::Column,
    pub(super) version: <R::Entity as EntityTrait>::Column,
}

/// A record that is of one item.
pub trait OfItem: Stored {
    /// The column that names it.
    fn item_column() -> <Self::Entity as EntityTrait>::Column;
    /// The item.
    fn item(&self) -> &str;
}

macro_rules! of_item {
    ($($record:ident: $table:ident),+ $(,)?) => {
        $(impl OfItem for $record {
            fn item_column() -> entities::$table::Column {
                entities::$table::Column::Item
            }

            fn item(&self) -> &str {
                &self.item
            }
        })+
    };
}

macro_rules! stored {
    ($record:ident, $table:ident { $($field:ident),+ $(,)? }) => {
        impl Stored for $record {
            type Entity = entities::$table::Entity;
            const TABLE: &'static str = stringify!($table);
            const WIDTH: usize = 6 + $record::COLUMNS.len();

            fn key(&self) -> &str {
                &self.key
            }

            fn is_void(&self) -> bool {
                self.void
            }

            fn put_digest(&self, place: Place, sink: &mut impl FnMut(&[u8])) {
                sink(&place.version.to_be_bytes());
                sink(&place.known_at.to_be_bytes());
                self.digest(sink);
            }

            fn to_row(&self, place: Place) -> entities::$table::ActiveModel {
                entities::$table::ActiveModel {
                    link: Set(place.link),
                    known_at: Set(place.known_at),
                    key: Set(self.key.clone()),
                    version: Set(place.version),
                    void: Set(self.void),
                    $($field: Set(self.$field.clone()),)+
                    ..Default::default()
                }
            }

            fn of_row(row: entities::$table::Model) -> (Self, Place) {
                let place = Place { link: row.link, known_at: row.known_at, version: row.version };
                ($record { key: row.key, void: row.void, $($field: row.$field),+ }, place)
            }

            fn columns() -> Columns<Self> {
                use entities::$table::Column;
                Columns { id: Column::Id, known_at: Column::KnownAt, key: Column::Key, version: Column::Version }
            }
        }
    };
}

of_item!(Certificate: certificate, Defect: defect, Examination: examination, State: state, Work: work);

stored!(Station, station { name, time_zone, latitude, longitude, flanks });
stored!(Person, person { name, role, station, competence, deputy, second_address, away_from, away_until });
stored!(
    Item,
    item {
        kind,
        station,
        set_name,
        manufactured_on,
        entered_service_on,
        serial,
        certificate,
        part,
        cut_from,
        quantity,
        opening_use,
        attributes,
        taken_from,
        taken_at,
        taken_day,
    }
);
stored!(Fitting, fitting { item, at, day, host, position, removed_at, removed_day });
stored!(Usage, usage { host, at, day, meter, count, reading, note });
stored!(Work, work { item, rule, at, day, outcome, by, certificate, measurements, note });
stored!(State, state { item, at, day, state, by, reason });
stored!(
    KeptDate,
    kept_date {
        item,
        rule,
        calendar_due,
        after_due,
        held,
        more,
        last_work_at,
        cause,
        acknowledged_by,
        reason,
    }
);
stored!(Concession, concession { item, rule, from_date, until_date, conditions, by, second });
stored!(Substitution, substitution { item, host, position, by, reason, until_date });
stored!(Loan, loan { item, station, from_date, until_date, by, note });
stored!(Certificate, certificate { item, number, issuer, issued_on, valid_until, file });
stored!(Part, part { description, kind, lead_time, shelf_life, unit, pack, price, currency, serves });
stored!(
    Order,
    part_order {
        part,
        quantity,
        place,
        ordered_on,
        needed_by,
        received_on,
        certificate,
        by,
        signed_by,
        signed_on,
        for_whom,
    }
);
stored!(Stock, stock { part, place, at, day, quantity, reason, items, note });
stored!(DoubtAnswer, doubt_answers { item, answer, by, first, second, read_on, voided, note });
stored!(TakenUp, policy_set { hash, files, effective_from, by, second, reason, safety });
stored!(
    Examination,
    examination {
        item,
        rule,
        at,
        day,
        employer,
        employer_address,
        premises,
        identity,
        manufactured_on,
        last_examined_on,
        safe_working_load,
        kind,
        after_installation,
        installed_correctly,
        safe_to_operate,
        repair_needed,
        tests,
        next_due,
        examiner,
        examiner_address,
        qualification,
        employed_by,
        authenticated_by,
        reported_on,
        instrument,
        calibration_due,
        measurements,
        judgement,
        decision,
        signed_by,
        not_accepted,
        remarks
    }
);
stored!(
    Defect,
    defect { item, report, found_on, part, what, danger, by_date, remedy, cleared_by, cleared_on }
);
stored!(ExaminationDraft, examination_draft { item, text, faults, signed });

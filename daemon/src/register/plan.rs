//! What an import would change: every file merged over what is stored, then judged as a whole.

use std::collections::HashMap;

use policies::load::PolicySet;
use policies::zone::Instant;

use super::RegisterFile;
use super::cells::Cells;
use super::checks;
use super::fault::Faults;
use super::files::attribute_columns;
use super::places::Places;
use super::sheet::Sheet;
use crate::records::{
    Certificate, Concession, Defect, DoubtAnswer, Examination, Fitting, Item, Loan, Order, Part, Person,
    State, Station, Stock, Substitution, Usage, Work,
};
use crate::store::current::{Newest, Register};

/// What one file changes.
#[derive(Debug)]
pub struct Change<R> {
    /// Records under keys not known before.
    pub new: Vec<R>,
    /// New versions of known records.
    pub corrected: Vec<R>,
    /// Line of every key of the file.
    pub(super) lines: HashMap<String, usize>,
    /// The file as faults name it.
    pub(super) file: String,
}

impl<R> Default for Change<R> {
    fn default() -> Change<R> {
        Change { new: Vec::new(), corrected: Vec::new(), lines: HashMap::new(), file: String::new() }
    }
}

impl<R> Change<R> {
    fn count(&self) -> usize {
        self.new.len() + self.corrected.len()
    }
}

/// What an import changes, file by file.
#[derive(Debug, Default)]
pub struct Changes {
    /// Stations.
    pub stations: Change<Station>,
    /// People.
    pub people: Change<Person>,
    /// Items.
    pub items: Change<Item>,
    /// Fittings.
    pub fittings: Change<Fitting>,
    /// Use.
    pub usage: Change<Usage>,
    /// Work.
    pub work: Change<Work>,
    /// States.
    pub states: Change<State>,
    /// Concessions.
    pub concessions: Change<Concession>,
    /// Certificates.
    pub certificates: Change<Certificate>,
    /// Parts.
    pub parts: Change<Part>,
    /// Stock moves.
    pub stock: Change<Stock>,
    /// Orders of parts.
    pub orders: Change<Order>,
    /// Answers to doubts.
    pub doubts: Change<DoubtAnswer>,
    /// Substitutions.
    pub substitutions: Change<Substitution>,
    /// What was agreed of loans.
    pub loans: Change<Loan>,
    /// Examination reports.
    pub examinations: Change<Examination>,
    /// Defects.
    pub defects: Change<Defect>,
}

impl Changes {
    /// New and corrected records of every file that has any.
    pub fn counts(&self) -> Vec<(&'static str, usize, usize)> {
        let mut counts = vec![
            (Station::NAME, self.stations.new.len(), self.stations.count()),
            (Person::NAME, self.people.new.len(), self.people.count()),
            (Item::NAME, self.items.new.len(), self.items.count()),
            (Fitting::NAME, self.fittings.new.len(), self.fittings.count()),
            (Usage::NAME, self.usage.new.len(), self.usage.count()),
            (Work::NAME, self.work.new.len(), self.work.count()),
            (State::NAME, self.states.new.len(), self.states.count()),
            (Concession::NAME, self.concessions.new.len(), self.concessions.count()),
            (Certificate::NAME, self.certificates.new.len(), self.certificates.count()),
            (Part::NAME, self.parts.new.len(), self.parts.count()),
            (Stock::NAME, self.stock.new.len(), self.stock.count()),
            (Order::NAME, self.orders.new.len(), self.orders.count()),
            (DoubtAnswer::NAME, self.doubts.new.len(), self.doubts.count()),
            (Substitution::NAME, self.substitutions.new.len(), self.substitutions.count()),
            (Loan::NAME, self.loans.new.len(), self.loans.count()),
            (Examination::NAME, self.examinations.new.len(), self.examinations.count()),
            (Defect::NAME, self.defects.new.len(), self.defects.count()),
        ];
        counts.retain(|(_, _, all)| *all > 0);
        counts.into_iter().map(|(name, new, all)| (name, new, all - new)).collect()
    }
}

/// An import that may be written, unless its faults say otherwise.
#[derive(Debug)]
pub struct Plan {
    /// The register as it will stand.
    pub register: Register,
    /// What changes.
    pub changes: Changes,
    /// Items whose kind is corrected.
    pub(super) of_new_kind: Vec<String>,
}

/// Merges sheets over what is stored and judges the whole; what is wrong goes to `faults`.
pub fn plan(set: &PolicySet, sheets: &[Sheet], stored: Register, now: Instant, faults: &Faults) -> Plan {
    let mut register = stored;
    let mut places = Places::of(set, now, &register);
    let find = |name: &str| sheets.iter().find(|sheet| sheet.name == name);
    let stations = merge(find(Station::NAME), &mut register.stations, &places, faults);
    places.learn_stations(&register);
    let items = merge(find(Item::NAME), &mut register.items, &places, faults);
    let other_kind = |row: &&Item| places.kind_of(&row.key).is_some_and(|kind| kind.name != row.kind);
    let of_new_kind = items.corrected.iter().filter(other_kind).map(|row| row.key.clone()).collect();
    places.learn_items(&register);
    places.learn_fittings(&register);
    let changes = Changes {
        stations,
        items,
        people: merge(find(Person::NAME), &mut register.people, &places, faults),
        fittings: merge(find(Fitting::NAME), &mut register.fittings, &places, faults),
        usage: merge(find(Usage::NAME), &mut register.usage, &places, faults),
        work: merge(find(Work::NAME), &mut register.work, &places, faults),
        states: merge(find(State::NAME), &mut register.states, &places, faults),
        concessions: merge(find(Concession::NAME), &mut register.concessions, &places, faults),
        certificates: merge(find(Certificate::NAME), &mut register.certificates, &places, faults),
        parts: merge(find(Part::NAME), &mut register.parts, &places, faults),
        stock: merge(find(Stock::NAME), &mut register.stock, &places, faults),
        orders: merge(find(Order::NAME), &mut register.orders, &places, faults),
        doubts: merge(find(DoubtAnswer::NAME), &mut register.doubts, &places, faults),
        substitutions: merge(find(Substitution::NAME), &mut register.substitutions, &places, faults),
        loans: merge(find(Loan::NAME), &mut register.loans, &places, faults),
        examinations: merge(find(Examination::NAME), &mut register.examinations, &places, faults),
        defects: merge(find(Defect::NAME), &mut register.defects, &places, faults),
    };
    let plan = Plan { register, changes, of_new_kind };
    checks::whole(&plan, &places, faults);
    plan
}

fn merge<R: RegisterFile>(
    sheet: Option<&Sheet>,
    newest: &mut Newest<R>,
    places: &Places,
    faults: &Faults,
) -> Change<R> {
    let mut change = Change::default();
    let Some(sheet) = sheet else { return change };
    change.file.clone_from(&sheet.file);
    let Some(columns) = header::<R>(sheet, places, faults) else { return change };
    for (line, row) in &sheet.rows {
        let cells = Cells::new(sheet, &columns, *line, row, faults);
        let Some(key) = R::key_of(&cells, places) else { continue };
        if let Some(first) = change.lines.get(&key) {
            let column = R::COLUMNS[0].name;
            let name = cells.text(column).unwrap_or(&key);
            cells.fault(column, format!("\"{name}\" stands on line {first} already; keep one of them"));
            continue;
        }
        change.lines.insert(key.clone(), *line);
        take(R::read(&cells, places, newest.get(&key)), key, newest, &mut change);
    }
    change
}

/// The one record of a sheet with one row, read as if nothing were stored.
pub(super) fn single<R: RegisterFile>(sheet: &Sheet, places: &Places, faults: &Faults) -> Option<R> {
    alone(sheet, places, faults).pop()
}

/// The sound records of a sheet, read as if nothing were stored.
pub(super) fn alone<R: RegisterFile>(sheet: &Sheet, places: &Places, faults: &Faults) -> Vec<R> {
    merge(Some(sheet), &mut Newest::new(), places, faults).new
}

/// Takes a read record over, if it says anything new.
fn take<R: RegisterFile>(read: Option<R>, key: String, newest: &mut Newest<R>, change: &mut Change<R>) {
    let Some(record) = read else { return };
    match newest.get(&key) {
        Some(stored) if *stored == record => return,
        Some(_) => change.corrected.push(record.clone()),
        None => change.new.push(record.clone()),
    }
    newest.insert(key, record);
}

/// Column positions, where the header is sound.
fn header<'s, R: RegisterFile>(
    sheet: &'s Sheet,
    places: &Places,
    faults: &Faults,
) -> Option<HashMap<&'s str, usize>> {
    let mut columns = HashMap::new();
    let extra = if R::NAME == Item::NAME { attribute_columns(places.set) } else { Vec::new() };
    let known = |name: &str| R::COLUMNS.iter().any(|c| c.name == name) || extra.iter().any(|c| c == name);
    let mut sound = true;
    let mut fault = |column: &str, message: String| {
        sheet.fault(faults, 1, column, &message);
        sound = false;
    };
    for (at, name) in sheet.header.iter().enumerate() {
        if !known(name) {
            let own: Vec<&str> = R::COLUMNS.iter().map(|column| column.name).collect();
            fault(name, format!("is no column of {}; its columns are {}", sheet.file, own.join(", ")));
        } else if columns.insert(name.as_str(), at).is_some() {
            fault(name, "stands twice; keep one of them".to_owned());
        }
    }
    if !sheet.rows.is_empty() || !sheet.header.is_empty() {
        for column in R::COLUMNS.iter().filter(|column| !column.optional) {
            if !columns.contains_key(column.name) {
                fault(column.name, "is missing; add the column".to_owned());
            }
        }
    }
    sound.then_some(columns)
}

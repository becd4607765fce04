//! The register out: current versions, as a folder of CSV files or one workbook.

use std::fs;
use std::path::Path;

use anyhow::Context;
use policies::load::PolicySet;
use policies::zone::Instant;

use super::files::attribute_columns;
use super::places::Places;
use super::sheet::Sheet;
use super::{RegisterFile, xlsx};
use crate::records::{
    Certificate, Concession, Defect, DoubtAnswer, Examination, Fitting, Item, Loan, Order, Part, Person,
    State, Station, Stock, Substitution, Usage, Work,
};
use crate::store::current::{Newest, Register};

/// How a register is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// A CSV file each.
    Csv,
    /// One workbook, a sheet each.
    Xlsx,
}

/// One file of an export: its name, header and rows.
pub(super) struct Table {
    pub(super) name: &'static str,
    pub(super) header: Vec<String>,
    pub(super) rows: Vec<Vec<String>>,
}

/// Writes a register into a folder, which is made if need be.
///
/// # Errors
/// The folder or a file cannot be written.
pub fn export(set: &PolicySet, register: &Register, folder: &Path, format: Format) -> anyhow::Result<()> {
    let places = Places::of(set, Instant::MAX, register);
    let tables = tables(register, &places);
    fs::create_dir_all(folder).with_context(|| format!("making the folder {}", folder.display()))?;
    match format {
        Format::Csv => tables.iter().try_for_each(|table| write_csv(folder, table)),
        Format::Xlsx => xlsx::write(&folder.join("register.xlsx"), &tables),
    }
}

/// The stored row of a key with some of its cells changed, as a sheet that an import takes.
///
/// # Errors
/// No such file, key or column.
pub fn row_of(
    set: &PolicySet,
    register: &Register,
    file: &str,
    key: &str,
    changes: &[(&str, &str)],
) -> anyhow::Result<Sheet> {
    let places = Places::of(set, Instant::MAX, register);
    let table = tables(register, &places).into_iter().find(|table| table.name == file);
    let Some(table) = table else {
        anyhow::bail!(
            "no file of the register is called \"{file}\"; such as usage, work, states, items, fittings"
        );
    };
    let own = |row: &Vec<String>| row[0] == key || format!("{} {}", row[0], row[1]) == key;
    let Some(mut row) = table.rows.into_iter().find(own) else {
        anyhow::bail!("{file} holds no record \"{key}\"");
    };
    for (column, value) in changes {
        let Some(at) = table.header.iter().position(|name| name == column) else {
            anyhow::bail!("{file} has no column \"{column}\"; its columns are {}", table.header.join(", "));
        };
        (*value).clone_into(&mut row[at]);
    }
    Ok(Sheet { name: file.to_owned(), file: file.to_owned(), header: table.header, rows: vec![(1, row)] })
}

fn tables(register: &Register, places: &Places) -> [Table; 17] {
    [
        table::<Station>(&register.stations, places),
        table::<Person>(&register.people, places),
        table::<Item>(&register.items, places),
        table::<Fitting>(&register.fittings, places),
        table::<Usage>(&register.usage, places),
        table::<Work>(&register.work, places),
        table::<State>(&register.states, places),
        table::<Concession>(&register.concessions, places),
        table::<Certificate>(&register.certificates, places),
        table::<Part>(&register.parts, places),
        table::<Stock>(&register.stock, places),
        table::<Order>(&register.orders, places),
        table::<DoubtAnswer>(&register.doubts, places),
        table::<Substitution>(&register.substitutions, places),
        table::<Loan>(&register.loans, places),
        table::<Examination>(&register.examinations, places),
        table::<Defect>(&register.defects, places),
    ]
}

/// Records as a sheet that an import takes, with every column.
pub(crate) fn sheet_of<R: RegisterFile>(records: &[R], places: &Places) -> Sheet {
    let rows = records.iter().map(|record| record.write(places));
    let name = R::NAME.to_owned();
    Sheet { file: name.clone(), name, header: header::<R>(places), rows: (1..).zip(rows).collect() }
}

fn header<R: RegisterFile>(places: &Places) -> Vec<String> {
    let mut header: Vec<String> = R::COLUMNS.iter().map(|column| column.name.to_owned()).collect();
    if R::NAME == Item::NAME {
        header.extend(attribute_columns(places.set));
    }
    header
}

fn table<R: RegisterFile>(newest: &Newest<R>, places: &Places) -> Table {
    let header = header::<R>(places);
    let mut records: Vec<&R> = newest.values().collect();
    records.sort_unstable_by(|a, b| a.key().cmp(b.key()));
    Table { name: R::NAME, header, rows: records.into_iter().map(|record| record.write(places)).collect() }
}

fn write_csv(folder: &Path, table: &Table) -> anyhow::Result<()> {
    let path = folder.join(format!("{}.csv", table.name));
    let context = || format!("writing {}", path.display());
    let mut csv = csv::WriterBuilder::new().from_path(&path).with_context(context)?;
    csv.write_record(&table.header).with_context(context)?;
    for row in &table.rows {
        csv.write_record(row).with_context(context)?;
    }
    csv.flush().with_context(context)
}

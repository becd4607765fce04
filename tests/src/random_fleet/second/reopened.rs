//! A file of the register, opened again for more columns and rows.

use super::super::dice::Dice;
use super::super::sheet;

pub struct Reopened {
    header: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Reopened {
    pub fn of(text: &str) -> Result<Reopened, String> {
        let mut reader = csv::Reader::from_reader(text.trim_start_matches('\u{feff}').as_bytes());
        let owned = |record: &csv::StringRecord| record.iter().map(str::to_owned).collect::<Vec<String>>();
        let header = owned(reader.headers().map_err(|e| e.to_string())?);
        let mut rows = Vec::new();
        for record in reader.records() {
            rows.push(owned(&record.map_err(|e| e.to_string())?));
        }
        Ok(Reopened { header, rows })
    }

    pub fn column(&self, name: &str) -> Vec<String> {
        let place = self.header.iter().position(|column| column == name);
        self.rows.iter().filter_map(|row| place.map(|place| row[place].clone())).collect()
    }

    /// A new column, drawn for each row.
    pub fn fill(&mut self, name: &str, mut cell: impl FnMut() -> String) {
        self.header.push(name.to_owned());
        self.rows.iter_mut().for_each(|row| row.push(cell()));
    }

    /// The other file's rows below, under the columns of the same names.
    pub fn join(&mut self, other: &Reopened) {
        for column in &other.header {
            if !self.header.contains(column) {
                self.fill(column, String::new);
            }
        }
        for row in &other.rows {
            let cell = |column: &String| {
                let place = other.header.iter().position(|have| have == column);
                place.map(|place| row[place].clone()).unwrap_or_default()
            };
            self.rows.push(self.header.iter().map(cell).collect());
        }
    }

    pub fn write(self, dice: &mut Dice) -> Result<String, String> {
        let header: Vec<&str> = self.header.iter().map(String::as_str).collect();
        sheet::write(dice, &header, self.rows)
    }
}

//! A file of the register in the making.

use super::dice::Dice;

pub struct Sheet {
    header: &'static [&'static str],
    rows: Vec<Vec<String>>,
}

impl Sheet {
    pub fn new(header: &'static [&'static str]) -> Sheet {
        Sheet { header, rows: Vec::new() }
    }

    pub fn push(&mut self, cells: &[&str]) {
        self.rows.push(cells.iter().map(|cell| (*cell).to_owned()).collect());
    }

    pub fn next_key(&self, letter: char) -> String {
        format!("{letter}{}", self.rows.len() + 1)
    }

    pub fn write(self, dice: &mut Dice) -> Result<String, String> {
        write(dice, self.header, self.rows)
    }
}

/// Rows and columns in any order, at times with a byte order mark and CRLF.
pub fn write(dice: &mut Dice, header: &[&str], mut rows: Vec<Vec<String>>) -> Result<String, String> {
    dice.shuffle(&mut rows);
    let mut order: Vec<usize> = (0..header.len()).collect();
    dice.shuffle(&mut order);
    let foreign = dice.chance(25);
    let ending = if foreign { csv::Terminator::CRLF } else { csv::Terminator::Any(b'\n') };
    let mut writer = csv::WriterBuilder::new().terminator(ending).from_writer(Vec::new());
    let columns = order.iter().map(|n| header[*n]);
    writer.write_record(columns).map_err(|e| e.to_string())?;
    for row in &rows {
        let cells = order.iter().map(|n| &row[*n]);
        writer.write_record(cells).map_err(|e| e.to_string())?;
    }
    let bytes = writer.into_inner().map_err(|e| e.to_string())?;
    let text = String::from_utf8(bytes).map_err(|e| e.to_string())?;
    Ok(if foreign { format!("\u{feff}{text}") } else { text })
}

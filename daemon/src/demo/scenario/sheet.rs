//! Rows to CSV text: a header always, LF, quotes only where needed.

pub struct Sheet {
    header: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Sheet {
    pub fn new(header: &[&str]) -> Self {
        Self { header: header.iter().map(|name| (*name).to_owned()).collect(), rows: Vec::new() }
    }

    pub fn row(&mut self, cells: Vec<String>) {
        self.rows.push(cells);
    }

    pub fn text(&self) -> String {
        let mut text = String::new();
        for row in std::iter::once(&self.header).chain(&self.rows) {
            let cells: Vec<String> = row.iter().map(|cell| quoted(cell)).collect();
            text.push_str(&cells.join(","));
            text.push('\n');
        }
        text
    }
}

fn quoted(cell: &str) -> String {
    if cell.contains(['"', ',', '\n', '\r']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}

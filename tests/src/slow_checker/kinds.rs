//! What a policy set says of kinds: meters, positions and attributes.

use super::decimal::Decimal;
use super::toml_cells as cells;
use toml::{Table, Value};

pub struct Kind {
    pub name: String,
    pub meters: Vec<Meter>,
    pub positions: Vec<Position>,
    pub attributes: Vec<Attribute>,
}

pub struct Meter {
    pub name: String,
    pub rolls_over_at: Option<Decimal>,
}

pub struct Position {
    pub name: String,
    pub takes: String,
    pub count: usize,
}

pub struct Attribute {
    pub name: String,
    pub column: String,
    /// A unit or a bound makes it a number.
    pub number: bool,
}

impl Kind {
    pub fn read(table: &Table) -> Result<Kind, String> {
        let meters = table.get("meters").and_then(Value::as_array);
        let meters = meters.into_iter().flatten().map(Meter::read).collect::<Result<_, _>>()?;
        let positions = cells::tables(table, "positions");
        let attributes = cells::tables(table, "attributes");
        Ok(Kind {
            name: cells::need(table, "name")?,
            meters,
            positions: positions.into_iter().map(Position::read).collect::<Result<_, _>>()?,
            attributes: attributes.into_iter().map(Attribute::read).collect::<Result<_, _>>()?,
        })
    }

    /// By its name or by its column.
    pub fn attribute(&self, name: &str) -> Option<&Attribute> {
        self.attributes.iter().find(|attribute| attribute.name == name || attribute.column == name)
    }
}

impl Meter {
    fn read(value: &Value) -> Result<Meter, String> {
        match value {
            Value::String(name) => Ok(Meter { name: name.clone(), rolls_over_at: None }),
            Value::Table(table) => Ok(Meter {
                name: cells::need(table, "name")?,
                rolls_over_at: cells::decimal(table, "rolls_over_at")?,
            }),
            other => Err(format!("{other} is no meter")),
        }
    }
}

impl Position {
    fn read(table: &Table) -> Result<Position, String> {
        let count = table.get("count").and_then(Value::as_integer).unwrap_or(1);
        Ok(Position {
            name: cells::need(table, "name")?,
            takes: cells::need(table, "takes")?,
            count: usize::try_from(count).map_err(|e| e.to_string())?,
        })
    }
}

impl Attribute {
    fn read(table: &Table) -> Result<Attribute, String> {
        let name = cells::need(table, "name")?;
        let words = name.replace(' ', "_");
        let column = match cells::text(table, "unit") {
            Some(unit) => format!("{words}_{unit}"),
            None => words,
        };
        let number = ["unit", "min", "max"].iter().any(|key| table.contains_key(*key));
        Ok(Attribute { name, column, number })
    }
}

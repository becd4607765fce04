//! What gear is: kinds, their attributes, meters and fitting positions.

use crate::amount::Amount;

/// Index of a kind within its policy set.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct KindId(pub u16);

/// Index of a meter name within its policy set; kinds that share a name share the meter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MeterId(pub u16);

/// What an attribute column holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum AttributeType {
    /// A decimal in the attribute's unit, within bounds where they are given.
    Number {
        /// Smallest plausible value.
        min: Option<Amount>,
        /// Largest plausible value.
        max: Option<Amount>,
    },
    /// One of a few words, or free text where the list is empty.
    Text {
        /// The words allowed.
        values: Vec<String>,
    },
}

/// One attribute of a kind, such as `nominal diameter` in `mm`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Attribute {
    /// Name in words.
    pub name: String,
    /// Unit, part of the column's name.
    pub unit: Option<String>,
    /// What it holds.
    pub holds: AttributeType,
}

impl Attribute {
    /// The column of `items.csv`: name and unit joined by `_`.
    pub fn column(&self) -> String {
        let name = self.name.replace(' ', "_");
        match &self.unit {
            Some(unit) => format!("{name}_{unit}"),
            None => name,
        }
    }
}

/// A meter that hosts of a kind carry.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Meter {
    /// Which meter.
    pub id: MeterId,
    /// Read off a dial rather than counted.
    pub dial: bool,
    /// Where the dial starts again at nought.
    pub rolls_over_at: Option<Amount>,
}

/// A place on a host where items are fitted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Position {
    /// Name, unique within the kind.
    pub name: String,
    /// Kinds that may be fitted here.
    pub takes: Vec<KindId>,
    /// How many items it holds.
    pub count: u32,
    /// The host may not be used while it is empty.
    pub required: bool,
}

/// How a kind's proof load is found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proof {
    /// Gear word of the proof-load tables.
    pub gear: String,
    /// Attribute column that holds the rated load.
    pub load: String,
}

/// A kind of gear.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kind {
    /// Name in words, such as `launching fall`.
    pub name: String,
    /// Attributes beyond those every item has.
    pub attributes: Vec<Attribute>,
    /// Meters counted or read on items of this kind.
    pub meters: Vec<Meter>,
    /// Fitting positions.
    pub positions: Vec<Position>,
    /// Operations in which items of this kind bear load.
    pub load_path: Vec<String>,
    /// How its proof load is found.
    pub proof: Option<Proof>,
}

impl Kind {
    /// The kind's own meter of that name.
    pub fn meter(&self, id: MeterId) -> Option<&Meter> {
        self.meters.iter().find(|meter| meter.id == id)
    }

    /// The position of that name.
    pub fn position(&self, name: &str) -> Option<&Position> {
        self.positions.iter().find(|position| position.name == name)
    }

    /// The attribute with that column.
    pub fn attribute(&self, column: &str) -> Option<&Attribute> {
        self.attributes.iter().find(|attribute| attribute.column() == column)
    }
}

/// Every kind and meter of a policy set.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Kinds {
    /// In the order of the file.
    pub kinds: Vec<Kind>,
    /// Meter names, by [`MeterId`].
    pub meters: Vec<String>,
}

impl Kinds {
    /// The kind of that name.
    pub fn find(&self, name: &str) -> Option<KindId> {
        let at = self.kinds.iter().position(|kind| kind.name == name)?;
        u16::try_from(at).ok().map(KindId)
    }

    /// The kind at an index made by this set.
    pub fn kind(&self, id: KindId) -> &Kind {
        &self.kinds[usize::from(id.0)]
    }

    /// The meter of that name.
    pub fn find_meter(&self, name: &str) -> Option<MeterId> {
        let at = self.meters.iter().position(|meter| meter == name)?;
        u16::try_from(at).ok().map(MeterId)
    }

    /// A meter's name.
    pub fn meter_name(&self, id: MeterId) -> &str {
        &self.meters[usize::from(id.0)]
    }
}

//! Which gear is judged, and by what names its attributes and measures go.

/// What a field holds, and how it is written.
#[derive(Clone, Copy, Debug)]
pub(super) enum Holds {
    /// A length; given twice, two readings at right angles, of which the mean counts.
    Size,
    /// A decimal from … to.
    Number(i128, i128),
    /// A whole number up to.
    Count(i128),
    /// One of a few words; further spellings stand behind each.
    Words(&'static [(&'static str, &'static [&'static str])]),
    /// Any text.
    Text,
}

/// A field: its name with the unit, other names it goes by, and what it holds.
#[derive(Clone, Copy, Debug)]
pub(super) struct Field {
    pub name: &'static str,
    pub also: &'static [&'static str],
    pub holds: Holds,
}

/// A family of gear that is judged alike.
#[derive(Debug)]
pub(super) struct Gear {
    /// The family's word in the tables.
    pub word: &'static str,
    pub attributes: &'static [Field],
    /// Columns of its kinds that no criterion asks for.
    pub unused: &'static [&'static str],
    pub measures: &'static [Field],
}

const fn field(name: &'static str, holds: Holds) -> Field {
    Field { name, also: &[], holds }
}

const fn known_as(name: &'static str, also: &'static [&'static str], holds: Holds) -> Field {
    Field { name, also, holds }
}

const fn size(name: &'static str) -> Field {
    field(name, Holds::Size)
}

/// Wear in percent of the new size; a new part may read a little over its size.
const fn wear(name: &'static str) -> Field {
    field(name, Holds::Number(-2, 40))
}

const YES_NO: Holds = Holds::Words(&[("yes", &["true", "y"]), ("no", &["false", "n"])]);

/// How a cause of discard on sight is stated.
pub(super) const fn cause(name: &'static str) -> Field {
    field(name, YES_NO)
}

const CATEGORY: Field = known_as("rope_category", &["rcn", "category"], Holds::Text);
const LAY: Field = field("lay", Holds::Words(&[("ordinary", &["regular"]), ("lang", &[])]));
const SPOOLING: Field = field(
    "spooling",
    Holds::Words(&[("single layer", &["single"]), ("multi-layer", &["multi", "multilayer"])]),
);
const CORE: Field = field("core", Holds::Words(&[("steel", &["iwrc", "wsc"]), ("fibre", &["fc", "fiber"])]));
const DUTY: Field = known_as(
    "duty_class",
    &["duty_group", "class"],
    Holds::Words(&[
        ("m1", &[]),
        ("m2", &[]),
        ("m3", &[]),
        ("m4", &[]),
        ("m5", &[]),
        ("m6", &[]),
        ("m7", &[]),
        ("m8", &[]),
    ]),
);
const BREAKS_6D: Field = known_as("breaks_6d", &["broken_wires_in_6d", "breaks_in_6d"], Holds::Count(500));
const BREAKS_30D: Field =
    known_as("breaks_30d", &["broken_wires_in_30d", "breaks_in_30d"], Holds::Count(1000));
const BREAKS_IN_LAY: Field = known_as("breaks_in_lay", &["broken_wires_in_a_lay"], Holds::Count(500));
const BREAKS_IN_STRAND: Field =
    known_as("breaks_in_strand", &["broken_wires_in_a_strand"], Holds::Count(100));
const WIRE_DIAMETER: Field = known_as("diameter_mm", &["wire_diameter"], Holds::Size);
const OUTER_WEAR: Field = field("outer_wire_wear_percent", Holds::Number(0, 100));

/// Launching falls and winch wires.
pub(super) const WIRE: Gear = Gear {
    word: "wire",
    attributes: &[
        size("nominal_diameter_mm"),
        size("reference_diameter_mm"),
        field("construction", Holds::Text),
        CORE,
        LAY,
        CATEGORY,
        field("load_bearing_wires", Holds::Count(2000)),
        SPOOLING,
        DUTY,
        field("finish", Holds::Text),
        known_as("rope_use", &["use"], Holds::Words(&[("running", &[]), ("standing", &[])])),
        field("total_wires", Holds::Count(3000)),
        field("wires_per_strand", Holds::Count(200)),
    ],
    unused: &[
        "grade_mpa",
        "length_m",
        "minimum_breaking_force_kn",
        "wll_t",
        "outer_termination",
        "inner_termination",
        "termination_factor",
        "dead_wraps",
        "drum",
        "cut_position_m",
    ],
    measures: &[
        WIRE_DIAMETER,
        BREAKS_6D,
        BREAKS_30D,
        known_as("corrosion_percent", &["wire_corrosion"], Holds::Number(0, 100)),
        field("valley_breaks", Holds::Count(100)),
        field("termination_breaks", Holds::Count(100)),
        size("waviness_gap_mm"),
        BREAKS_IN_LAY,
        BREAKS_IN_STRAND,
        OUTER_WEAR,
        field("strength_loss_percent", Holds::Number(0, 100)),
    ],
};

/// Wire strops.
pub(super) const SLING: Gear = Gear {
    word: "sling",
    attributes: &[
        field("material", Holds::Text),
        size("nominal_diameter_mm"),
        field("total_wires", Holds::Count(3000)),
    ],
    unused: &["length_m", "wll_t", "thickness_mm"],
    measures: &[
        WIRE_DIAMETER,
        BREAKS_6D,
        BREAKS_30D,
        field("breaks_8d", Holds::Count(500)),
        BREAKS_IN_LAY,
        BREAKS_IN_STRAND,
        field("adjacent_breaks", Holds::Count(100)),
        OUTER_WEAR,
    ],
};

/// Round slings and webbing.
pub(super) const TEXTILE: Gear = Gear {
    word: "textile",
    attributes: &[field("material", Holds::Text), size("thickness_mm")],
    unused: &["length_m", "wll_t"],
    measures: &[
        known_as(
            "label",
            &["label_state"],
            Holds::Words(&[
                ("readable", &["present", "legible"]),
                ("unreadable", &["illegible"]),
                ("missing", &["none"]),
            ]),
        ),
        field("abrasion_percent", Holds::Number(0, 100)),
        size("edge_cut_mm"),
    ],
};

/// Short-link chain.
pub(super) const CHAIN: Gear = Gear {
    word: "chain",
    attributes: &[size("nominal_diameter_mm"), size("pitch_mm")],
    unused: &[
        "grade",
        "links",
        "length_m",
        "wll_t",
        "minimum_breaking_force_kn",
        "position_mark",
        "tensioner_thread",
    ],
    measures: &[
        known_as("link_diameter_mm", &["diameter_mm"], Holds::Size),
        known_as("length_over_11_links_mm", &["length_11_links_mm"], Holds::Size),
        known_as("new_length_over_11_links_mm", &["new_length_11_links_mm"], Holds::Size),
        field("stretch_percent", Holds::Number(-2, 15)),
    ],
};

/// Shackles.
pub(super) const SHACKLE: Gear = Gear {
    word: "shackle",
    attributes: &[size("body_diameter_mm"), size("pin_diameter_mm")],
    unused: &["shape", "pin", "wll_t", "grade", "batch_code", "split_from"],
    measures: &[
        size("body_diameter_mm"),
        wear("body_wear_percent"),
        size("pin_diameter_mm"),
        wear("pin_wear_percent"),
    ],
};

/// Release hooks.
pub(super) const HOOK: Gear = Gear {
    word: "hook",
    attributes: &[size("throat_mm"), size("pin_diameter_mm")],
    unused: &["wll_t", "reset_indicator"],
    measures: &[
        size("throat_mm"),
        wear("throat_growth_percent"),
        size("pin_diameter_mm"),
        wear("pin_wear_percent"),
        wear("section_wear_percent"),
        field("twist_degrees", Holds::Number(0, 90)),
    ],
};

/// Sheave blocks.
pub(super) const BLOCK: Gear = Gear {
    word: "block",
    attributes: &[size("rope_diameter_mm"), size("pin_diameter_mm")],
    unused: &["swl_t", "sheave_diameter_mm", "groove_radius_mm", "bearing"],
    measures: &[
        size("groove_radius_mm"),
        field("groove_over_rope_percent", Holds::Number(-15, 40)),
        size("side_play_mm"),
        size("pin_diameter_mm"),
        wear("pin_wear_percent"),
    ],
};

/// Quick-release links.
pub(super) const LINK: Gear = Gear {
    word: "link",
    attributes: &[
        size("body_diameter_mm"),
        size("pin_diameter_mm"),
        size("min_body_diameter_mm"),
        size("min_pin_diameter_mm"),
    ],
    unused: &["wll_t"],
    measures: &[
        size("body_diameter_mm"),
        wear("body_wear_percent"),
        size("pin_diameter_mm"),
        wear("pin_wear_percent"),
    ],
};

/// Drawbar pins.
pub(super) const PIN: Gear = Gear {
    word: "pin",
    attributes: &[size("pin_diameter_mm"), size("min_pin_diameter_mm")],
    unused: &["wll_t"],
    measures: &[size("pin_diameter_mm"), wear("pin_wear_percent")],
};

/// Fairleads.
pub(super) const FAIRLEAD: Gear = Gear {
    word: "fairlead",
    attributes: &[
        size("roller_diameter_mm"),
        size("pin_diameter_mm"),
        size("min_roller_diameter_mm"),
        size("min_pin_diameter_mm"),
    ],
    unused: &["rope_diameter_mm", "swl_t"],
    measures: &[size("roller_diameter_mm"), size("pin_diameter_mm"), wear("pin_wear_percent")],
};

/// Skids.
pub(super) const SKID: Gear = Gear {
    word: "skid",
    attributes: &[size("plate_thickness_mm")],
    unused: &["pattern", "length_m", "mass_kg"],
    measures: &[size("plate_thickness_mm")],
};

/// Fibre heaving lines.
pub(super) const LINE: Gear = Gear {
    word: "line",
    attributes: &[],
    unused: &["material", "diameter_mm", "length_m", "weight_bag"],
    measures: &[field("section_loss_percent", Holds::Number(0, 100))],
};

/// Kinds and their family; strops are parted by their material.
pub(super) const KINDS: [(&str, &Gear); 19] = [
    ("launching fall", &WIRE),
    ("winch wire", &WIRE),
    ("wire rope", &WIRE),
    ("stopper chain", &CHAIN),
    ("preventer chain", &CHAIN),
    ("hauling chain", &CHAIN),
    ("chain", &CHAIN),
    ("release hook", &HOOK),
    ("hook", &HOOK),
    ("sheave block", &BLOCK),
    ("shackle", &SHACKLE),
    ("shackle batch", &SHACKLE),
    ("strop", &TEXTILE),
    ("bow strop", &TEXTILE),
    ("quick-release link", &LINK),
    ("drawbar pin", &PIN),
    ("fairlead", &FAIRLEAD),
    ("skid", &SKID),
    ("heaving line", &LINE),
];

/// A name without regard to case, blanks and hyphens: `Load-bearing wires` is `load_bearing_wires`.
pub(super) fn plain(name: &str) -> String {
    name.trim().to_lowercase().replace([' ', '-'], "_")
}

impl Field {
    /// Whether the field goes by this plain name, with or without its unit.
    pub fn goes_by(&self, name: &str) -> bool {
        let named = |own: &str| own == name || without_unit(own) == name;
        named(self.name) || self.also.iter().any(|other| named(other))
    }
}

fn without_unit(name: &str) -> &str {
    ["_mm", "_percent", "_degrees"].iter().find_map(|unit| name.strip_suffix(unit)).unwrap_or(name)
}

//! What rules apply to, cover, tell and record.

use super::*;

#[test]
fn rules_apply_to_known_kinds_and_attributes() {
    rule(&["applies_to = { kind = ▸\"kite\" }"], &["no kind is called \"kite\""]);
    rule(
        &["applies_to = { kind = \"launching fall\", ▸mass_t = 3 }"],
        &["kind \"launching fall\" has no attribute \"mass_t\"; its attributes: nominal_diameter_mm, lay"],
    );
    let help = "cannot be compared with this; give a number for a number, a text for a text";
    rule(&["applies_to = { kind = \"launching fall\", nominal_diameter_mm = ▸\"thick\" }"], &[help]);
    rule(&["applies_to = { kind = \"launching fall\", nominal_diameter_mm = ▸\">= thick\" }"], &[help]);
    rule(&["applies_to = { kind = \"launching fall\", lay = ▸3 }"], &[help]);
    rule(&["applies_to = { kind = \"launching fall\", lay = ▸true }"], &[help]);
}

/// A word that the attribute cannot hold would make a rule that applies to nothing.
#[test]
fn conditions_name_words_that_the_attribute_can_hold() {
    rule(&["applies_to = { kind = \"launching fall\", lay = ▸\"lang\" }"], &["ordinary, Lang"]);
    rule(&["applies_to = { kind = \"launching fall\", lay = ▸\"!= lang\" }"], &["ordinary, Lang"]);
    rule(&["applies_to = { kind = \"launching fall\", lay = \"!= Lang\" }"], &[]);
}

#[test]
fn covers_names_another_rule_of_its_kind() {
    let other = "\n[[rule]]\nid = \"carriage-look\"\ntitle = \"Look\"\napplies_to = { kind = \"carriage\" }\nwork = \"check\"\n\
        calendar = { every = \"1 week\" }\noverdue = \"advisory\"\nauthority = \"house\"\n";
    let covers = |list: &str, phrases: &[&str]| {
        let text = rule_text(&[&format!("covers = {list}")]) + other;
        told(&[("kinds.toml", KINDS), ("rules.toml", &text)], phrases);
    };
    covers("[▸\"fall-wash\"]", &["no rule is called \"fall-wash\"; correct it or take it out"]);
    covers("[▸\"fall-look\"]", &["a rule cannot cover itself; take it out"]);
    covers("[▸\"carriage-look\"]", &["\"carriage-look\" is for another kind; cover rules of this kind only"]);
    covers(
        "[▸\"a\", ▸\"fall-look\", ▸\"carriage-look\"]",
        &["no rule is called \"a\"", "cover itself", "another kind"],
    );
    covers("[]", &[]);
}

/// An identifier is used once in the whole set; the second one says where the first stands.
#[test]
fn rule_ids_are_slugs_used_once() {
    for id in ["Fall-look", "fall look", "fall_look", "fäll"] {
        rule(&[&format!("id = ▸\"{id}\"")], &[&format!("\"{id}\" is no rule id; use a-z, 0-9 and -")]);
    }
    let first = format!("# First.\n{}", rule_text(&[]));
    let second = rule_text(&["id = ▸\"fall-look\""]);
    told(
        &[("kinds.toml", KINDS), ("a.toml", &first), ("b.toml", &second)],
        &["rule id \"fall-look\" is used twice; it stands first in a.toml line 2"],
    );
}

#[test]
fn notices_go_to_roles_at_moments() {
    rule(
        &["notice = { escalate = { chief = ▸\"2 days before\" } }"],
        &["nobody has the role \"chief\"; one of: head, engineer, mechanic, clerk, test house"],
    );
    for moment in [
        "2 days",
        "soon",
        "2 hours after",
        "-2 days before",
        "two days before",
        "2 days between",
        "1001 days after",
    ] {
        rule(
            &[&format!("notice = {{ escalate = {{ engineer = ▸\"{moment}\" }} }}")],
            &["is no moment; \"2 days before\" or \"1 day after\""],
        );
    }
    rule(&["notice = { escalate = { engineer = ▸3 } }"], &["give a text in quotes"]);
}

#[test]
fn records_have_bounds_that_can_be_met() {
    rule(
        &["records = [▸{ name = \"sag\", min = 4, max = 3 }]"],
        &["\"min\" is above \"max\"; exchange them"],
    );
    for range in ["[60, 5]", "[5, 5]", "[5]", "[5, 60, 70]", "\"5 to 60\"", "[5, \"60\"]"] {
        rule(
            &[&format!("records = [{{ name = \"sag\", plausible = ▸{range} }}]")],
            &["\"plausible\" is no range; give [lowest, highest]"],
        );
    }
}

//! Kinds: what gear can be.

use super::*;

#[test]
fn kinds_say_what_can_be() {
    kind("name = ▸\"carriage\"", &["kind \"carriage\" is declared twice"]);
    kind(
        "name = \"x\"\nload_path = [\"launch\", ▸\"tow\"]",
        &["\"tow\" is no operation; one of: launch, recovery"],
    );
    kind(
        "name = \"x\"\nattributes = [▸{ name = \"a\", unit = \"t\", values = [\"b\"] }]",
        &["an attribute is a number or a word"],
    );
    kind("name = \"x\"\nattributes = [▸{ name = \"a\", min = 3, max = 2 }]", &["\"min\" is above \"max\""]);
    kind(
        "name = \"x\"\nattributes = [{ name = ▸\"serial\" }]",
        &["every item has this column already; choose another name"],
    );
    kind(
        "name = \"x\"\nattributes = [{ name = ▸\"opening\", unit = \"use\" }]",
        &["every item has this column already"],
    );
    kind(
        "name = \"x\"\nmeters = [{ name = \"a\", rolls_over_at = ▸1000 }]",
        &["only a dial rolls over, above nought; add dial = true"],
    );
    kind(
        "name = \"x\"\nmeters = [{ name = \"a\", dial = true, rolls_over_at = ▸0 }]",
        &["only a dial rolls over, above nought"],
    );
    kind(
        "name = \"x\"\npositions = [{ name = \"a\", takes = ▸\"kite\" }]",
        &["no kind is called \"kite\"; declare it, or correct it"],
    );
    kind(
        "name = \"x\"\npositions = [{ name = \"a\", takes = [\"carriage\", ▸\"kite\"] }]",
        &["no kind is called \"kite\""],
    );
    kind(
        "name = \"x\"\npositions = [{ name = \"a\", takes = \"x\" }, { name = ▸\"a\", takes = \"x\" }]",
        &["position \"a\" stands twice; use count instead"],
    );
    kind(
        "name = \"x\"\nproof = { gear = \"shackle\", load = ▸\"wll_t\" }",
        &["the kind has no attribute column \"wll_t\"; declare it"],
    );
    told(&[("rules.toml", "▸# Nothing yet.\n")], &["the set declares no kind; add a [[kind]] to kinds.toml"]);
}

/// Of two attributes or meters of one name only the first would ever be read; a place that takes nothing stays empty.
#[test]
fn kinds_say_nothing_twice_and_nothing_in_vain() {
    kind(
        "name = \"x\"\nattributes = [{ name = \"mass\", unit = \"t\" }, { name = ▸\"mass\", unit = \"t\", max = 3 }]",
        &["stands twice"],
    );
    kind(
        "name = \"x\"\nattributes = [{ name = \"mass\", unit = \"t\" }, { name = ▸\"mass t\" }]",
        &["stands twice"],
    );
    kind("name = \"x\"\nmeters = [\"pulls\", ▸{ name = \"pulls\", dial = true }]", &["stands twice"]);
    kind("name = \"x\"\nmeters = [\"pulls\", ▸\"pulls\"]", &["stands twice"]);
    kind("name = \"x\"\npositions = [{ name = \"a\", takes = ▸[] }]", &["takes nothing"]);
}

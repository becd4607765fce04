use super::*;

mod copies;
mod edges;
mod gear_rows;
mod slips;
mod steady;
mod us;
mod wire_rows;
mod worked;

/// `name=value name=value`; blanks in a value are written as `_`, as on the command line.
fn pairs(text: &str) -> Vec<(&str, &str)> {
    text.split_whitespace().map(|pair| pair.split_once('=').unwrap()).collect()
}

fn under(regime: Regime, kind: &str, attributes: &str, measures: &str) -> Assessment {
    assess(kind, regime, &pairs(attributes), &pairs(measures))
        .unwrap_or_else(|faults| panic!("{kind} {attributes} -- {measures}: {}", told(&faults)))
}

fn iso(kind: &str, attributes: &str, measures: &str) -> Assessment {
    under(Regime::Iso, kind, attributes, measures)
}

fn refused(kind: &str, attributes: &str, measures: &str) -> String {
    let found = assess(kind, Regime::Iso, &pairs(attributes), &pairs(measures));
    told(&found.expect_err(&format!("{kind} {attributes} -- {measures} was judged")))
}

fn told(faults: &[AssessFault]) -> String {
    faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}

impl Assessment {
    fn of(&self, criterion: &str) -> &Criterion {
        self.criteria
            .iter()
            .find(|one| one.name == criterion)
            .unwrap_or_else(|| panic!("{criterion}: {self:?}"))
    }

    fn shown(&self, criterion: &str) -> (String, String, String, Verdict) {
        let one = self.of(criterion);
        (one.value_text(), one.limit_text(), one.rating.shown(), one.verdict())
    }

    fn notes(&self) -> String {
        self.notes.join("\n")
    }
}

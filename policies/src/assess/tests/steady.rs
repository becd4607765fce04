//! A worse reading never makes a milder rating, and no more wear an earlier verdict.

use super::*;

/// Combined rating and verdict along readings that grow worse, up to discard.
fn never_milder(kind: &str, attributes: &str, measures: impl Iterator<Item = String>) {
    let mut before = (Percent(Ratio::ZERO), Verdict::Accept);
    let mut steps = 0;
    for measure in measures {
        let found = iso(kind, attributes, &measure);
        let now = (found.combined, found.verdict);
        assert!(now.0 >= before.0 && now.1 >= before.1, "{kind} {measure}: {before:?}, then {now:?}");
        before = now;
        steps += 1;
    }
    assert!(steps > 10, "{kind} {attributes}: {steps} steps");
    assert_eq!(before.1, Verdict::Discard, "{kind} {attributes}");
}

fn falling(name: &'static str, from: i64, to: i64) -> impl Iterator<Item = String> {
    (to..=from).rev().map(move |hundredths| format!("{name}={}.{:02}", hundredths / 100, hundredths % 100))
}

fn rising(name: &'static str, from: i64, to: i64) -> impl Iterator<Item = String> {
    (from..=to).map(move |tenths| format!("{name}={}.{}", tenths / 10, tenths % 10))
}

#[test]
fn severity_grows_with_each_reading() {
    let wire = "nominal_diameter_mm=22 reference_diameter_mm=22.6 core=steel lay=ordinary rope_category=09";
    never_milder("winch wire", wire, falling("diameter_mm", 2290, 1900));
    never_milder("winch wire", wire, (0..40).map(|count| format!("breaks_6d={count}")));
    never_milder("winch wire", wire, (0..40).map(|count| format!("breaks_6d=3 breaks_30d={}", count + 3)));
    never_milder("winch wire", wire, rising("corrosion_percent", 0, 1000));
    let together = |step: i64| {
        let diameter = 2250 - step * 4;
        format!(
            "diameter_mm={}.{:02} breaks_6d={} corrosion_percent={step}",
            diameter / 100,
            diameter % 100,
            step / 5
        )
    };
    never_milder("winch wire", wire, (0..40).map(together));
    never_milder("stopper chain", "nominal_diameter_mm=13", falling("link_diameter_mm", 1410, 800));
    never_milder("stopper chain", "", rising("stretch_percent", 0, 150));
    never_milder("shackle", "body_diameter_mm=19 pin_diameter_mm=22", falling("pin_diameter_mm", 2300, 1400));
    never_milder("release hook", "throat_mm=40", rising("throat_mm", 380, 600));
    never_milder("sheave block", "rope_diameter_mm=16", falling("groove_radius_mm", 1000, 700));
    never_milder("sheave block", "", rising("side_play_mm", 0, 30));
    never_milder("quick-release link", "pin_diameter_mm=22", falling("pin_diameter_mm", 2300, 1400));
    never_milder(
        "drawbar pin",
        "pin_diameter_mm=22 min_pin_diameter_mm=21",
        falling("pin_diameter_mm", 2300, 1400),
    );
    never_milder("drawbar pin", "min_pin_diameter_mm=21", falling("pin_diameter_mm", 2300, 1400));
    never_milder("fairlead", "min_roller_diameter_mm=90", falling("roller_diameter_mm", 10_500, 6000));
    never_milder("skid", "", falling("plate_thickness_mm", 1050, 300));
    never_milder("heaving line", "", rising("section_loss_percent", 0, 200));
}

/// Under either regime the verdict is the worst of its parts, and the combined rating at least the greatest.
#[test]
fn the_verdict_is_the_worst_of_its_parts() {
    for regime in [Regime::Iso, Regime::Us] {
        for lost in 0..20 {
            for breaks in 0..12 {
                let measures = format!(
                    "diameter_mm={}.{} breaks_6d={breaks} breaks_30d={} breaks_in_lay={breaks} corrosion_percent=10",
                    16 - lost / 10 - i32::from(lost % 10 > 0),
                    (10 - lost % 10) % 10,
                    breaks * 2
                );
                let attributes = "nominal_diameter_mm=16 core=steel rope_category=09 lay=ordinary";
                let found = under(regime, "launching fall", attributes, &measures);
                let worst = found.criteria.iter().map(Criterion::verdict).max().unwrap();
                assert!(found.verdict >= worst, "{measures}");
                assert_eq!(found.verdict, found.combined.verdict());
                assert!(found.criteria.iter().all(|one| one.rating <= found.combined));
            }
        }
    }
}

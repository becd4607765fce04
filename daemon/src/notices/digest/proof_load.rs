//! What a test house is asked to do: a proof load with the formula it came from, and what must come back.

use jiff::civil::Date;

use super::setting::{capital, clean, day, escape, page, paragraph, replaces, sentence, wrap};

const STAND_CLEAR: &str = "Stand clear of the line and its bights while the load is on. Use a calibrated gauge. \
    A proof load can damage worn gear, and passing it today says nothing about tomorrow.";

/// What a test house sends back.
pub const RETURN: &str =
    "Return: load reached, gauge serial and calibration date, length before and after, result, name, date.";

/// Figures come as words that were rounded once, where they were reckoned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProofLoadNotice {
    /// `PL-2026-044`
    pub number: String,
    pub to_name: String,
    pub to_address: String,
    pub from_address: String,
    /// Whose gear it is: `Quarle Beach`.
    pub place: String,
    pub as_known: String,
    pub items: Vec<ProofItem>,
    /// `WLL`, or `SWL`.
    pub rated: &'static str,
    pub wll_t: String,
    pub load_t: String,
    pub load_kn: String,
    /// `2 x WLL`
    pub formula: String,
    pub source: String,
    /// One of `law`, `standard`, `common practice`, `house`, and `memory` for a figure still to be checked.
    pub authority: String,
    /// `3 min`
    pub hold: String,
    pub rig_points: Vec<String>,
    /// Parts that must not be pulled as hard.
    pub take_off: Vec<String>,
    /// For wire only.
    pub share: Option<WireShare>,
    /// Empty: none.
    pub prior_proofs: Vec<String>,
    pub witness: Option<String>,
    pub booked_on: Option<Date>,
    pub report_by: Option<Date>,
    pub supersedes: Option<String>,
    /// The notice that it is a copy of, and to whom that went.
    pub copy_of: Option<String>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProofItem {
    pub item: String,
    /// `16 mm 6x36WS-IWRC, finished 34.00 m`
    pub what: String,
    pub certificate: Option<String>,
}

/// What part of the wire's strength the proof load takes up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WireShare {
    pub percent: String,
    pub mbf_kn: String,
    /// Termination factor K.
    pub factor: String,
    /// MBF x K.
    pub strength_kn: String,
}

impl ProofLoadNotice {
    /// Place, state, count and ISO date, as every notice's subject begins.
    pub fn subject(&self) -> String {
        let date = self.report_by.map_or_else(|| "no date".to_owned(), |by| format!("report by {by}"));
        format!(
            "{} - proof load {} t: {}, {date} [{}]",
            clean(&self.place),
            clean(&self.load_t),
            count(self.items.len()),
            clean(&self.number)
        )
    }

    pub fn text(&self) -> String {
        let mut out = wrap("", &self.opening());
        out.push('\n');
        for (at, item) in self.items.iter().enumerate() {
            out.push_str(&wrap(&format!("{}. ", at + 1), &item.words()));
        }
        for said in self.asked() {
            out.push('\n');
            out.push_str(&wrap("", &said));
        }
        out
    }

    pub fn html(&self) -> String {
        let mut body = paragraph(&self.opening());
        body.push_str("<ol>\n");
        for item in &self.items {
            body.extend(["<li>", &escape(&item.words()), "</li>\n"]);
        }
        body.push_str("</ol>\n");
        for said in self.asked() {
            body.push_str(&paragraph(&said));
        }
        page(&self.subject(), &body)
    }

    fn opening(&self) -> String {
        format!(
            "Proof-load notice {} for {}, as known {}.{}{}",
            clean(&self.number),
            clean(&self.place),
            clean(&self.as_known),
            replaces(self.supersedes.as_deref()),
            self.copied()
        )
    }

    fn copied(&self) -> String {
        let copy = self.copy_of.as_ref();
        copy.map_or_else(String::new, |of| format!(" A copy of {}; nothing is asked of you.", clean(of)))
    }

    fn asked(&self) -> Vec<String> {
        let mut said = vec![STAND_CLEAR.to_owned(), self.load()];
        said.extend(self.share.as_ref().map(WireShare::words));
        said.extend(listed("Rig at", &self.rig_points));
        said.extend(listed("Take off before the pull", &self.take_off));
        said.push(
            listed("Prior proofs", &self.prior_proofs).unwrap_or_else(|| "Prior proofs: none.".to_owned()),
        );
        said.extend(self.when());
        said.push(RETURN.to_owned());
        said
    }

    fn load(&self) -> String {
        let authority = match clean(&self.authority).as_str() {
            "memory" => "From memory: check against the current edition".to_owned(),
            "house" => "House policy, not law or a standard".to_owned(),
            "common practice" => "Common practice, not law or a standard".to_owned(),
            other => capital(other),
        };
        format!(
            "{} {} t. Proof load {} t = {} kN ({}). {} Hold {}.",
            self.rated,
            clean(&self.wll_t),
            clean(&self.load_t),
            clean(&self.load_kn),
            clean(&self.formula),
            sentence(&format!("{authority}: {}", clean(&self.source))),
            clean(&self.hold)
        )
    }

    fn when(&self) -> Option<String> {
        let said: Vec<String> = [
            self.booked_on.map(|on| format!("Booked for {}.", day(on))),
            self.report_by.map(|by| format!("Report needed by {}.", day(by))),
            self.witness.as_ref().map(|who| sentence(&format!("Witness: {}", clean(who)))),
        ]
        .into_iter()
        .flatten()
        .collect();
        (!said.is_empty()).then(|| said.join(" "))
    }
}

impl ProofItem {
    fn words(&self) -> String {
        let certificate = self
            .certificate
            .as_ref()
            .map_or_else(String::new, |number| format!(" (certificate {})", clean(number)));
        format!("{} · {}{certificate}", clean(&self.item), clean(&self.what))
    }
}

impl WireShare {
    fn words(&self) -> String {
        format!(
            "That is {} % of {} kN (MBF {} kN x termination factor {}).",
            clean(&self.percent),
            clean(&self.strength_kn),
            clean(&self.mbf_kn),
            clean(&self.factor)
        )
    }
}

fn listed(name: &str, parts: &[String]) -> Option<String> {
    let parts: Vec<String> = parts.iter().map(|part| clean(part)).collect();
    (!parts.is_empty()).then(|| sentence(&format!("{name}: {}", parts.join("; "))))
}

fn count(items: usize) -> String {
    if items == 1 { "1 item".to_owned() } else { format!("{items} items") }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    // The demo's invented pair: WLL 3.2 t, proof 6.4 t = 62.8 kN, 43 % of 145.2 kN.
    fn pair() -> ProofLoadNotice {
        let item = |tag: &str| ProofItem {
            item: tag.into(),
            what: "16 mm 6x36WS-IWRC, finished 34.00 m".into(),
            certificate: Some("DC-7741".into()),
        };
        ProofLoadNotice {
            number: "PL-2026-044".into(),
            to_name: "Test house booking".into(),
            to_address: "booking@testhouse.example".into(),
            from_address: "gear@mcbs.example".into(),
            place: "Quarle Beach".into(),
            as_known: "12 Oct 2026 07:00 (TVST)".into(),
            items: vec![item("P-2026-09a"), item("P-2026-09b")],
            rated: "WLL",
            wll_t: "3.2".into(),
            load_t: "6.4".into(),
            load_kn: "62.8".into(),
            formula: "2 x WLL".into(),
            source: "ILO proof-load steps".into(),
            authority: "memory".into(),
            hold: "3 min".into(),
            rig_points: vec![],
            take_off: vec![],
            share: Some(WireShare {
                percent: "43".into(),
                mbf_kn: "161.3".into(),
                factor: "0.90".into(),
                strength_kn: "145.2".into(),
            }),
            prior_proofs: vec![],
            witness: None,
            booked_on: Some(date(2026, 10, 20)),
            report_by: Some(date(2026, 10, 21)),
            supersedes: None,
            copy_of: None,
        }
    }

    fn flat(text: &str) -> String {
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn the_pair_is_asked_for_with_its_formula_and_what_must_come_back() {
        let text = flat(&pair().text());
        for said in [
            "1. P-2026-09a · 16 mm 6x36WS-IWRC, finished 34.00 m (certificate DC-7741)",
            "WLL 3.2 t. Proof load 6.4 t = 62.8 kN (2 x WLL). From memory: check against the current edition: ILO proof-load steps. Hold 3 min.",
            "That is 43 % of 145.2 kN (MBF 161.3 kN x termination factor 0.90).",
            "Prior proofs: none.",
            "Booked for 20 Oct 2026. Report needed by 21 Oct 2026.",
            "Return: load reached, gauge serial and calibration date",
        ] {
            assert!(text.contains(said), "missing: {said}\nin: {text}");
        }
        assert_eq!(
            pair().subject(),
            "Quarle Beach - proof load 6.4 t: 2 items, report by 2026-10-21 [PL-2026-044]"
        );
    }

    #[test]
    fn a_copy_says_whom_the_notice_asks() {
        let of = "N-2026-0044 to Test House Booking <booking@testhouse.example>".to_owned();
        let text = flat(&ProofLoadNotice { copy_of: Some(of), ..pair() }.text());
        assert!(text.contains(
            "A copy of N-2026-0044 to Test House Booking <booking@testhouse.example>; nothing is asked of you."
        ));
        assert!(!flat(&pair().text()).contains("A copy of"));
    }

    #[test]
    fn the_caution_stands_before_the_load() {
        let text = flat(&pair().text());
        assert!(text.find("Stand clear").unwrap() < text.find("Proof load 6.4 t").unwrap());
    }

    #[test]
    fn html_says_the_same_and_escapes() {
        let notice = ProofLoadNotice { witness: Some("<b>Examiner Two</b>".into()), ..pair() };
        let html = notice.html();
        for said in notice.asked() {
            assert!(html.contains(&escape(&said)), "missing: {said}");
        }
        assert!(html.contains("Witness: &lt;b&gt;Examiner Two&lt;/b&gt;.") && !html.contains("<b>"));
    }
}

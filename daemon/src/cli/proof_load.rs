//! `tallow proof-load`.

use clap::Args;
use policies::proof_load::{Grams, Rating, Regime, proof_load};
use serde_json::json;

use super::say::say;
use super::{Answer, TextFormat};

#[derive(Debug, Args)]
pub(super) struct ProofLoad {
    /// Gear word, such as shackle, chain, single-sheave-block, winch
    #[arg(long)]
    gear: String,
    /// Working load limit in tonnes
    #[arg(long, value_name = "T", allow_negative_numbers = true, required_unless_present = "swl_t")]
    wll_t: Option<String>,
    /// Safe working load in tonnes
    #[arg(long, value_name = "T", allow_negative_numbers = true, conflicts_with = "wll_t")]
    swl_t: Option<String>,
    /// Whose table: ilo, us or canada
    #[arg(long, default_value = "ilo")]
    regime: Regime,
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: TextFormat,
}

impl ProofLoad {
    pub(super) fn run(self) -> anyhow::Result<Answer> {
        let tonnes =
            |text: &str| Grams::from_tonnes(text).map_err(|error| anyhow::anyhow!("\"{text}\": {error}"));
        let rating = match (&self.wll_t, &self.swl_t) {
            (Some(wll), _) => Rating::Wll(tonnes(wll)?),
            (None, Some(swl)) => Rating::Swl(tonnes(swl)?),
            (None, None) => anyhow::bail!("give --wll-t or --swl-t"),
        };
        let found = proof_load(&self.gear, rating, self.regime)?;
        match self.format {
            TextFormat::Text => {
                let rated = rating.mass().tonnes();
                say(format_args!(
                    "{} rated {rated} t: proof load {} t = {} kN\n",
                    self.gear, found.load_t, found.load_kn
                ))?;
                say(format_args!(
                    "{}\n{} ({}, {})\n",
                    found.formula, found.source, found.authority, found.status
                ))?;
                if let Some(note) = found.note {
                    say(format_args!("{note}\n"))?;
                }
                say(format_args!(
                    "Proof loading is for a test house or those trained, with people clear and a calibrated gauge.\n"
                ))?;
            }
            TextFormat::Json => {
                let number = |text: &str| text.parse::<serde_json::Number>();
                let answer = json!({
                    "load_t": number(&found.load_t)?, "load_kn": number(&found.load_kn)?, "formula": found.formula,
                    "source": found.source, "authority": found.authority.to_string(), "status": found.status.to_string(),
                });
                say(format_args!("{}\n", serde_json::to_string_pretty(&answer)?))?;
            }
        }
        Ok(Answer::Done)
    }
}

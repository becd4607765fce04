//! What stores go by: the `[stores]` table of `service.toml`.

use crate::span::Span;

/// Settings of stores. Every default is a house figure.
#[derive(Clone, Debug, PartialEq)]
pub struct Stores {
    /// Chance, in percent, with which stock is to be enough.
    pub service_percent: u32,
    /// From delivery to the shelf: unpacking, certificate, booking in.
    pub book_in: Span,
    /// From the shelf to a piece that can be fitted.
    pub make_up: Span,
    /// From the shelf to a station.
    pub transport: Span,
    /// Stations that keep their own stock, and how long a piece takes to reach them.
    pub isolated: Vec<Isolated>,
    /// What is held of random discards before the fleet's own are counted.
    pub discards: DiscardPrior,
    /// What a cut takes beyond the finished length: terminations, seizing; millimetres.
    pub cut_allowance_mm: u64,
    /// What the saw takes with each cut; millimetres.
    pub saw_loss_mm: u64,
    /// Share of the use that is exercises, which may be called off; percent.
    pub exercise_percent: u32,
}

/// A station that no pool serves in time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Isolated {
    /// Slug.
    pub station: String,
    /// From the central stores to it.
    pub transport: Span,
    /// Kinds of which it keeps its own; all of them where none is named.
    pub keeps: Vec<String>,
}

/// So many random discards in so many years that one piece of gear hangs in service.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DiscardPrior {
    /// Discards.
    pub discards: f64,
    /// Years.
    pub years: f64,
    /// Whether the fleet's own are counted on top.
    pub learn: bool,
}

impl Default for Stores {
    fn default() -> Stores {
        Stores {
            service_percent: 95,
            book_in: Span::days(7),
            make_up: Span::ZERO,
            transport: Span::ZERO,
            isolated: Vec::new(),
            discards: DiscardPrior { discards: 4.0, years: 56.0, learn: true },
            cut_allowance_mm: 1_600,
            saw_loss_mm: 50,
            exercise_percent: 45,
        }
    }
}

impl Stores {
    /// From the shelf to a station, whoever keeps its stock.
    pub fn transport_to(&self, station: &str) -> Span {
        let far = self.isolated.iter().find(|isolated| isolated.station == station);
        far.map_or(self.transport, |isolated| isolated.transport)
    }

    /// How a station is reached that keeps its own stock of a kind; none for one that the pool serves.
    pub fn isolated(&self, station: &str, kind: &str) -> Option<&Isolated> {
        let keeps =
            |isolated: &&Isolated| isolated.keeps.is_empty() || isolated.keeps.iter().any(|own| own == kind);
        self.isolated.iter().find(|isolated| isolated.station == station).filter(keeps)
    }
}

//! Which lengths to cut from which drum. Both wires of a pair come from one drum; all is cut if it can be; then as many
//! whole pairs as can be are left for later; then the least scrap; then the oldest drum gives first.
//!
//! The answer is exact. Drums are taken oldest first; a state is a drum and what is still to be cut, and each is solved
//! once, so that a cutting of up to [`STATES`] states (ten drums and two sizes of pairs and two of single lengths, eight
//! of each, are 59,049) is searched whole. Within a state a branch is left as soon as the most that it could come to
//! does not beat the best known. Lengths are whole millimetres.

use std::collections::HashMap;

use jiff::civil::Date;

/// A larger cutting is refused: cut it in two lists.
pub const STATES: u64 = 400_000;

/// Needs as likely as this are cut for (house).
pub const LIKELY: f64 = 0.5;

/// What needs ask for, each with its chance and its wires, beyond what is cut already, by the wires of each set: a pair
/// comes off one drum, whatever else is renewed together is so many single lengths.
pub fn wanted(
    needs: impl IntoIterator<Item = (f64, u64)>,
    ready: impl IntoIterator<Item = u64>,
    cut_mm: u64,
) -> Vec<Wanted> {
    let (mut pairs, mut singles) = (0_u64, 0_u64);
    for (_, wires) in needs.into_iter().filter(|(chance, _)| *chance >= LIKELY) {
        if wires == 2 { pairs += 1 } else { singles += wires }
    }
    for wires in ready {
        if wires == 2 { pairs = pairs.saturating_sub(1) } else { singles = singles.saturating_sub(wires) }
    }
    let all = [(2, pairs), (1, singles)].map(|(wires, count)| Wanted { cut_mm, wires, count });
    all.into_iter().filter(|wanted| wanted.count > 0).collect()
}

/// The same lengths as one, pairs first.
pub fn together(wanted: impl IntoIterator<Item = Wanted>) -> Vec<Wanted> {
    let mut all: Vec<Wanted> = Vec::new();
    for one in wanted {
        match all.iter_mut().find(|have| (have.cut_mm, have.wires) == (one.cut_mm, one.wires)) {
            Some(have) => have.count += one.count,
            None => all.push(one),
        }
    }
    all.sort_by_key(|one| std::cmp::Reverse(one.wires));
    all
}

/// Wire on a drum.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Drum {
    /// Tag.
    pub tag: String,
    /// What is on it.
    pub length_mm: u64,
    /// Made on; what has no date counts as the oldest.
    pub made: Option<Date>,
}

/// Lengths to be cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// What is cut off for one wire, allowance included.
    pub cut_mm: u64,
    /// Wires that must come from one drum: two of a pair, one else.
    pub wires: u64,
    /// How many such.
    pub count: u64,
}

/// What to cut and how.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Job {
    /// Drums of one wire.
    pub drums: Vec<Drum>,
    /// What is wanted.
    pub wanted: Vec<Wanted>,
    /// Lost with each cut.
    pub saw_mm: u64,
    /// A pair of later days, as one wire of it: pairs left are counted in these.
    pub later_mm: u64,
    /// What is shorter is scrap: no wire of the service can be made of it.
    pub useful_mm: u64,
}

/// What one drum gives.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FromDrum {
    /// Tag.
    pub tag: String,
    /// How many of each wanted length.
    pub counts: Vec<u64>,
    /// What is left on it.
    pub left_mm: u64,
}

/// A cutting.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cutting {
    /// Drum by drum, oldest first.
    pub drums: Vec<FromDrum>,
    /// Of each wanted length, how many could not be cut.
    pub short: Vec<u64>,
    /// Whole pairs left for later.
    pub pairs_left: u64,
    /// Scrap.
    pub scrap_mm: u64,
}

/// Why there is no cutting.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoCutting {
    /// A length of nought.
    #[error("a length of 0 cannot be cut")]
    Nothing,
    /// More than can be searched whole.
    #[error("these are too many drums and lengths to find the best cutting of; cut them in two lists")]
    TooMany,
}

/// What a way of cutting is worth, most important first: wires cut, their length, pairs left, less scrap.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
struct Worth {
    wires: u64,
    cut_mm: u64,
    pairs_left: u64,
    /// Below nought.
    less_scrap: i64,
}

impl Worth {
    fn and(self, other: Worth) -> Worth {
        Worth {
            wires: self.wires + other.wires,
            cut_mm: self.cut_mm + other.cut_mm,
            pairs_left: self.pairs_left + other.pairs_left,
            less_scrap: self.less_scrap + other.less_scrap,
        }
    }
}

/// Of a state: what it comes to at best, and what its first drum gives for that.
type Best = (Worth, Vec<u64>);

struct Search<'j> {
    job: &'j Job,
    drums: Vec<&'j Drum>,
    known: HashMap<(usize, Vec<u64>), Best>,
}

/// The best cutting.
///
/// # Errors
/// A length of nought, or more than can be searched whole.
pub fn best(job: &Job) -> Result<Cutting, NoCutting> {
    if job.later_mm == 0 || job.wanted.iter().any(|wanted| wanted.cut_mm == 0 || wanted.wires == 0) {
        return Err(NoCutting::Nothing);
    }
    let drums = u64::try_from(job.drums.len()).unwrap_or(u64::MAX);
    let states = job.wanted.iter().fold(drums, |states, wanted| states.saturating_mul(wanted.count + 1));
    if states > STATES {
        return Err(NoCutting::TooMany);
    }
    let mut drums: Vec<&Drum> = job.drums.iter().collect();
    drums.sort_by(|a, b| (a.made, &a.tag).cmp(&(b.made, &b.tag)));
    let mut search = Search { job, drums, known: HashMap::new() };
    Ok(search.cutting())
}

impl Search<'_> {
    fn cutting(&mut self) -> Cutting {
        let mut open: Vec<u64> = self.job.wanted.iter().map(|wanted| wanted.count).collect();
        let mut found = Cutting { drums: Vec::new(), short: Vec::new(), pairs_left: 0, scrap_mm: 0 };
        for at in 0..self.drums.len() {
            let (_, counts) = self.solve(at, &open);
            let left = self.drums[at].length_mm - self.taken(&counts);
            for (open, cut) in open.iter_mut().zip(&counts) {
                *open -= cut;
            }
            found.pairs_left += self.pairs_in(left);
            found.scrap_mm += self.scrap(left);
            found.drums.push(FromDrum { tag: self.drums[at].tag.clone(), counts, left_mm: left });
        }
        found.short = open;
        found
    }

    /// The best of the drums from `at` on, of what is still open.
    fn solve(&mut self, at: usize, open: &[u64]) -> Best {
        if at == self.drums.len() {
            return (Worth::default(), Vec::new());
        }
        let key = (at, open.to_vec());
        if let Some(best) = self.known.get(&key) {
            return best.clone();
        }
        let mut best: Option<Best> = None;
        for counts in self.choices(self.drums[at].length_mm, open) {
            let own = self.worth(self.drums[at].length_mm, &counts);
            let rest: Vec<u64> = open.iter().zip(&counts).map(|(open, cut)| open - cut).collect();
            if best.as_ref().is_some_and(|(known, _)| own.and(self.at_most(at + 1, &rest)) <= *known) {
                continue;
            }
            let all = own.and(self.solve(at + 1, &rest).0);
            if best.as_ref().is_none_or(|(known, _)| all > *known) {
                best = Some((all, counts));
            }
        }
        let best = best.unwrap_or_default();
        self.known.insert(key, best.clone());
        best
    }

    /// What the drums from `at` on cannot exceed: all that is open is cut, for no length, and no scrap.
    fn at_most(&self, at: usize, open: &[u64]) -> Worth {
        let wanted = || open.iter().zip(&self.job.wanted);
        Worth {
            wires: wanted().map(|(open, wanted)| open * wanted.wires).sum(),
            cut_mm: wanted().map(|(open, wanted)| open * wanted.wires * wanted.cut_mm).sum(),
            pairs_left: self.drums[at..].iter().map(|drum| self.pairs_in(drum.length_mm)).sum(),
            less_scrap: 0,
        }
    }

    /// Every way to cut one drum, the longest cut first: what ties is cut from the older drum.
    fn choices(&self, length: u64, open: &[u64]) -> Vec<Vec<u64>> {
        let mut all = vec![Vec::with_capacity(open.len())];
        for (open, wanted) in open.iter().zip(&self.job.wanted) {
            let each = wanted.wires * (wanted.cut_mm + self.job.saw_mm);
            let extended = all.iter().flat_map(|counts: &Vec<u64>| {
                let most = ((length - self.taken(counts)) / each).min(*open);
                (0..=most).map(move |more| counts.iter().copied().chain([more]).collect())
            });
            all = extended.collect();
        }
        all.sort_by_key(|counts| std::cmp::Reverse(self.taken(counts)));
        all
    }

    fn taken(&self, counts: &[u64]) -> u64 {
        let each =
            |(count, wanted): (&u64, &Wanted)| count * wanted.wires * (wanted.cut_mm + self.job.saw_mm);
        counts.iter().zip(&self.job.wanted).map(each).sum()
    }

    fn worth(&self, length: u64, counts: &[u64]) -> Worth {
        let cut = || counts.iter().zip(&self.job.wanted);
        let left = length - self.taken(counts);
        Worth {
            wires: cut().map(|(count, wanted)| count * wanted.wires).sum(),
            cut_mm: cut().map(|(count, wanted)| count * wanted.wires * wanted.cut_mm).sum(),
            pairs_left: self.pairs_in(left),
            less_scrap: -i64::try_from(self.scrap(left)).unwrap_or(i64::MAX),
        }
    }

    fn pairs_in(&self, left: u64) -> u64 {
        left / (2 * (self.job.later_mm + self.job.saw_mm))
    }

    fn scrap(&self, left: u64) -> u64 {
        if left < self.job.useful_mm { left } else { 0 }
    }
}

#[cfg(test)]
mod tests;

use jiff::civil::date;

use super::*;
use crate::odds_trial::Draw;

fn drum(tag: &str, length_mm: u64, year: i16) -> Drum {
    Drum { tag: tag.to_owned(), length_mm, made: Some(date(year, 1, 1)) }
}

fn pairs(cut_mm: u64, count: u64) -> Wanted {
    Wanted { cut_mm, wires: 2, count }
}

fn loft() -> Vec<Drum> {
    vec![drum("D-124", 250_000, 2026), drum("D-118", 46_200, 2024), drum("D-121", 112_000, 2025)]
}

/// Two pairs and a wire that are likely, another that is not; three that go together are three lengths.
#[test]
fn likely_needs_are_cut_for() {
    let cut = |wires, count| Wanted { cut_mm: 35_600, wires, count };
    let likely = [(0.9, 2), (1.0, 1), (0.5, 2), (0.49, 1)];
    assert_eq!(wanted(likely, [], 35_600), [cut(2, 2), cut(1, 1)]);
    assert_eq!(wanted([(0.9, 3)], [], 35_600), [cut(1, 3)]);
    assert!(wanted([(0.1, 2)], [], 35_600).is_empty());
    // What lies cut is not cut again; more than is wanted makes nothing negative.
    assert_eq!(wanted(likely, [2], 35_600), [cut(2, 1), cut(1, 1)]);
    assert_eq!(wanted(likely, [2, 2, 2, 1], 35_600), []);
}

/// A pair that lies cut at one place is not taken off what another place wants: each is counted by itself, then added.
#[test]
fn places_are_added_up_one_by_one() {
    let far = wanted([], [2], 35_600);
    let pool = wanted([(1.0, 2), (1.0, 1)], [], 35_600);
    let cut = |wires, count| Wanted { cut_mm: 35_600, wires, count };
    assert_eq!(together(far.into_iter().chain(pool.clone()).chain(pool)), [cut(2, 2), cut(1, 2)]);
}

/// domain brief 4.15 A: two LC-2 pairs of 71.2 m (saw loss left out). D-118 cannot make one; one from D-121 and one from
/// D-124 leaves 46.2, 40.8 and 178.8, two more pairs, as both from D-124 would: the older drum gives.
#[test]
fn two_pairs_of_the_brief() {
    let job =
        Job { drums: loft(), wanted: vec![pairs(35_600, 2)], saw_mm: 0, later_mm: 35_600, useful_mm: 28_600 };
    let cutting = best(&job).unwrap();
    let told: Vec<_> = cutting.drums.iter().map(|drum| (&*drum.tag, drum.counts[0], drum.left_mm)).collect();
    assert_eq!(told, [("D-118", 0, 46_200), ("D-121", 1, 40_800), ("D-124", 1, 178_800)]);
    assert_eq!((cutting.pairs_left, cutting.scrap_mm, cutting.short), (2, 0, vec![0]));
}

/// domain brief 4.15 B: 14 mm drum of 200 m: two LC-1 pairs at 57.2 m and ten strops at 7.2 m are 186.4 m and 14 cuts of
/// 50 mm: 12.9 m are left, one strop more.
#[test]
fn strops_of_the_brief() {
    let wanted = vec![pairs(28_600, 2), Wanted { cut_mm: 7_200, wires: 1, count: 10 }];
    let drums = vec![drum("D-130", 200_000, 2026)];
    let job = Job { drums, wanted, saw_mm: 50, later_mm: 28_600, useful_mm: 7_250 };
    let cutting = best(&job).unwrap();
    assert_eq!((cutting.drums[0].left_mm, &*cutting.short), (12_900, &[0, 0][..]));
    let more = Job { wanted: vec![job.wanted[0], Wanted { count: 12, ..job.wanted[1] }], ..job };
    assert_eq!(best(&more).unwrap().short, [0, 1]);
}

#[test]
fn what_cannot_be_cut_is_short_and_too_much_is_refused() {
    let job =
        Job { drums: loft(), wanted: vec![pairs(60_000, 3)], saw_mm: 50, later_mm: 35_600, useful_mm: 0 };
    assert_eq!(best(&job).unwrap().short, [1]);
    assert_eq!(best(&Job { wanted: vec![pairs(0, 1)], ..job.clone() }), Err(NoCutting::Nothing));
    assert_eq!(best(&Job { wanted: vec![pairs(1, 200_000)], ..job }), Err(NoCutting::TooMany));
}

/// Every way to spread the lengths over the drums, one by one.
fn exhaustive(job: &Job) -> Worth {
    fn spread(job: &Job, left: &mut Vec<u64>, at: usize, given: u64, cut: Worth, best: &mut Option<Worth>) {
        let Some(wanted) = job.wanted.get(at) else {
            let pair = 2 * (job.later_mm + job.saw_mm);
            let scrap: u64 = left.iter().filter(|left| **left < job.useful_mm).sum();
            let pairs_left = left.iter().map(|left| left / pair).sum();
            let all = Worth { pairs_left, less_scrap: -i64::try_from(scrap).unwrap(), ..cut };
            *best = (*best).max(Some(all));
            return;
        };
        if given == wanted.count {
            return spread(job, left, at + 1, 0, cut, best);
        }
        // This one is not cut, nor any more of its size.
        spread(job, left, at + 1, 0, cut, best);
        let takes = wanted.wires * (wanted.cut_mm + job.saw_mm);
        for drum in 0..left.len() {
            if left[drum] >= takes {
                left[drum] -= takes;
                let more =
                    Worth { wires: wanted.wires, cut_mm: wanted.wires * wanted.cut_mm, ..Worth::default() };
                spread(job, left, at, given + 1, cut.and(more), best);
                left[drum] += takes;
            }
        }
    }
    let mut best = None;
    let mut left = job.drums.iter().map(|drum| drum.length_mm).collect();
    spread(job, &mut left, 0, 0, Worth::default(), &mut best);
    best.unwrap()
}

fn draw_job(draw: &mut Draw) -> Job {
    let mut drums = Vec::new();
    for at in 0..=draw.below(3) {
        drums.push(drum(&format!("D-{at}"), 5_000 * u64::from(draw.below(50)) + 700, 2020 + (at % 3) as i16));
    }
    let sizes = [28_600, 35_600, 7_200, 12_000];
    let mut wanted = Vec::new();
    for _ in 0..=draw.below(2) {
        let wires = 1 + u64::from(draw.below(2));
        wanted.push(Wanted { cut_mm: sizes[draw.below(4) as usize], wires, count: u64::from(draw.below(4)) });
    }
    let later_mm = sizes[draw.below(2) as usize];
    Job { drums, wanted, saw_mm: 50 * u64::from(draw.below(3)), later_mm, useful_mm: 7_250 }
}

/// 1,000 random small cuttings against every way there is.
#[test]
fn as_good_as_every_way_tried() {
    let mut draw = Draw::new(20_261_012);
    for case in 0..1_000 {
        let job = draw_job(&mut draw);
        let found = best(&job).unwrap();
        let wanted = job.wanted.iter().zip(&found.short);
        let cut = wanted.clone().map(|(wanted, short)| (wanted.count - short) * wanted.wires).sum();
        let length =
            wanted.map(|(wanted, short)| (wanted.count - short) * wanted.wires * wanted.cut_mm).sum();
        let scrap = -i64::try_from(found.scrap_mm).unwrap();
        let worth = Worth { wires: cut, cut_mm: length, pairs_left: found.pairs_left, less_scrap: scrap };
        assert_eq!(worth, exhaustive(&job), "case {case}: {job:?} {found:?}");
    }
}

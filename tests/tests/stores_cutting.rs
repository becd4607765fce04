//! Cutting drums, against a mixed-integer program written apart: the same wires, lengths, pairs left and scrap.

#![allow(clippy::unwrap_used, reason = "tests")]

use good_lp::{Expression, ProblemVariables, Solution, SolverModel, Variable, constraint, microlp, variable};
use policies::odds_trial::Draw;
use policies::stores::cutting::{Drum, Job, Wanted, best};

const CASES: u32 = 500;

/// Metres, as the program reckons.
fn metres(millimetres: u64) -> f64 {
    f64::from(u32::try_from(millimetres).unwrap()) / 1000.0
}

/// What a cutting comes to: wires, metres cut, pairs left, metres of scrap.
type Worth = [f64; 4];

struct Program {
    variables: ProblemVariables,
    goals: [Expression; 4],
    constraints: Vec<good_lp::Constraint>,
}

/// Counts by drum and length; pairs left by drum; scrap by drum, which is what is left unless that is useful.
fn program(job: &Job) -> Program {
    let mut variables = ProblemVariables::new();
    let mut goals: [Expression; 4] = std::array::from_fn(|_| Expression::from(0.0));
    let mut constraints = Vec::new();
    let mut cut: Vec<Expression> = job.wanted.iter().map(|_| Expression::from(0.0)).collect();
    for drum in &job.drums {
        let length = metres(drum.length_mm);
        let mut left = Expression::from(length);
        for (wanted, cut) in job.wanted.iter().zip(&mut cut) {
            let wires = metres(1000 * wanted.wires);
            let count: Variable = variables.add(variable().integer().min(0).max(metres(1000 * wanted.count)));
            left -= count * (wires * metres(wanted.cut_mm + job.saw_mm));
            goals[0] += count * wires;
            goals[1] += count * (wires * metres(wanted.cut_mm));
            *cut += count;
        }
        let pairs: Variable = variables.add(variable().integer().min(0).max(1000));
        let useful: Variable = variables.add(variable().binary());
        let scrap: Variable = variables.add(variable().min(0).max(length));
        constraints.push(constraint!(left.clone() >= 0.0));
        constraints
            .push(constraint!(left.clone() - pairs * (2.0 * metres(job.later_mm + job.saw_mm)) >= 0.0));
        constraints.push(constraint!(left.clone() - useful * metres(job.useful_mm) >= 0.0));
        constraints.push(constraint!(scrap - left.clone() + useful * length >= 0.0));
        goals[2] += pairs;
        goals[3] -= scrap;
    }
    for (wanted, cut) in job.wanted.iter().zip(cut) {
        constraints.push(constraint!(cut <= metres(1000 * wanted.count)));
    }
    Program { variables, goals, constraints }
}

/// Goal by goal: each is made as large as the ones before it allow.
fn solved(job: &Job) -> Worth {
    let mut found: Vec<f64> = Vec::new();
    for goal in 0..4 {
        let made = program(job);
        let mut model = made.variables.maximise(made.goals[goal].clone()).using(microlp);
        for constraint in made.constraints {
            model.add_constraint(constraint);
        }
        for (earlier, value) in made.goals.iter().zip(&found) {
            model.add_constraint(constraint!(earlier.clone() >= *value - 1e-5));
        }
        let solution = model.solve().unwrap();
        found.push(solution.eval(made.goals[goal].clone()));
    }
    [found[0], found[1], found[2], -found[3]]
}

fn ours(job: &Job) -> Worth {
    let cutting = best(job).unwrap();
    let wanted = || job.wanted.iter().zip(&cutting.short);
    let wires = wanted().map(|(wanted, short)| wanted.wires * (wanted.count - short)).sum::<u64>();
    let cut = wanted().map(|(wanted, short)| wanted.wires * wanted.cut_mm * (wanted.count - short)).sum();
    [metres(1000 * wires), metres(cut), metres(1000 * cutting.pairs_left), metres(cutting.scrap_mm)]
}

fn draw_job(draw: &mut Draw) -> Job {
    let mut number = |below: u32| u64::from(draw.below(below));
    let sizes = [28_600, 35_600, 7_200, 12_000];
    let size = |at: u64| sizes[usize::try_from(at).unwrap()];
    let drums = 1 + number(3);
    let drums =
        (0..drums).map(|at| Drum { tag: format!("D-{at}"), length_mm: 5_000 * number(50) + 700, made: None });
    let drums = drums.collect();
    let kinds = 1 + number(2);
    let wanted = (0..kinds)
        .map(|_| Wanted { cut_mm: size(number(4)), wires: 1 + number(2), count: number(5) })
        .collect();
    Job { drums, wanted, saw_mm: 50 * number(3), later_mm: size(number(2)), useful_mm: 7_250 }
}

#[test]
fn five_hundred_random_cuttings_are_as_good_as_the_programs() {
    let mut draw = Draw::new(118_121_124);
    for case in 0..CASES {
        let job = draw_job(&mut draw);
        let (ours, theirs) = (ours(&job), solved(&job));
        for (goal, (own, other)) in ours.iter().zip(&theirs).enumerate() {
            assert!((own - other).abs() < 1e-3, "case {case}, goal {goal}: {ours:?} {theirs:?} {job:?}");
        }
    }
}

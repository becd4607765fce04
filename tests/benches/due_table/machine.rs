//! CPU time and memory of this process, as `/proc` tells them.

use std::fs;

/// CPU seconds of every living thread. The kernel brings a thread's account up to date when it yields.
pub fn cpu_seconds() -> f64 {
    std::thread::yield_now();
    let tasks = fs::read_dir("/proc/self/task").into_iter().flatten().flatten();
    let spent = tasks.filter_map(|task| {
        let text = fs::read_to_string(task.path().join("schedstat")).ok()?;
        text.split(' ').next()?.parse::<u64>().ok()
    });
    std::time::Duration::from_nanos(spent.sum()).as_secs_f64()
}

/// CPU seconds that a piece of work takes, and what it answers.
pub fn timed<T>(work: impl FnOnce() -> T) -> (f64, T) {
    let before = cpu_seconds();
    let answer = work();
    (cpu_seconds() - before, answer)
}

/// Sorts the runs.
pub fn median(runs: &mut [f64]) -> f64 {
    runs.sort_by(f64::total_cmp);
    runs[runs.len() / 2]
}

/// Peak memory in MiB.
pub fn peak_mib() -> u64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kib = peak.and_then(|text| text.split_whitespace().next()?.parse::<u64>().ok());
    kib.unwrap_or_default() / 1024
}

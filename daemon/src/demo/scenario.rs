mod chance;
mod coast;
mod outings;
pub fn register() -> std::collections::BTreeMap<&'static str, String> {
    for s in &coast::STATIONS {
        let o = outings::outings(s);
        println!("{} {} {} {}", s.code, o.len(), o.iter().filter(|o| o.recovery.is_some()).count(), o.iter().map(|o| o.pulls).sum::<u32>());
        let ov = o.windows(2).filter(|w| w[0].recovery.is_some_and(|r| r >= w[1].launch)).count();
        let c = |p| o.iter().filter(|o| o.purpose == p).count();
        println!("  overlaps {ov} ex {} sv {} test {}", c(outings::Purpose::Exercise), c(outings::Purpose::Service), c(outings::Purpose::Test));
    }
    Default::default()
}

//! The large fleet as the CSV files of a register. Only a POSIX time zone needs quotes, for its commas.

use super::gear::{self, ItemRow, METERS};
use super::policy_text::{RULES, policy_files};
use super::{Size, records};
use jiff::Timestamp;
use policies::amount::Amount;
use policies::zone::When;
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;

pub fn write(size: &Size, folder: &Path) -> std::io::Result<()> {
    fs::create_dir_all(folder.join("policies"))?;
    for (name, text) in policy_files(size) {
        fs::write(folder.join("policies").join(name), text)?;
    }
    let items = gear::items(size);
    stations(size, sheet(folder, "stations.csv")?)?;
    write_items(size, &items, sheet(folder, "items.csv")?)?;
    fittings(size, &items, sheet(folder, "fittings.csv")?)?;
    usage(size, &items, sheet(folder, "usage.csv")?)?;
    work(size, &items, sheet(folder, "work.csv")?)
}

fn sheet(folder: &Path, name: &str) -> std::io::Result<BufWriter<File>> {
    Ok(BufWriter::with_capacity(1 << 20, File::create(folder.join(name))?))
}

fn stations(size: &Size, mut out: impl Write) -> std::io::Result<()> {
    writeln!(out, "station,name,time_zone,latitude,longitude")?;
    for row in gear::stations(size) {
        writeln!(out, "{},{},\"{}\",{},0", row.slug, row.name, row.zone, row.latitude)?;
    }
    out.flush()
}

fn write_items(size: &Size, items: &[ItemRow], mut out: impl Write) -> std::io::Result<()> {
    let stations = gear::stations(size);
    writeln!(out, "item,kind,station,manufactured_on,entered_service_on,wll_t")?;
    for row in items {
        let station = &stations[row.station as usize].slug;
        let load = row.wll_tenths.map(|tenths| Amount::from_millionths(tenths * 100_000).to_string());
        let load = load.unwrap_or_default();
        writeln!(out, "{},{},{station},{},{},{load}", row.tag, row.kind, row.made, row.entered)?;
    }
    out.flush()
}

fn fittings(size: &Size, items: &[ItemRow], mut out: impl Write) -> std::io::Result<()> {
    writeln!(out, "item,fitted_at,host,position,removed_at")?;
    for row in records::fittings(size, items) {
        let (item, host) = (&items[row.item as usize].tag, &items[row.host as usize].tag);
        let removed = row.removed.map(time).unwrap_or_default();
        writeln!(out, "{item},{},{host},{},{removed}", time(row.fitted), row.position)?;
    }
    out.flush()
}

fn usage(size: &Size, items: &[ItemRow], mut out: impl Write) -> std::io::Result<()> {
    writeln!(out, "key,host,at,meter,count,reading")?;
    let mut key = 0;
    let mut written = Ok(());
    records::each_use(size, |row| {
        if written.is_err() {
            return;
        }
        key += 1;
        let (host, meter) = (&items[row.host as usize].tag, METERS[row.meter]);
        let (count, reading) = match row.reading {
            Some(reading) => (String::new(), Amount::from_millionths(reading).to_string()),
            None => (Amount::from_millionths(row.amount).to_string(), String::new()),
        };
        written = writeln!(out, "u{key},{host},{},{meter},{count},{reading}", time(row.at));
    });
    written?;
    out.flush()
}

fn work(size: &Size, items: &[ItemRow], mut out: impl Write) -> std::io::Result<()> {
    writeln!(out, "key,item,rule,done_at,outcome")?;
    for (key, row) in (1..).zip(records::works(size, items)) {
        let done_at = match row.when {
            When::Day(day) => day.to_string(),
            When::At(at) => at.timestamp().to_string(),
        };
        let (item, rule) = (&items[row.item as usize].tag, RULES[row.rule].id);
        writeln!(out, "w{key},{item},{rule},{done_at},{}", if row.passed { "done" } else { "failed" })?;
    }
    out.flush()
}

fn time(second: i64) -> String {
    Timestamp::from_second(second).map(|at| at.to_string()).unwrap_or_default()
}

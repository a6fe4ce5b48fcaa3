//! Vehicles of one kind one after the other: pulls needed, the first against the tenth.
//!
//! `cargo bench -p baytrim-estimate --bench fleet -- [--fleets N] [--first-seed S] [--vehicles N] [--level PERCENT]
//! [--shape PERCENT] [--rms PERCENT] [--need PERCENT] [--outlier PERCENT] [--share SHARE] [--pull mixed|ride|holds]
//! [--alone]`
//!
//! Each fleet is a kind drawn from its seed; its vehicles share base table, exhaust and film, and differ in need by
//! `--level` (all nodes alike) and `--shape` (over parts of the table), standard deviations. Two bays of the shop, with
//! biases of their own, take turns. Every vehicle is driven until the stop rule expects `--share` of the used nodes
//! within 3 % of target, eight pulls at the most. `--rms` and `--need`: what the kind's base table lacks, by root mean
//! square over the table, and so much more everywhere. `--outlier`: the last vehicle needs so much more fuel everywhere.
//! `--alone`: no vehicle learns from another. Sizes were set on seeds from 2001; report on seeds from 3001.
#![expect(clippy::print_stdout, reason = "a bench prints its table")]

mod print;
mod vehicle;

use baytrim_testkit::drive::PullKind;

use crate::print::print;
use crate::vehicle::{Fleet, Outcome};

/// What is measured.
#[derive(Debug, Clone)]
pub(crate) struct Arguments {
    fleets: u64,
    first_seed: u64,
    vehicles: usize,
    level: f64,
    shape: f64,
    outlier: f64,
    need: f64,
    rms: f64,
    share: f64,
    pull: PullKind,
    alone: bool,
}

fn arguments() -> Arguments {
    let mut parsed = Arguments {
        fleets: 20,
        first_seed: 3001,
        vehicles: 10,
        level: 1.5,
        shape: 1.5,
        outlier: 0.0,
        need: 0.0,
        rms: 6.0,
        share: 0.9,
        pull: PullKind::Mixed,
        alone: false,
    };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut next = || words.next().unwrap_or_default();
        match word.as_str() {
            "--fleets" => parsed.fleets = next().parse().unwrap_or(parsed.fleets),
            "--first-seed" => parsed.first_seed = next().parse().unwrap_or(parsed.first_seed),
            "--vehicles" => parsed.vehicles = next().parse().unwrap_or(parsed.vehicles),
            "--level" => parsed.level = next().parse().unwrap_or(parsed.level),
            "--shape" => parsed.shape = next().parse().unwrap_or(parsed.shape),
            "--rms" => parsed.rms = next().parse().unwrap_or(parsed.rms),
            "--need" => parsed.need = next().parse().unwrap_or(parsed.need),
            "--share" => parsed.share = next().parse().unwrap_or(parsed.share),
            "--outlier" => parsed.outlier = next().parse().unwrap_or(parsed.outlier),
            "--pull" => {
                parsed.pull = match next().as_str() {
                    "ride" => PullKind::Ride,
                    "holds" => PullKind::Holds,
                    _ => PullKind::Mixed,
                }
            }
            "--alone" => parsed.alone = true,
            _ => {}
        }
    }
    parsed
}

fn main() {
    let arguments = arguments();
    let seeds = arguments.first_seed..arguments.first_seed + arguments.fleets;
    let fleets: Vec<Vec<Outcome>> = seeds
        .map(|seed| Fleet::new(seed, &arguments).run())
        .collect();
    println!("{arguments:?}");
    print(&fleets);
}

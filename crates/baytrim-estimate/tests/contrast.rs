//! What a fit leaves over between bays, and between an opening and a closing throttle.
#![expect(clippy::print_stdout, reason = "the test prints what it measured")]

use baytrim_estimate::contrast::{film_meter, pull_contrast};
use baytrim_estimate::{FitSettings, Posterior, PullContext, PullEvidence, fit_whole, read_pull};
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

/// Returns the fit of two pulls in each of two bays, the second of which reads `bias_percent` leaner.
fn fitted(seed: u64, bias_percent: f64) -> (EngineTruth, Vec<PullEvidence>, Posterior) {
    let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
    let spec = truth.job_spec("bays".parse().expect("a name"));
    let trim = vec![0.0; truth.axes.node_count()];
    let context = PullContext::of_job(&spec, &trim);
    let pulls: Vec<_> = (0..4)
        .map(|pull| {
            let bay = BayOptions {
                bias_percent: if pull < 2 { 0.0 } else { bias_percent },
                ..BayOptions::from_seed(seed * 2 + pull / 2)
            };
            let table = &truth.table.values;
            let log = simulate(&truth, table, PullKind::Mixed, seed * 10 + pull, &bay);
            let reading = read_pull(&log.samples, &context).expect("shapes fit");
            reading.evidence
        })
        .collect();
    let all: Vec<_> = pulls.iter().collect();
    let settings = FitSettings::default();
    let (_, posterior) = fit_whole(&truth.axes, &all, &settings).expect("solvable");
    (truth, pulls, posterior)
}

/// If this fails, a bay whose sensor reads lean is taken for sound, or a sound one is blamed.
#[test]
fn a_bay_that_reads_lean_is_told_with_its_error() {
    let group = [false, false, true, true];
    let mut square = 0.0;
    let engines = 6;
    for seed in 141..141 + engines {
        for bias_percent in [0.0, 3.0] {
            let (_, pulls, posterior) = fitted(seed, bias_percent);
            let pulls: Vec<_> = pulls.iter().collect();
            let found = pull_contrast(&pulls, &posterior, &group).expect("the bays meet");
            let off = 100.0 * found.difference - bias_percent;
            let error = 100.0 * found.standard_error;
            println!("seed {seed}, {bias_percent} %: off by {off:.2} of {error:.2} %");
            square += (off / error).powi(2);
            assert!(error < 1.5, "{error}");
        }
    }
    let root = (square / (2 * engines) as f64).sqrt();
    assert!(root < 1.8, "errors are {root} of what is stated");
    let (_, pulls, posterior) = fitted(141, 0.0);
    let pulls: Vec<_> = pulls.iter().collect();
    assert!(pull_contrast(&pulls, &posterior, &[true; 4]).is_none());
    assert!(pull_contrast(&pulls, &posterior, &[false; 4]).is_none());
}

/// If this fails, an engine whose film is understood is said to disagree with itself.
#[test]
fn tip_in_and_tip_out_agree_where_the_film_is_understood() {
    let (mut bands, mut square) = (0.0, 0.0);
    for seed in 151..155 {
        let (truth, _, posterior) = fitted(seed, 0.0);
        for band in film_meter(&truth.axes, &posterior) {
            println!(
                "seed {seed}, from {:.0} rpm: {:.2} of {:.2} %",
                band.from_rpm,
                100.0 * band.difference,
                100.0 * band.standard_error
            );
            assert!(band.to_rpm > band.from_rpm && band.tip_in_s >= 1.0);
            assert!(band.difference.abs() < 0.06, "{}", band.difference);
            bands += 1.0;
            square += (band.difference / band.standard_error).powi(2);
        }
    }
    assert!(
        bands > 4.0 && (square / bands).sqrt() < 3.0,
        "{bands} {square}"
    );
}

//! Logs of anything at all.

use baytrim_estimate::{FitSettings, fit, read_pull};
use baytrim_model::bay::DelayChoice;
use baytrim_model::channel::{EvidenceKind, Quantity};
use proptest::prelude::*;

use crate::job::{Job, samples};

fn anything() -> impl Strategy<Value = f64> {
    prop_oneof![
        6 => 0.0..120.0_f64,
        2 => 0.0..9000.0_f64,
        2 => 0.6..1.9_f64,
        1 => Just(f64::NAN),
        1 => Just(f64::INFINITY),
        1 => Just(-1e300),
        1 => Just(0.0),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Whatever a log holds, reading and fitting must neither panic nor give numbers that are none.
    #[test]
    fn no_log_breaks_the_estimate(
        rows in 0_usize..80,
        step_s in prop_oneof![Just(0.01), Just(0.1), Just(1.0)],
        cells in proptest::collection::vec(anything(), 6 * 80),
        bad_clock in any::<bool>(),
        identify in any::<bool>(),
    ) {
        let job = Job::new();
        let offset_s = (0..rows).map(|row| {
            if bad_clock { cells[row] } else { row as f64 * step_s }
        }).collect();
        let column = |index: usize| cells[index * 80..index * 80 + rows].to_vec();
        let pull = samples(offset_s, vec![
            (Quantity::EngineSpeed, column(0)),
            (Quantity::PlateAngle, column(1)),
            (Quantity::Lambda, column(2)),
            (Quantity::ShortTermTrim, column(3)),
            (Quantity::CoolantTemperature, column(4)),
            (Quantity::FuelCut, column(5)),
        ]);
        for evidence in [EvidenceKind::Lambda, EvidenceKind::Trims, EvidenceKind::LambdaAndTrims] {
            let mut context = job.context(evidence);
            if identify {
                context.delay = DelayChoice::Identify;
            }
            let reading = read_pull(&pull, &context).expect("reads");
            prop_assert_eq!(reading.summary.sample_count, rows as u64);
            prop_assert_eq!(reading.summary.strip.len(), 60);
            let fitted = fit(&job.axes, &[&reading.evidence], &FitSettings::default()).expect("fits");
            for node in 0..job.axes.node_count() {
                prop_assert!(fitted.theta[node].is_finite());
                prop_assert!(fitted.standard_error[node].is_finite() && fitted.standard_error[node] > 0.0);
                prop_assert!((0.0..=1.0).contains(&fitted.measured_fraction[node]));
            }
        }
    }
}

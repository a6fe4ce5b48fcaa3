//! Rows and points as charts show them.

use baytrim_estimate::{judge_rows, lambda_points, read_pull};
use baytrim_model::channel::{EvidenceKind, Quantity};
use baytrim_model::gate::GateName;
use baytrim_model::samples::Samples;

use crate::job::{Job, samples};

/// A pull that sweeps speed, with an overrun cut in its middle.
fn sweep_with_a_cut() -> Samples {
    let rows = 2000_u16;
    let cut = 900..1000;
    let plate = |row| if cut.contains(&row) { 0.0 } else { 20.0 };
    // A sensor that never moves is not taken for one that works.
    let waver = |row: u16| 0.0004 * f64::from(row % 3);
    let lambda = |row| {
        if cut.contains(&row) {
            1.8
        } else {
            0.96 + waver(row)
        }
    };
    samples(
        (0..rows).map(|row| f64::from(row) * 0.02).collect(),
        vec![
            (
                Quantity::EngineSpeed,
                (0..rows).map(|row| 2500.0 + 2.0 * f64::from(row)).collect(),
            ),
            (Quantity::PlateAngle, (0..rows).map(plate).collect()),
            (Quantity::Lambda, (0..rows).map(lambda).collect()),
        ],
    )
}

/// If this fails, a chart marks other rows as refused than those that were.
#[test]
fn rows_are_judged_as_the_summary_counts_them() {
    let job = Job::new();
    let context = job.context(EvidenceKind::Lambda);
    let pull = sweep_with_a_cut();
    let fates = judge_rows(&pull, &context).expect("reads");
    let summary = read_pull(&pull, &context).expect("reads").summary;
    assert_eq!(fates.len(), pull.len());
    for gate in GateName::ALL {
        let counted = summary.refused.iter().find(|count| count.gate == gate);
        let counted = counted.map_or(0, |count| count.sample_count);
        let judged = fates.iter().filter(|&&by| by == Some(gate)).count();
        assert_eq!(judged as u64, counted, "{gate}");
    }
    assert_eq!(fates[950], Some(GateName::OverrunCut));
    assert_eq!(fates[600], None);
}

/// If this fails, a chart draws readings at another place or with another lambda than they were.
#[test]
fn points_lie_where_their_exhaust_was_made() {
    let job = Job::new();
    let context = job.context(EvidenceKind::Lambda);
    let evidence = read_pull(&sweep_with_a_cut(), &context)
        .expect("reads")
        .evidence;
    let points = lambda_points(&evidence, &job.axes, &job.trim, &job.target);
    assert_eq!(points.len(), evidence.block_count());
    // Film and lag make the readings around the cut differ; before it the engine is steady.
    let before: Vec<_> = points
        .iter()
        .filter(|point| (2.0..16.0).contains(&point.offset_s))
        .collect();
    assert!(before.len() > 20);
    for point in before {
        assert!((point.lambda - 0.96).abs() < 1e-3, "{point:?}");
        assert!((point.plate_percent - 20.0).abs() < 0.2, "{point:?}");
        // A delay of about 0.2 s at 100 rpm a second: 20 rpm behind the speed at the reading.
        let behind = 2500.0 + 100.0 * point.offset_s - point.rpm;
        assert!((2.0..60.0).contains(&behind), "{point:?}: {behind}");
    }
    assert!(lambda_points(&evidence, &job.axes, &[0.0], &job.target).is_empty());
}

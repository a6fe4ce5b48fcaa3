//! What is behind a node.

use baytrim_api::v1::{
    ErrorPart, GateCount, LogTrace, NodeBelief, NodeMove, NodeTrace, PullShare, RowSpan,
    SamplePoint,
};

fn belief(correction_percent: f64, standard_error_percent: f64) -> NodeBelief {
    NodeBelief {
        correction_percent,
        standard_error_percent,
    }
}

fn point(row: u64, refused_by: &str) -> SamplePoint {
    let accepted = refused_by.is_empty();
    SamplePoint {
        row,
        offset_s: 0.02 * row as f64,
        rpm: 3010.0,
        plate_percent: 19.5,
        lambda_ratio: Some(0.991),
        share_fraction: 0.8,
        correction_percent: accepted.then_some(4.3),
        refused_by: refused_by.to_owned(),
    }
}

/// A node with two pulls behind it, one of them doubted.
pub(crate) fn node_trace() -> NodeTrace {
    let part = |source: &str, standard_error_percent, remedy: &str, sentence: &str| ErrorPart {
        source: source.to_owned(),
        standard_error_percent,
        remedy: remedy.to_owned(),
        sentence: sentence.to_owned(),
    };
    let span = |first_row, last_row, weight_s| RowSpan {
        first_row,
        last_row,
        start_s: 0.02 * first_row as f64,
        end_s: 0.02 * last_row as f64,
        weight_s,
    };
    let farthest = Some(NodeMove {
        rpm: 4500.0,
        plate_percent: 40.0,
        move_percent: -1.2,
    });
    NodeTrace {
        name: "jobs/quoll-1/proposals/c1".to_owned(),
        rpm: 3000.0,
        plate_percent: 20.0,
        revision: "r0".to_owned(),
        correction_percent: 4.2,
        standard_error_percent: 0.75,
        total_standard_error_percent: 1.25,
        target_lambda_ratio: 0.95,
        measured_fraction: 0.91,
        dwell_s: 11.5,
        visits: 6,
        errors: vec![
            part(
                "readings",
                0.6,
                "more_visits",
                "noise of readings and visits; more visits shrink it",
            ),
            part(
                "pull_offsets",
                0.45,
                "more_pulls",
                "offset of whole pulls; more pulls shrink it",
            ),
            part(
                "sensor",
                1.0,
                "no_pull",
                "the sensor's own bias; no pull shrinks it, a check against another sensor does",
            ),
        ],
        pulls: vec![
            PullShare {
                name: "jobs/quoll-1/pulls/p1".to_owned(),
                bay: "east".to_owned(),
                dwell_s: 8.0,
                visits: 4,
                alone: Some(belief(4.0, 0.9)),
                without: Some(belief(4.9, 1.4)),
                distrust_fraction: Some(0.02),
                farthest,
                log: Some(LogTrace {
                    row_count: 6000,
                    refused: vec![GateCount {
                        gate: "footprint".to_owned(),
                        sample_count: 120,
                        refused_s: 1.9,
                        sentence: "the reading is of exhaust made while a gate refused".to_owned(),
                    }],
                    spans: vec![span(100, 300, 3.2), span(2000, 2400, 4.8)],
                    span_count: 2,
                    points: vec![point(100, ""), point(500, "footprint")],
                    point_stride: 3,
                }),
            },
            PullShare {
                name: "jobs/quoll-1/pulls/p2".to_owned(),
                bay: "west".to_owned(),
                dwell_s: 3.5,
                visits: 2,
                alone: Some(belief(6.0, 1.5)),
                without: Some(belief(4.0, 0.85)),
                distrust_fraction: Some(0.4),
                farthest,
                log: None,
            },
        ],
        cautions: vec!["This is advice. A licensed, competent person decides.".to_owned()],
    }
}

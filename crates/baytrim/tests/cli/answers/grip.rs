//! How the plate follows the hand, invented.

use baytrim_api::v1::{
    FitSummary, GetDeliveryResponse, GripCell, GripEstimate, GripGain, GripPlace, GripRow,
    ModeDelivery, Proposal, Revision,
};

use super::proposal;

fn estimate(value: f64, half: f64, stay_count: u32) -> GripEstimate {
    GripEstimate {
        mean: value,
        mean_low: (stay_count > 1).then_some(value - half),
        mean_high: (stay_count > 1).then_some(value + half),
        stay_count,
    }
}

/// Returns how the plate follows the hand in a mode with a steep step, and in one without pulls.
pub(crate) fn delivery() -> GetDeliveryResponse {
    let place = |grip: f64, plate: f64, drift: f64, stays: u32| GripPlace {
        grip_percent: grip,
        plate_percent: Some(estimate(plate, 0.4, stays)),
        drift_percent_per_1000_rpm: Some(estimate(drift, 0.06, stays)),
    };
    let gain = |start: f64, end: f64, gain: f64, steep: bool| GripGain {
        start_grip_percent: start,
        end_grip_percent: end,
        gain_factor: gain,
        gain_factor_low: Some(gain - 0.06),
        gain_factor_high: Some(gain + 0.06),
        over_mean: Some(estimate(gain / 0.8, 0.08, 6)),
        steep,
    };
    let cell = |grip: f64, rpm: f64, plate: f64| GripCell {
        grip_percent: grip,
        rpm,
        plate_percent: plate,
        row_count: 120,
    };
    let street = ModeDelivery {
        mode: "street".to_owned(),
        grip_revision: "r1".to_owned(),
        in_force: true,
        pulls: vec!["p1".to_owned(), "p2".to_owned()],
        other_pulls: vec!["p3".to_owned()],
        sentences: vec![
            "The plate shuts by itself as engine speed rises, -0.41 % over 1000 rpm (-0.47 to -0.35 %, 95 %) over all stays.".to_owned(),
            "The gain is uneven: from 20 to 30 % of grip the plate goes 1.60 % for a percent, 2.0 times the mean (+1.92 to +2.08, 95 %).".to_owned(),
        ],
        drifts: true,
        drift_percent_per_1000_rpm: Some(estimate(-0.41, 0.06, 9)),
        off_table_percent: Some(estimate(-0.2, 0.3, 9)),
        places: vec![
            place(10.0, 4.0, -0.2, 3),
            place(20.0, 8.5, -0.4, 3),
            place(30.0, 24.5, -0.62, 3),
            place(50.0, 36.0, -0.5, 1),
        ],
        gains: vec![
            gain(10.0, 20.0, 0.45, false),
            gain(20.0, 30.0, 1.6, true),
            gain(30.0, 50.0, 0.575, false),
        ],
        surface: vec![
            cell(10.0, 4000.0, 4.2),
            cell(10.0, 5000.0, 4.0),
            cell(20.0, 4000.0, 8.9),
            cell(30.0, 5000.0, 24.3),
        ],
        proposable: true,
    };
    let rain = ModeDelivery {
        mode: "rain".to_owned(),
        grip_revision: "r2".to_owned(),
        in_force: true,
        sentences: vec!["No pull has the hand standing still in this mode.".to_owned()],
        proposable: true,
        ..ModeDelivery::default()
    };
    GetDeliveryResponse {
        modes: vec![rain, street],
    }
}

/// Returns a proposal for a grip table.
pub(crate) fn grip_proposal() -> Proposal {
    let row = |grip: f64, before: [f64; 2], after: f64| GripRow {
        grip_percent: grip,
        before: before.to_vec(),
        after: vec![after; 2],
        measured_percent: ((grip - 20.0).abs() < 1e-9).then(|| estimate(8.5, 0.4, 3)),
    };
    Proposal {
        grip_mode: "street".to_owned(),
        grip_rows: vec![
            row(0.0, [0.0, 0.0], 0.0),
            row(20.0, [9.5, 8.0], 11.0),
            row(30.0, [25.0, 24.0], 20.5),
            row(100.0, [100.0, 100.0], 100.0),
        ],
        base_revision: "r1".to_owned(),
        content: "plate_percent".to_owned(),
        rpm: vec![4000.0, 8000.0],
        plate_percent: Vec::new(),
        nodes: Vec::new(),
        change_count: 2,
        done: None,
        comments: Vec::new(),
        fit: Some(FitSummary {
            estimator: "grip 1".to_owned(),
            reading_count: 10,
            calibration_factor: 1.0,
            remarks: vec!["With what is proposed engine speed does not count any more.".to_owned()],
            ..FitSummary::default()
        }),
        cautions: vec![
            "A plate that opens further than the hand asks can throw a rider: try a table on the roller first, never on the road.".to_owned(),
        ],
        ..proposal()
    }
}

/// Returns a revision of a grip table.
pub(crate) fn grip_revision() -> Revision {
    Revision {
        grip_mode: "street".to_owned(),
        grip_percent: vec![0.0, 20.0, 100.0],
        rpm: vec![4000.0, 8000.0],
        plate_percent: Vec::new(),
        values: vec![0.0, 9.5, 100.0, 0.0, 8.0, 100.0],
        total_percent: Vec::new(),
        content: "plate_percent".to_owned(),
        ..super::revision()
    }
}

//! Gates that judge a row by itself.

use baytrim_model::axis::Axis;
use baytrim_model::channel::EvidenceKind;
use baytrim_model::gate::GateSettings;

use crate::row::Row;

/// Share of the outermost cell by which a point may lie outside the table and still be its edge.
const EDGE_SHARE: f64 = 0.1;

/// Sensor not ready: the flag says so.
pub(super) fn sensor_not_ready(row: &Row) -> bool {
    row.sensor_ready < 0.5
}

/// Sensor stop: lambda is at or beyond an end of the sensor's range.
pub(super) fn sensor_at_stop(row: &Row, settings: &GateSettings, evidence: EvidenceKind) -> bool {
    evidence != EvidenceKind::Trims
        && (row.lambda >= settings.sensor_lambda_max * 0.999
            || row.lambda <= settings.sensor_lambda_min * 1.001)
}

/// Warm-up: the coolant is below the temperature from which the engine counts as warm.
pub(super) fn cold(row: &Row, settings: &GateSettings) -> bool {
    row.coolant_c < settings.coolant_c_min
}

/// Returns whether `value` lies on the axis, or outside by no more than a tenth of the last cell.
pub(crate) fn on_axis(axis: &Axis, value: f64) -> bool {
    let points = axis.breakpoints();
    let last = points.len() - 1;
    let below = EDGE_SHARE * (points[1] - points[0]);
    let above = EDGE_SHARE * (points[last] - points[last - 1]);
    (points[0] - below..=points[last] + above).contains(&value)
}

#[cfg(test)]
mod tests {
    use super::{cold, on_axis, sensor_at_stop, sensor_not_ready};
    use baytrim_model::axis::Axis;
    use baytrim_model::channel::EvidenceKind;
    use baytrim_model::gate::GateSettings;

    use crate::row::Row;

    fn row() -> Row {
        Row {
            offset_s: 0.0,
            rpm: 3000.0,
            plate_percent: 20.0,
            lambda: 1.0,
            closed_loop_factor: f64::NAN,
            coolant_c: f64::NAN,
            fuel_cut: f64::NAN,
            shift_cut: f64::NAN,
            sensor_ready: f64::NAN,
            pressure_ratio: f64::NAN,
        }
    }

    /// A channel that was not logged must refuse nothing; one that was must refuse what it should.
    #[test]
    fn each_rule_refuses_its_own_and_nothing_without_a_channel() {
        let settings = GateSettings::default();
        assert!(!sensor_not_ready(&row()) && !cold(&row(), &settings));
        assert!(sensor_not_ready(&Row {
            sensor_ready: 0.0,
            ..row()
        }));
        assert!(cold(
            &Row {
                coolant_c: 40.0,
                ..row()
            },
            &settings
        ));
        assert!(!cold(
            &Row {
                coolant_c: 80.0,
                ..row()
            },
            &settings
        ));
        let stopped = Row {
            lambda: settings.sensor_lambda_max,
            ..row()
        };
        assert!(sensor_at_stop(&stopped, &settings, EvidenceKind::Lambda));
        assert!(!sensor_at_stop(&stopped, &settings, EvidenceKind::Trims));
        assert!(!sensor_at_stop(&row(), &settings, EvidenceKind::Lambda));
    }

    /// A plate sensor that reads 100.3 at the stop is at the table's edge, not outside of it.
    #[test]
    fn the_edge_of_the_table_has_some_width() {
        let axis = Axis::new("plate", vec![0.0, 5.0, 80.0, 100.0]).expect("sorted");
        assert!(on_axis(&axis, -0.4) && on_axis(&axis, 101.5));
        assert!(!on_axis(&axis, -1.0) && !on_axis(&axis, 103.0) && !on_axis(&axis, f64::NAN));
    }
}

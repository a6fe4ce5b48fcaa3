//! Gates that judge a row by itself.

use baytrim_model::axis::{Axes, Axis};
use baytrim_model::channel::EvidenceKind;
use baytrim_model::gate::GateSettings;

use crate::row::Row;

/// Share of the outermost cell by which a point may lie outside the table and still be its edge.
const EDGE_SHARE: f64 = 0.1;

/// Sensor stop: lambda is at or beyond an end of the sensor's range.
pub(super) fn sensor_at_stop(row: &Row, settings: &GateSettings, evidence: EvidenceKind) -> bool {
    evidence != EvidenceKind::Trims
        && (row.lambda >= settings.sensor_lambda_max * 0.999
            || row.lambda <= settings.sensor_lambda_min * 1.001)
}

/// Closed loop: the controller trims and its trims do not count, or they count and it does not trim.
pub(super) fn closed_loop(row: &Row, settings: &GateSettings, evidence: EvidenceKind) -> bool {
    match evidence {
        EvidenceKind::Lambda => {
            let trim_percent = 100.0 * (row.closed_loop_factor - 1.0).abs();
            let small = trim_percent <= settings.closed_loop_trim_percent_max;
            row.closed_loop >= 0.5 && !small
        }
        EvidenceKind::Trims => row.closed_loop < 0.5,
        EvidenceKind::LambdaAndTrims => false,
    }
}

/// Purge: fuel vapour comes in that no table knows of.
pub(super) fn purges(row: &Row, settings: &GateSettings) -> bool {
    row.purge_percent > settings.purge_percent_max
}

/// Returns whether `value` lies on the axis, or outside by no more than a tenth of the last cell.
pub(crate) fn on_axis(axis: &Axis, value: f64) -> bool {
    let points = axis.breakpoints();
    let last = points.len() - 1;
    let below = EDGE_SHARE * (points[1] - points[0]);
    let above = EDGE_SHARE * (points[last] - points[last - 1]);
    (points[0] - below..=points[last] + above).contains(&value)
}

/// Returns whether a row's operating point lies in the table, by [`on_axis`].
pub(super) fn in_table(axes: &Axes, row: &Row) -> bool {
    on_axis(&axes.rpm, row.rpm) && on_axis(&axes.plate_percent, row.plate_percent)
}

#[cfg(test)]
mod tests {
    use super::{closed_loop, on_axis, purges, sensor_at_stop};
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
            ..Row::EMPTY
        }
    }

    /// A channel that was not logged must refuse nothing; one that was must refuse what it should.
    #[test]
    fn each_rule_refuses_its_own_and_nothing_without_a_channel() {
        let settings = GateSettings::default();
        let stopped = Row {
            lambda: settings.sensor_lambda_max,
            ..row()
        };
        assert!(sensor_at_stop(&stopped, &settings, EvidenceKind::Lambda));
        assert!(!sensor_at_stop(&stopped, &settings, EvidenceKind::Trims));
        assert!(!sensor_at_stop(&row(), &settings, EvidenceKind::Lambda));
    }

    /// A mixture that the controller had already put right would be taken for the table's own, or a
    /// trim that was not at work for a table without fault.
    #[test]
    fn trims_must_count_where_they_are_at_work() {
        let settings = GateSettings::default();
        let at_work = |factor: f64| Row {
            closed_loop: 1.0,
            closed_loop_factor: factor,
            ..row()
        };
        let refuses = |row: &Row, evidence| closed_loop(row, &settings, evidence);
        assert!(refuses(&at_work(1.06), EvidenceKind::Lambda));
        assert!(refuses(&at_work(f64::NAN), EvidenceKind::Lambda), "unknown");
        assert!(!refuses(&at_work(1.004), EvidenceKind::Lambda), "too small");
        assert!(!refuses(&at_work(1.06), EvidenceKind::LambdaAndTrims));
        assert!(!refuses(&at_work(1.06), EvidenceKind::Trims));
        let open = Row {
            closed_loop: 0.0,
            ..row()
        };
        assert!(refuses(&open, EvidenceKind::Trims));
        assert!(!refuses(&open, EvidenceKind::Lambda));
        assert!(!refuses(&row(), EvidenceKind::Lambda), "not logged");
        assert!(!refuses(&row(), EvidenceKind::Trims), "not logged");
    }

    /// Vapour from the canister would be answered with less fuel.
    #[test]
    fn purge_refuses_while_it_flows() {
        let settings = GateSettings::default();
        let purge = |purge_percent: f64| Row {
            purge_percent,
            ..row()
        };
        assert!(purges(&purge(20.0), &settings));
        assert!(!purges(&purge(0.5), &settings) && !purges(&row(), &settings));
    }

    /// A plate sensor that reads 100.3 at the stop is at the table's edge, not outside of it.
    #[test]
    fn the_edge_of_the_table_has_some_width() {
        let axis = Axis::new("plate", vec![0.0, 5.0, 80.0, 100.0]).expect("sorted");
        assert!(on_axis(&axis, -0.4) && on_axis(&axis, 101.5));
        assert!(!on_axis(&axis, -1.0) && !on_axis(&axis, 103.0) && !on_axis(&axis, f64::NAN));
    }
}

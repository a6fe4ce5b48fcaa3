//! Logs and tables as the project's plain CSV.

use std::fmt::Write as _;

use baytrim_model::axis::Axes;
use baytrim_model::channel::Quantity;
use baytrim_model::samples::Samples;

/// Column names of the plain log, in the order in which they are written, with the decimals kept.
const COLUMNS: [(Quantity, &str, usize); 21] = [
    (Quantity::EngineSpeed, "rpm", 0),
    (Quantity::PlateAngle, "plate_percent", 1),
    (Quantity::Lambda, "lambda", 4),
    (Quantity::CoolantTemperature, "coolant_c", 1),
    (Quantity::FuelCut, "fuel_cut", 0),
    (Quantity::ShiftCut, "shift_cut", 0),
    (Quantity::SensorReady, "sensor_ready", 0),
    (Quantity::ShortTermTrim, "short_term_trim_percent", 1),
    (Quantity::LongTermTrim, "long_term_trim_percent", 1),
    (Quantity::IntakeTemperature, "intake_c", 1),
    (Quantity::ManifoldPressure, "manifold_kpa", 1),
    (Quantity::AmbientPressure, "ambient_kpa", 1),
    (Quantity::GripAngle, "grip_percent", 1),
    (Quantity::TorqueCut, "torque_cut", 0),
    (Quantity::SecondaryAir, "secondary_air", 0),
    (Quantity::ClosedLoop, "closed_loop", 0),
    (Quantity::Purge, "purge_percent", 1),
    (Quantity::RollerSpeed, "roller_rpm", 2),
    (Quantity::RollerTorque, "roller_nm", 1),
    (Quantity::RelativeHumidity, "humidity_percent", 1),
    (Quantity::AmbientTemperature, "ambient_c", 1),
];

/// Returns the samples as CSV: a header `offset_s,rpm,plate_percent,lambda,…` with the columns that
/// there are, one row per sample, an empty cell where there was no reading.
pub fn log(samples: &Samples) -> String {
    log_with_times(samples, &samples.offset_s)
}

/// Returns the samples as CSV with other times in the first column, for clocks that go wrong.
///
/// # Panics
/// When there is not one time per sample.
pub fn log_with_times(samples: &Samples, offset_s: &[f64]) -> String {
    assert_eq!(offset_s.len(), samples.len(), "one time per sample");
    let columns: Vec<(&[f64], &str, usize)> = COLUMNS
        .iter()
        .filter_map(|&(quantity, name, decimals)| {
            Some((samples.channel(quantity)?, name, decimals))
        })
        .collect();
    let mut text = String::from("offset_s");
    for (_, name, _) in &columns {
        text.push(',');
        text.push_str(name);
    }
    text.push('\n');
    for (row, at_s) in offset_s.iter().enumerate() {
        text.push_str(&number(*at_s, 3));
        for (values, _, decimals) in &columns {
            text.push(',');
            text.push_str(&number(values[row], *decimals));
        }
        text.push('\n');
    }
    text
}

/// Returns a table over the nodes as CSV: comment lines, a row with `label` and the speeds, then one
/// row per plate. `values` is in node order.
///
/// # Panics
/// When there is not one value per node.
pub fn table(
    axes: &Axes,
    values: &[f64],
    label: &str,
    decimals: usize,
    comments: &[&str],
) -> String {
    assert_eq!(values.len(), axes.node_count(), "one value per node");
    let mut text = String::new();
    for comment in comments {
        let _ = writeln!(text, "# {comment}");
    }
    text.push_str(label);
    for rpm in axes.rpm.breakpoints() {
        let _ = write!(text, ",{rpm}");
    }
    text.push('\n');
    for (row, plate) in values
        .chunks(axes.rpm.len())
        .zip(axes.plate_percent.breakpoints())
    {
        let _ = write!(text, "{plate}");
        for value in row {
            let _ = write!(text, ",{value:.decimals$}");
        }
        text.push('\n');
    }
    text
}

/// Returns a number with at most `decimals` decimals and no trailing zeros; nothing for NaN.
fn number(value: f64, decimals: usize) -> String {
    if value.is_nan() {
        return String::new();
    }
    let text = format!("{value:.decimals$}");
    if decimals == 0 {
        return text;
    }
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use baytrim_model::axis::{Axes, Axis};
    use baytrim_model::channel::Quantity;
    use baytrim_model::samples::Samples;

    use super::{log, table};

    /// Intake would refuse the logs, or read other numbers than were simulated.
    #[test]
    fn a_log_is_written_as_the_project_reads_it() {
        let samples = Samples {
            offset_s: vec![0.0, 0.05, 0.1],
            channels: [
                (Quantity::Lambda, vec![0.9, f64::NAN, 1.02]),
                (Quantity::EngineSpeed, vec![1500.0, 1600.0, 1700.0]),
                (Quantity::FuelCut, vec![0.0, 0.0, 1.0]),
            ]
            .into(),
        };
        let expected =
            "offset_s,rpm,lambda,fuel_cut\n0,1500,0.9,0\n0.05,1600,,0\n0.1,1700,1.02,1\n";
        assert_eq!(log(&samples), expected);
    }

    /// A table would be read turned round, or against other axes.
    #[test]
    fn a_table_has_speeds_across_and_plates_down() {
        let axes = Axes {
            rpm: Axis::new("rpm", vec![1000.0, 2500.0]).expect("increasing"),
            plate_percent: Axis::new("plate", vec![0.0, 7.5, 100.0]).expect("increasing"),
        };
        let text = table(
            &axes,
            &[1.0, 2.0, 3.0, 4.0, 5.0, 6.0],
            "plate",
            1,
            &["invented"],
        );
        let expected = "# invented\nplate,1000,2500\n0,1.0,2.0\n7.5,3.0,4.0\n100,5.0,6.0\n";
        assert_eq!(text, expected);
    }
}

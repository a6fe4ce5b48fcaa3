//! A job as the job file that a tuner would write.

use std::fmt::Write as _;

use baytrim_model::bay::{BaySetup, DelayChoice};
use baytrim_model::gate::GateSettings;
use baytrim_model::job::JobSpec;
use baytrim_model::limits::{Limits, Wall};
use baytrim_model::table::TableContent;

/// Names of the files beside a job file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Beside<'a> {
    /// The base table.
    pub table: &'a str,
    /// The target.
    pub target: &'a str,
}

/// Edges at or beyond this are no edges and are left out.
const NO_EDGE: f64 = 1e8;

/// Returns the job file of `spec`, with `comments` at its head. Table and target go to the files of
/// `beside`, see [`crate::csv::table`]; a bay's channel map is not written, nor what a grip table must keep to.
pub fn job_toml(spec: &JobSpec, comments: &[&str], beside: Beside<'_>) -> String {
    let mut text = String::new();
    for comment in comments {
        let _ = writeln!(text, "# {comment}");
    }
    let _ = writeln!(text, "\nid = {}", quoted(spec.id.as_str()));
    let _ = writeln!(text, "name = {}", quoted(&spec.title));
    let _ = writeln!(text, "notes = {}", quoted(&spec.notes));
    if let Some(vehicle) = &spec.vehicle {
        let parts: Vec<String> = vehicle.parts.iter().map(|part| quoted(part)).collect();
        let _ = writeln!(
            text,
            "\n[vehicle]\nmodel = {}\ngeneration = {}\nparts = [{}]",
            quoted(&vehicle.model),
            quoted(&vehicle.generation),
            parts.join(", ")
        );
    }
    let engine = &spec.engine;
    let _ = writeln!(
        text,
        "\n[engine]\nstrokes = {}\ndisplacement_cc = {:?}\ncylinders = {}",
        engine.strokes, engine.displacement_cc, engine.cylinders
    );
    let _ = writeln!(
        text,
        "\n[fuel]\nname = {}\nstoichiometric_afr = {:?}",
        quoted(&spec.fuel.name),
        spec.fuel.stoichiometric_afr
    );
    let _ = writeln!(
        text,
        "\n[axes]\nrpm = {:?}\nplate_percent = {:?}",
        spec.axes.rpm.breakpoints(),
        spec.axes.plate_percent.breakpoints()
    );
    text.push_str(&table_section(spec, beside.table));
    let _ = writeln!(text, "\n[target]\nfile = {}", quoted(beside.target));
    text.push_str(&limits_section(&spec.limits));
    text.push_str(&gates_section(&spec.gates));
    for (name, bay) in &spec.bays {
        let _ = writeln!(text, "\n[bays.{name}]\ndelay = {}", delay(bay));
    }
    for (mode, table) in &spec.grip {
        let _ = writeln!(
            text,
            "\n[grip.{mode}]\ngrip_percent = {:?}\nplate_percent = {:?}",
            table.grip_percent, table.plate_percent
        );
    }
    text
}

fn table_section(spec: &JobSpec, file: &str) -> String {
    let mut text = format!(
        "\n[table]\ncontent = \"{}\"\n",
        content_name(spec.table.content)
    );
    if let TableContent::TotalTimeMs { dead_time_ms } = spec.table.content {
        let _ = writeln!(text, "dead_time_ms = {dead_time_ms:?}");
    }
    let _ = writeln!(text, "resolution = {:?}", spec.table.resolution);
    let _ = writeln!(text, "file = {}", quoted(file));
    text
}

/// Returns the name of a content as job files write it.
pub fn content_name(content: TableContent) -> &'static str {
    match content {
        TableContent::Percent => "percent",
        TableContent::Factor => "factor",
        TableContent::VolumetricEfficiency => "volumetric_efficiency",
        TableContent::EffectiveTimeMs => "effective_time_ms",
        TableContent::TotalTimeMs { .. } => "total_time_ms",
    }
}

/// Keys that keep their default are left out: a job file says what was decided for the job.
fn limits_section(limits: &Limits) -> String {
    let usual = Limits::default();
    let mut text = String::from("\n[limits]\n# Keys that are not here keep their default.\n");
    for (key, value, usual) in [
        ("step_percent", limits.step_percent, usual.step_percent),
        ("total_percent", limits.total_percent, usual.total_percent),
        (
            "neighbour_percent",
            limits.neighbour_percent,
            usual.neighbour_percent,
        ),
        (
            "deadband_percent",
            limits.deadband_percent,
            usual.deadband_percent,
        ),
        (
            "leanest_lambda",
            limits.leanest_lambda,
            usual.leanest_lambda,
        ),
        (
            "lean_confidence",
            limits.lean_confidence,
            usual.lean_confidence,
        ),
        (
            "standard_error_percent_max",
            limits.standard_error_percent_max,
            usual.standard_error_percent_max,
        ),
    ] {
        write_unusual(&mut text, key, value, usual);
    }
    if limits.visits_min != usual.visits_min {
        let _ = writeln!(text, "visits_min = {}", limits.visits_min);
    }
    if limits.borrowed_changes != usual.borrowed_changes {
        let _ = writeln!(text, "borrowed_changes = {}", limits.borrowed_changes);
    }
    for wall in &limits.walls {
        text.push_str(&wall_section(wall));
    }
    text
}

/// Writes a key whose value is not the usual one.
#[expect(
    clippy::float_cmp,
    reason = "a default is the default to the bit or was changed"
)]
fn write_unusual(text: &mut String, key: &str, value: f64, usual: f64) {
    if value != usual {
        let _ = writeln!(text, "{key} = {value:?}");
    }
}

fn wall_section(wall: &Wall) -> String {
    let mut text = String::from("\n[[limits.walls]]\n");
    for (key, value, said) in [
        ("rpm_min", wall.rpm_min, wall.rpm_min > 0.0),
        ("rpm_max", wall.rpm_max, wall.rpm_max < NO_EDGE),
        (
            "plate_percent_min",
            wall.plate_percent_min,
            wall.plate_percent_min > 0.0,
        ),
        (
            "plate_percent_max",
            wall.plate_percent_max,
            wall.plate_percent_max < NO_EDGE,
        ),
        ("lambda_max", wall.lambda_max, true),
    ] {
        if said {
            let _ = writeln!(text, "{key} = {value:?}");
        }
    }
    text
}

/// See [`limits_section`] for what is left out.
fn gates_section(gates: &GateSettings) -> String {
    let usual = GateSettings::default();
    let mut text = String::from("\n[gates]\n# Keys that are not here keep their default.\n");
    for (ours, usual) in gates.parameters().iter().zip(usual.parameters()) {
        write_unusual(&mut text, ours.0, ours.1, usual.1);
    }
    text
}

fn delay(bay: &BaySetup) -> String {
    match bay.delay {
        DelayChoice::Identify | DelayChoice::Expect(_) => "\"identify\"".to_owned(),
        DelayChoice::Given(model) => format!(
            "{{ cycles = {:?}, gas_volume_l = {:?}, lag_s = {:?} }}",
            model.cycles, model.gas_volume_l, model.lag_s
        ),
    }
}

/// Returns text as a TOML basic string.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for letter in text.chars() {
        match letter {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            other => out.push(other),
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use baytrim_model::gate::GateSettings;
    use baytrim_model::limits::Limits;

    use super::{Beside, job_toml};
    use crate::truth::{EngineTruth, TruthOptions};

    /// The job file would lose what the job says.
    #[test]
    fn a_job_file_says_all_of_a_job() {
        let truth = EngineTruth::from_seed(1, &TruthOptions::default());
        let mut spec = truth.job_spec("invented-1".parse().expect("a slug"));
        spec.title = "The \"old\" one".to_owned();
        spec.gates.settle_s = 1.25;
        spec.limits.visits_min = 3;
        spec.limits.step_percent = 7.5;
        let beside = Beside {
            table: "base_table.csv",
            target: "target_lambda.csv",
        };
        let file: toml::Table = job_toml(&spec, &["invented"], beside)
            .parse()
            .expect("TOML");
        assert_eq!(file["name"].as_str(), Some("The \"old\" one"));
        assert_eq!(file["engine"]["strokes"].as_integer(), Some(4));
        let rpm = file["axes"]["rpm"].as_array().expect("a list");
        assert_eq!(rpm.len(), spec.axes.rpm.len());
        assert_eq!(file["table"]["file"].as_str(), Some("base_table.csv"));
        let limits: Limits = file["limits"].clone().try_into().expect("limits");
        assert_eq!(limits, spec.limits);
        let gates: GateSettings = file["gates"].clone().try_into().expect("gates");
        assert_eq!(gates, spec.gates);
        assert_eq!(file["bays"]["east"]["delay"].as_str(), Some("identify"));
    }
}

//! Job files: good ones, and what each bad one is told.

use baytrim_jobs::job_file::{self, Attachments, EXAMPLE};
use baytrim_model::axis::Axes;
use baytrim_model::bay::DelayChoice;
use baytrim_model::gate::GateSettings;
use baytrim_model::limits::Limits;

fn complaints(text: &str) -> Vec<String> {
    let errors = job_file::parse(text, &Attachments::new(), None).expect_err("refused");
    errors.iter().map(ToString::to_string).collect()
}

fn changed(from: &str, to: &str) -> String {
    assert!(EXAMPLE.contains(from), "the example has no {from:?}");
    EXAMPLE.replacen(from, to, 1)
}

/// If this fails, the example that users start from is refused, or promises other defaults than there are.
#[test]
fn the_example_is_valid_and_tells_the_defaults() {
    let spec = job_file::parse(EXAMPLE, &Attachments::new(), None).expect("valid");
    assert_eq!(spec.id.as_str(), "quoll-1");
    assert_eq!(spec.gates, GateSettings::default());
    let defaults = Limits {
        walls: spec.limits.walls.clone(),
        ..Limits::default()
    };
    assert_eq!(spec.limits, defaults);
    assert_eq!(spec.limits.leanest_lambda_at(3000.0, 50.0), 0.93);
    assert_eq!(spec.limits.leanest_lambda_at(3000.0, 25.0), 1.05);
    let delays: Vec<_> = spec.bays.values().map(|bay| bay.delay).collect();
    assert!(matches!(
        delays[..],
        [DelayChoice::Identify, DelayChoice::Given(_)]
    ));
}

/// If this fails, a fuel given by its composition is read with another ratio than its own. E10 of CH1.93O0.033 is the
/// composition of European certification fuel (Regulation (EU) 2017/1151, from memory); its ratio by element balance.
#[test]
fn a_fuel_may_be_given_by_its_composition() {
    let given = |lines: &str| changed("stoichiometric_afr = 14.29", lines);
    let e10 = given("hydrogen_per_carbon = 1.93\noxygen_per_carbon = 0.033");
    let spec = job_file::parse(&e10, &Attachments::new(), None).expect("valid");
    assert!((spec.fuel.stoichiometric_afr - 13.996).abs() < 1e-3);
    let petrol = given("hydrogen_per_carbon = 1.85");
    let spec = job_file::parse(&petrol, &Attachments::new(), None).expect("valid");
    assert!((spec.fuel.stoichiometric_afr - 14.575).abs() < 1e-3);
    let either = "fuel: needs either its stoichiometric ratio or its composition; give stoichiometric_afr alone, or \
        hydrogen_per_carbon with, for a fuel that holds oxygen, oxygen_per_carbon";
    assert_eq!(complaints(&given("")), [either]);
    assert_eq!(complaints(&given("oxygen_per_carbon = 0.1")), [either]);
    let both = given("stoichiometric_afr = 14.29\nhydrogen_per_carbon = 1.9");
    assert_eq!(complaints(&both), [either]);
    assert_eq!(
        complaints(&given("hydrogen_per_carbon = 18")),
        [
            "fuel.hydrogen_per_carbon: 18 is outside 0 to 4; give atoms for each carbon atom: petrol has about 1.85 of \
          hydrogen, ethanol 3 and 0.5 of oxygen"
        ]
    );
}

/// If this fails, a table given by rpm rows lands on other nodes than one given by plate rows.
#[test]
fn rows_may_run_down_either_axis() {
    let head = "name = \"x\"\n[engine]\nstrokes = 4\ndisplacement_cc = 600\ncylinders = 4\n\
        [fuel]\nname = \"petrol\"\nstoichiometric_afr = 14.6\n\
        [axes]\nrpm = [1000, 2000, 3000]\nplate_percent = [0, 50]\n\
        [target]\nlambda = 0.9\n[bays.a]\n[table]\ncontent = \"percent\"\n";
    let plate = format!("{head}values = [[1, 2, 3], [4, 5, 6]]\n");
    let rpm = format!("{head}rows = \"rpm\"\nvalues = [[1, 4], [2, 5], [3, 6]]\n");
    let parse = |text: &str| job_file::parse(text, &Attachments::new(), None).expect("valid");
    assert_eq!(parse(&plate).table.values, parse(&rpm).table.values);
    let axes: &Axes = &parse(&plate).axes;
    assert_eq!(axes.position(5), (3000.0, 50.0));
}

/// If this fails, a wrong job file is told something else than what is wrong, where, and what to do.
#[test]
fn every_fault_is_named() {
    let cases = [
        (
            changed("rpm = [1500, 3000, 4500", "rpm = [1500, 4500, 3000"),
            "axes.rpm[2]: 3000 does not exceed 4500 before it; list the breakpoints in increasing order, each once",
        ),
        (
            changed("  [0, 0, 0, 0, 0, 0],\n", ""),
            "table.values: has 5 rows; give 6 rows of 6 values (plate angles down, rpm across)",
        ),
        (
            changed("  [0, 0, 0, 0, 0, 0],\n", "  [0, 0, 0, 0, 0],\n"),
            "table.values[0]: has 5 values; give 6 rows of 6 values (plate angles down, rpm across)",
        ),
        (
            changed("  [0, 0, 0, 0, 0, 0],\n", "  [0, -120, 0, 0, 0, 0],\n"),
            "table.values at 3000 rpm, 0 %: -120 asks for no or negative fuel; check the value, and that table.content says what the numbers are",
        ),
        (
            changed("[0.98, 0.98, 0.98", "[2.98, 0.98, 0.98"),
            "target.lambda[0]: 2.98 is outside 0.5 to 2; check the number and its unit",
        ),
        (
            changed("strokes = 4", "strokes = 3"),
            "engine.strokes: 3 is not a working cycle; write 2 or 4",
        ),
        (
            changed("content = \"percent\"", "content = \"total_time_ms\""),
            "table.dead_time_ms: is missing; give the injector's dead time: fuel follows what exceeds it, and a plain factor would overshoot at idle",
        ),
        (
            changed("delay = \"identify\"", "delay = \"guess\""),
            "bays.east.delay: \"guess\" is not a delay; write \"identify\", or { cycles = …, gas_volume_l = …, lag_s = … }",
        ),
        (
            changed("step_percent = 10.0", "step_percnt = 10.0"),
            "line 55: unknown field `step_percnt`, expected one of `step_percent`, `total_percent`, `neighbour_percent`, `deadband_percent`, `leanest_lambda`, `walls`, `lean_confidence`, `standard_error_percent_max`, `visits_min`, `borrowed_changes`; see `baytrim job example` for every key and its form",
        ),
        (
            changed("id = \"quoll-1\"", "id = \"Quoll 1\""),
            "id: \"Quoll 1\" has other characters; use 1 to 48 lower-case letters, digits and inner hyphens",
        ),
        (
            changed("unit = \"afr\"", "unit = \"kpa\""),
            "bays.west.channels.channels.lambda.unit: kpa is not a unit of lambda; write lambda or afr or equivalence_ratio",
        ),
    ];
    for (text, complaint) in cases {
        assert_eq!(complaints(&text), [complaint]);
    }
}

/// If this fails, a writer has to mend a file one fault at a time.
#[test]
fn all_faults_are_named_at_once() {
    let text = changed("strokes = 4", "strokes = 3").replacen("= 14.29", "= 147", 1);
    let found = complaints(&text);
    assert_eq!(found.len(), 2, "{found:?}");
}

/// If this fails, a file that the job file names can be missing or wrong without a word.
#[test]
fn attachments_must_be_there_and_fit() {
    let start = EXAMPLE.find("values = [").expect("inline table");
    let end = start + EXAMPLE[start..].find("\n]\n").expect("closed") + 3;
    let text = format!("{}file = \"t.csv\"\n{}", &EXAMPLE[..start], &EXAMPLE[end..]);
    assert_eq!(
        complaints(&text),
        [
            "table.file: \"t.csv\" did not come with the job file; put it beside the job file, or send it as an attachment of that name"
        ]
    );
    let told = |csv: &str| {
        let attachments = Attachments::from([("t.csv".to_owned(), csv.into())]);
        let errors = job_file::parse(&text, &attachments, None).expect_err("refused");
        errors[0].to_string()
    };
    assert!(told("x,1,2\n").starts_with("t.csv, line 1: has the axis [1.0, 2.0]"));
    let axis = "x,1500,3000,4500,6000,7500,9000\n";
    assert_eq!(
        told(&format!("{axis}0,1,2,three,4,5,6\n")),
        "t.csv, line 2, column 4: \"three\" is not a number; write plain numbers with a decimal point"
    );
    assert_eq!(
        told(&format!("{axis}7,1,2,3,4,5,6\n")),
        "t.csv, line 2: begins with \"7\" where the axis has 0; make the rows match the axes of the job file"
    );
}

//! Channel maps as people write them.

use baytrim_intake::{parse_channel_map, standard_channels};
use baytrim_model::channel::{EvidenceKind, Quantity, RepeatedTime, Unit};

const PLAIN: &str = r#"
evidence = "lambda"
[time]
column = "Time"
unit = "ms"
[channels.engine_speed]
column = "RPM"
unit = "rpm"
[channels.plate_angle]
column = "Plate"
unit = "percent"
scale = 1.25
offset = -3
[channels.lambda]
column = "AFR 1"
unit = "afr"
no_reading = [-1, 99.9]
no_reading_text = ["---"]
[channels.grip_angle]
column = "Grip V"
unit = "percent"
points = [[0.5, 0], [4.5, 100.0]]
[channels.fuel_cut]
column = "Cut"
unit = "flag"
optional = true
"#;

/// A map that is read as something else would put the wrong column, or unit, in a pull.
#[test]
fn a_map_is_read_as_written() {
    let map = parse_channel_map(PLAIN).unwrap();
    assert_eq!(map.time.column.as_deref(), Some("Time"));
    assert_eq!(
        (map.time.unit, map.time.repeated),
        (Unit::Ms, RepeatedTime::Refuse)
    );
    assert_eq!(map.evidence, EvidenceKind::Lambda);
    let plate = &map.channels[&Quantity::PlateAngle];
    assert_eq!(
        (plate.scale.to_bits(), plate.offset.to_bits()),
        (1.25_f64.to_bits(), (-3.0_f64).to_bits())
    );
    let lambda = &map.channels[&Quantity::Lambda];
    assert_eq!((lambda.unit, lambda.optional), (Unit::Afr, false));
    assert_eq!(lambda.no_reading, [-1.0, 99.9]);
    assert_eq!(lambda.no_reading_text, ["---"]);
    let grip = &map.channels[&Quantity::GripAngle];
    assert_eq!(grip.points, Some([[0.5, 0.0], [4.5, 100.0]]));
    assert!(map.channels[&Quantity::FuelCut].optional);
}

/// What the daemon writes as a map it must read as the same map.
#[test]
fn a_map_survives_its_own_file_form() {
    for map in [parse_channel_map(PLAIN).unwrap(), standard_channels()] {
        let text = toml::to_string(&map).unwrap();
        assert_eq!(parse_channel_map(&text).unwrap(), map);
    }
}

fn problems(toml: &str) -> Vec<String> {
    let errors = parse_channel_map(toml).unwrap_err();
    errors.iter().map(ToString::to_string).collect()
}

/// A map with several mistakes must be told all of them, each with its line.
#[test]
fn every_problem_is_named_by_line_and_path() {
    let toml = r#"
evidences = "trims"
[time]
colum = "Time"
[channels.engine_speed]
column = "RPM"
unit = "furlongs"
[channels.boost]
column = "Boost"
[channels.lambda]
column = "L"
unit = "lambda"
scale = "two"
gain = 2
[channels.plate_angle]
column = 7
unit = "percent"
"#;
    assert_eq!(
        problems(toml),
        [
            "line 2, evidences: is not a known key; write one of time, channels, evidence",
            "line 4, time.colum: is not a known key; write one of column, unit, rate_hz, repeated",
            "line 8, channels.boost: is not a known quantity; write one of engine_speed, plate_angle, lambda, coolant_temperature, short_term_trim, long_term_trim, fuel_cut, shift_cut, sensor_ready, intake_temperature, manifold_pressure, ambient_pressure, grip_angle, torque_cut, secondary_air, closed_loop, purge, lambda_2, lambda_3, lambda_4, roller_speed, roller_torque, relative_humidity, ambient_temperature",
            "line 7, channels.engine_speed: unknown variant `furlongs`, expected one of `rpm`, `rev_per_s`, `percent`, `ratio`, `lambda`, `afr`, `equivalence_ratio`, `celsius`, `fahrenheit`, `kelvin`, `kpa`, `mbar`, `bar`, `psi`, `inhg`, `rad_per_s`, `nm`, `lbf_ft`, `flag`, `s`, `ms`, `us`, `min`, `day`, `clock_time`, `iso8601`; correct the line",
            "line 14, channels.lambda.gain: is not a known key; write one of column, unit, scale, offset, points, no_reading, no_reading_text, optional",
            "line 16, channels.plate_angle: invalid type: integer `7`, expected a string; correct the line",
        ]
    );
}

/// A map whose parts are each right and together useless must be refused before a log is read.
#[test]
fn a_map_that_cannot_work_is_refused() {
    let toml = r#"
evidence = "lambda_and_trims"
[time]
rate_hz = 0
unit = "rpm"
[channels.engine_speed]
column = ""
unit = "kpa"
[channels.plate_angle]
column = "Plate"
unit = "percent"
scale = 0
offset = inf
no_reading = [1, nan]
optional = true
points = [[1, 0], [1, 100]]
"#;
    assert_eq!(
        problems(toml),
        [
            "line 4, time.rate_hz: 0 is outside 0.1 to 10000 rows a second; check the number and its unit",
            "line 5, time.unit: rpm is not a unit of time; write s, ms, us, min, day, clock_time or iso8601",
            "line 7, channels.engine_speed.column: is empty; write the header of the source column",
            "line 8, channels.engine_speed.unit: kpa is not a unit of engine_speed; write rpm or rev_per_s",
            "line 12, channels.plate_angle.scale: 0 is not a usable factor; write a finite factor other than 0",
            "line 13, channels.plate_angle.offset: inf is not a finite number; write a plain number",
            "line 16, channels.plate_angle.points: are given beside scale or offset; keep the one or the other",
            "line 16, channels.plate_angle.points: [[1.0, 0.0], [1.0, 100.0]] are no two points of a line; write two raw values that differ, each with what it is in the channel's unit",
            "line 14, channels.plate_angle.no_reading[1]: NaN is not a finite number; list it as text under no_reading_text",
            "line 15, channels.plate_angle.optional: nothing can be learned without this channel; leave the line out",
            "line 6, channels.lambda: is missing, and nothing can be learned without it; add the section [channels.lambda] with column and unit",
            "line 2, evidence: speaks of trims, and neither trim is mapped; add [channels.short_term_trim] or [channels.long_term_trim], or write lambda",
        ]
    );
}

/// A file that is no map at all must not be met with silence, nor with a panic.
#[test]
fn a_file_that_is_no_map_is_refused() {
    assert_eq!(
        problems(""),
        [
            "time: is missing; add the section [time] with column and unit, or with rate_hz",
            "channels: is missing; add the section [channels] such as [channels.engine_speed]",
        ]
    );
    let broken = problems("[time]\ncolumn = \n");
    assert_eq!(broken.len(), 1);
    assert!(
        broken[0].starts_with("line 2, channel map: "),
        "{}",
        broken[0]
    );
    assert!(problems(&"# long\n".repeat(10_000))[0].contains("more than 65536"));
    let flat = problems("time = 3\nchannels = \"all\"\n");
    assert_eq!(
        flat[0],
        "line 1, time: is of type integer and no section; write it as [time] with one key a line"
    );
}

/// An example that is copied and then refused is worse than none.
#[test]
fn the_examples_are_maps() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/examples/channels");
    let mut count = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let text = std::fs::read_to_string(&path).unwrap();
        let errors = parse_channel_map(&text).err();
        assert_eq!(errors, None, "{}", path.display());
        count += 1;
    }
    assert!(count >= 2, "{count} examples");
}

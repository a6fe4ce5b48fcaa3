//! Logs that are read and yet are not what they should be.
//!
//! The logs are of our own making: a plate that wanders, a speed that follows, and a lambda that
//! answers to both through delay and lag.

use baytrim_intake::{check_axes, fingerprint};
use baytrim_model::axis::{Axes, Axis};
use baytrim_model::channel::Quantity;
use baytrim_model::samples::Samples;

use crate::files::file;
use crate::support::{gzip, plain, read};

/// What an invented log does, by time in seconds.
struct Pull {
    rpm: fn(f64) -> f64,
    plate: fn(f64) -> f64,
    lambda: fn(f64) -> f64,
}

fn plate(time_s: f64) -> f64 {
    let wander =
        32.0 * (0.31 * time_s).sin() + 18.0 * (0.83 * time_s).sin() + 12.0 * (1.7 * time_s).sin();
    (40.0 + wander).clamp(0.0, 100.0)
}

fn rpm(time_s: f64) -> f64 {
    3500.0 + 1600.0 * (0.19 * time_s).sin() + 500.0 * (0.53 * time_s).sin()
}

/// A table that is off by some percent across plate and speed, as it is before a correction.
fn lambda(time_s: f64) -> f64 {
    let noise = 0.01 * ((97.0 * time_s).sin() + (61.7 * time_s).sin());
    0.88 + 0.0016 * (plate(time_s) - 40.0) - 0.00002 * (rpm(time_s) - 3500.0) + noise
}

const HONEST: Pull = Pull {
    rpm,
    plate,
    lambda: |time_s| lambda(time_s - 0.35),
};

fn samples(pull: &Pull) -> Samples {
    let times = || (0..6000).map(|row| f64::from(row) * 0.02);
    let mut samples = Samples {
        offset_s: times().collect(),
        ..Samples::default()
    };
    for (quantity, values) in [
        (Quantity::EngineSpeed, pull.rpm),
        (Quantity::PlateAngle, pull.plate),
        (Quantity::Lambda, pull.lambda),
    ] {
        samples
            .channels
            .insert(quantity, times().map(values).collect());
    }
    samples
}

fn axes() -> Axes {
    let axis = |name, values: &[f64]| Axis::new(name, values.to_vec()).unwrap();
    Axes {
        rpm: axis("rpm", &[1000.0, 2000.0, 4000.0, 6000.0, 8000.0]),
        plate_percent: axis("plate", &[0.0, 10.0, 25.0, 50.0, 100.0]),
    }
}

fn codes(pull: &Pull) -> Vec<String> {
    let warnings = check_axes(&samples(pull), &axes());
    warnings.into_iter().map(|warning| warning.code).collect()
}

/// A warning on a good log teaches people to overlook warnings.
#[test]
fn an_honest_log_is_not_remarked_upon() {
    assert_eq!(codes(&HONEST), [""; 0]);
}

/// A log in another unit of speed, or a plate in degrees, would teach the table about nodes it never saw.
#[test]
fn an_axis_that_does_not_fit_is_remarked_upon() {
    let other = Pull {
        rpm: |time_s| 2.6 * rpm(time_s),
        ..HONEST
    };
    assert_eq!(codes(&other), ["rpm_out_of_table"]);
    let degrees = Pull {
        plate: |time_s| (1.3 * plate(time_s)).min(100.0) * 0.84,
        ..HONEST
    };
    assert_eq!(codes(&degrees), ["plate_degrees"]);
    let still = Pull {
        plate: |_| 12.0,
        ..HONEST
    };
    assert_eq!(codes(&still), ["plate_still"]);
}

/// A log that is sent twice would count as two pulls, and its evidence twice.
#[test]
fn a_log_is_known_again_in_another_dress() {
    let print = |bytes: &[u8]| fingerprint(&read(bytes).unwrap().samples);
    let text = plain();
    let first = print(text.as_bytes());
    assert_eq!(first.len(), 64);
    assert_eq!(print(&gzip(text.as_bytes())), first);
    assert_eq!(
        print(text.replace(',', ";").replace('.', ",").as_bytes()),
        first
    );
    let later: Vec<String> = text.lines().map(|line| format!("{line},3")).collect();
    assert_eq!(
        print(later.join("\n").replacen(",3", ",gear", 1).as_bytes()),
        first
    );
    assert_ne!(print(text.replace("0.905", "0.906").as_bytes()), first);
    assert_ne!(print(&file("plain.csv")), first);
    let packed = print(&file("plain_level_19.csv.zst"));
    assert_eq!(print(&file("plain.csv")), packed);
}

//! Tells whether two logs are one.

use baytrim_model::samples::Samples;
use sha2::{Digest, Sha256};

/// Significant digits of a reading that count: sixth digits differ between formats of single
/// and double precision.
const DIGITS: i32 = 5;

/// Returns a fingerprint of what samples say, in 64 hexadecimal digits.
///
/// Two files of one recording get the same one although their format, packing, delimiters, spare
/// columns or first time differ; another recording does not. What counts is engine speed, plate angle
/// and lambda (or the trims, where there is no lambda), each to five significant digits, and
/// offsets to a millisecond.
pub fn fingerprint(samples: &Samples) -> String {
    use baytrim_model::channel::Quantity::{
        EngineSpeed, Lambda, LongTermTrim, PlateAngle, ShortTermTrim,
    };
    let evidence: &[_] = match samples.channel(Lambda) {
        Some(_) => &[Lambda],
        None => &[ShortTermTrim, LongTermTrim],
    };
    let mut hasher = Sha256::new();
    for offset_s in &samples.offset_s {
        hasher.update(rounded((offset_s * 1000.0).round(), 0).to_le_bytes());
    }
    for quantity in [EngineSpeed, PlateAngle].iter().chain(evidence) {
        let values = samples.channel(*quantity).unwrap_or_default();
        hasher.update(quantity.as_str().as_bytes());
        hasher.update((values.len() as u64).to_le_bytes());
        for value in values {
            hasher.update(rounded(*value, DIGITS).to_le_bytes());
        }
    }
    hasher
        .finalize()
        .iter()
        .fold(String::new(), |text, byte| format!("{text}{byte:02x}"))
}

/// Returns `value` to so many significant digits, all readings that are none alike; 0 digits keep it.
fn rounded(value: f64, digits: i32) -> f64 {
    if value.is_nan() {
        return f64::MAX;
    }
    if digits == 0 || value == 0.0 || !value.is_finite() {
        return value + 0.0;
    }
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a logarithm of a double is below 400"
    )]
    let magnitude = value.abs().log10().floor() as i32;
    let unit = 10_f64.powi(magnitude + 1 - digits);
    (value / unit).round() * unit
}

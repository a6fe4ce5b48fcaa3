//! Files of measurements and tables that are at fault.

use baytrim_intake::IntakeError;
use baytrim_model::channel::{Channel, ChannelMap, EvidenceKind, Quantity, Unit};

use super::{limited, refused_by};
use crate::files::file;
use crate::support::altered;

/// Returns a map of the committed files' names.
fn named(plate: &str) -> ChannelMap {
    altered(|map| {
        map.channels.clear();
        for (quantity, column, unit) in [
            (Quantity::EngineSpeed, "Engine speed", Unit::Rpm),
            (Quantity::PlateAngle, plate, Unit::Percent),
            (Quantity::Lambda, "Lambda", Unit::Lambda),
        ] {
            map.channels.insert(quantity, Channel::new(column, unit));
        }
    })
}

pub(super) fn mdf_cases() -> Vec<(&'static str, IntakeError)> {
    let bytes = file("four_clocks_410.mf4");
    let mut bus = bytes.clone();
    // The flags of a channel group, 24 bytes of header, 6 links and two counts into its block: a
    // bus event, ASAM MDF 4.1 section 5.14.
    let group = bytes.windows(4).position(|four| four == b"##CG").unwrap();
    bus[group + 24 + 6 * 8 + 16] |= 2;
    let version = |text: &[u8; 4], number: u16| {
        let mut other = bytes.clone();
        // The version as text and as a number, ASAM MDF 4.1 section 5.2.
        other[8..12].copy_from_slice(text);
        other[28..30].copy_from_slice(&number.to_le_bytes());
        other
    };
    let mut backwards = bytes.clone();
    let sample = bytes
        .windows(8)
        .position(|eight| eight == 3.963_f64.to_le_bytes());
    if let Some(sample) = sample {
        backwards[sample..sample + 8].copy_from_slice(&1.0_f64.to_le_bytes());
    }
    let trims = altered(|map| {
        *map = named("Throttle");
        map.evidence = EvidenceKind::LambdaAndTrims;
        let trim = Channel::new("Trim", Unit::Percent);
        map.channels.insert(Quantity::ShortTermTrim, trim);
    });
    vec![
        (
            "the first bytes of an MDF file",
            refused_by(&named("Throttle"), b"MDF     4.10    some tool\0\0"),
        ),
        (
            "an MDF file cut in half",
            refused_by(&named("Throttle"), &bytes[..bytes.len() / 2]),
        ),
        (
            "an MDF file of the version before",
            refused_by(&named("Throttle"), version(b"3.30", 330)),
        ),
        (
            "an MDF file of a later version",
            refused_by(&named("Throttle"), version(b"4.30", 430)),
        ),
        (
            "an MDF file without the channel wanted",
            refused_by(&named("Plate"), &bytes),
        ),
        (
            "an MDF file without either trim",
            refused_by(&trims, &bytes),
        ),
        (
            "an MDF file of bus frames",
            refused_by(&named("Plate"), &bus),
        ),
        (
            "an MDF file whose clock goes back",
            refused_by(&named("Throttle"), &backwards),
        ),
        (
            "an MDF file over the byte limit",
            limited(&bytes, |limits| limits.bytes_max = 10_000),
        ),
    ]
}

//! Units as logs write them.

use baytrim_model::channel::{Quantity, Unit};

/// What a log states as the unit of a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum StatedUnit {
    /// One that a channel map knows.
    Known(Unit),
    /// Degrees of an angle.
    Degrees,
    /// Volts.
    Volts,
    /// None, in so many words.
    Pure,
}

/// Units in lower case without spaces, and what they say. Symbols of the SI (SI brochure, tables 2
/// to 8) and of SAE J1979, and what the languages of the names write for them.
const TEXTS: [(&[&str], StatedUnit); 24] = [
    (
        &[
            "rpm", "1/min", "/min", "min-1", "min^-1", "min⁻¹", "u/min", "upm", "tr/min", "t/min",
            "giri/min", "r/min", "rev/min", "obr/min", "ot/min", "v/min", "varv/min", "omw/min",
        ],
        StatedUnit::Known(Unit::Rpm),
    ),
    (
        &[
            "rps", "1/s", "hz", "rev/s", "r/s", "u/s", "tr/s", "s-1", "s^-1",
        ],
        StatedUnit::Known(Unit::RevPerS),
    ),
    (
        &["rad/s", "rad/sec", "rads"],
        StatedUnit::Known(Unit::RadPerS),
    ),
    (
        &[
            "nm",
            "n·m",
            "n*m",
            "n.m",
            "n-m",
            "newtonmeter",
            "newton metre",
            "newtonmetre",
        ],
        StatedUnit::Known(Unit::Nm),
    ),
    (
        &[
            "lbf·ft", "lbf.ft", "lbfft", "lb-ft", "lb·ft", "lbft", "ft-lb", "ft·lb", "ftlb",
            "ft-lbf", "ftlbf", "lbf-ft",
        ],
        StatedUnit::Known(Unit::LbfFt),
    ),
    (
        &["%", "pct", "percent", "prozent", "pourcent", "procent"],
        StatedUnit::Known(Unit::Percent),
    ),
    (&["lambda", "λ", "lam"], StatedUnit::Known(Unit::Lambda)),
    (
        &["afr", ":1", "kg/kg", "g/g", "a/f", "air/fuel"],
        StatedUnit::Known(Unit::Afr),
    ),
    (
        &["phi", "φ", "eqr"],
        StatedUnit::Known(Unit::EquivalenceRatio),
    ),
    (
        &[
            "°c",
            "degc",
            "c",
            "celsius",
            "gradc",
            "grad c",
            "deg c",
            "℃",
            "degrees c",
        ],
        StatedUnit::Known(Unit::Celsius),
    ),
    (
        &["°f", "degf", "f", "fahrenheit", "deg f", "℉", "degrees f"],
        StatedUnit::Known(Unit::Fahrenheit),
    ),
    (&["k", "kelvin", "°k"], StatedUnit::Known(Unit::Kelvin)),
    (
        &["kpa", "kpaa", "kpa(a)", "kpaabs"],
        StatedUnit::Known(Unit::Kpa),
    ),
    (&["mbar", "hpa"], StatedUnit::Known(Unit::Mbar)),
    (&["bar", "bara"], StatedUnit::Known(Unit::Bar)),
    (
        &["psi", "psia", "lb/in2", "lbf/in2"],
        StatedUnit::Known(Unit::Psi),
    ),
    (
        &["inhg", "in.hg", "\"hg", "in hg"],
        StatedUnit::Known(Unit::InHg),
    ),
    (
        &[
            "s", "sec", "secs", "second", "seconds", "sek", "sekunden", "secondes", "secondi",
            "segundos", "秒",
        ],
        StatedUnit::Known(Unit::S),
    ),
    (
        &["ms", "msec", "millis", "milliseconds"],
        StatedUnit::Known(Unit::Ms),
    ),
    (
        &["us", "µs", "μs", "usec", "micros"],
        StatedUnit::Known(Unit::Us),
    ),
    (&["min", "minutes", "minuten"], StatedUnit::Known(Unit::Min)),
    (
        &[
            "°", "deg", "degree", "degrees", "grad", "degré", "gradi", "度",
        ],
        StatedUnit::Degrees,
    ),
    (&["v", "volt", "volts"], StatedUnit::Volts),
    (
        &[
            "-", "1", "", "--", "none", "n/a", "ratio", "0/1", "bool", "flag", "on/off", "0-1",
        ],
        StatedUnit::Pure,
    ),
];

/// Returns what `text` states, none where it is no unit that is known.
pub(super) fn read_unit(text: &str) -> Option<StatedUnit> {
    let text = text.trim().to_lowercase();
    let tight: String = text.split_whitespace().collect();
    TEXTS
        .iter()
        .find(|(texts, _)| texts.contains(&text.as_str()) || texts.contains(&tight.as_str()))
        .map(|(_, unit)| *unit)
}

impl StatedUnit {
    /// Returns the unit that a channel of `quantity` would name for this one, none where it is none
    /// of the quantity's.
    pub(super) fn of(self, quantity: Quantity) -> Option<Unit> {
        match self {
            Self::Known(unit) => quantity.units().contains(&unit).then_some(unit),
            Self::Pure => quantity
                .units()
                .iter()
                .copied()
                .find(|unit| matches!(unit, Unit::Lambda | Unit::Ratio | Unit::Flag)),
            Self::Degrees | Self::Volts => None,
        }
    }

    /// Returns whether the word for it also names the quantity.
    pub(super) fn is_a_name(self) -> bool {
        matches!(
            self,
            Self::Known(Unit::Rpm | Unit::Lambda | Unit::Afr | Unit::EquivalenceRatio)
        )
    }

    /// Returns whether a column in this unit cannot be `quantity`.
    pub(super) fn excludes(self, quantity: Quantity) -> bool {
        if self.of(quantity).is_some() {
            return false;
        }
        match self {
            Self::Volts => !matches!(
                quantity,
                Quantity::PlateAngle | Quantity::GripAngle | Quantity::Lambda
            ),
            Self::Degrees => !matches!(
                quantity,
                Quantity::PlateAngle
                    | Quantity::GripAngle
                    | Quantity::CoolantTemperature
                    | Quantity::IntakeTemperature
                    | Quantity::AmbientTemperature
            ),
            // A flag may be said to be in percent, and a ratio of one to be none.
            Self::Known(_) | Self::Pure => true,
        }
    }
}

//! Units of log columns.

use std::fmt;

use serde::{Deserialize, Serialize};

/// A unit that a log column may be in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// Revolutions a minute.
    Rpm,
    /// Revolutions a second.
    RevPerS,
    /// Percent.
    Percent,
    /// A ratio of 1, for percentages and trims.
    Ratio,
    /// Lambda.
    Lambda,
    /// Air-fuel ratio by mass, read with the job's fuel.
    Afr,
    /// Fuel-air equivalence ratio, 1 / lambda.
    EquivalenceRatio,
    /// Degrees Celsius.
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
    /// Kelvin.
    Kelvin,
    /// Kilopascal.
    Kpa,
    /// Millibar (hectopascal).
    Mbar,
    /// Bar.
    Bar,
    /// Pounds per square inch.
    Psi,
    /// Inches of mercury (conventional).
    #[serde(rename = "inhg")]
    InHg,
    /// Radians a second.
    RadPerS,
    /// Newton metres.
    Nm,
    /// Pound-force feet.
    LbfFt,
    /// 0 or 1, or off/on, false/true, no/yes.
    Flag,
    /// Seconds.
    S,
    /// Milliseconds.
    Ms,
    /// Microseconds.
    Us,
    /// Minutes.
    Min,
    /// Days and parts of them, as spreadsheets count.
    Day,
    /// Time of day or elapsed: `HH:MM:SS` or `MM:SS`, with decimals of the second or without.
    ClockTime,
    /// Date and time by ISO 8601, such as `2031-05-04T10:15:30.25Z`; a space will do for the `T`.
    Iso8601,
}

impl Unit {
    /// The units of time.
    pub const TIMES: [Self; 7] = [
        Self::S,
        Self::Ms,
        Self::Us,
        Self::Min,
        Self::Day,
        Self::ClockTime,
        Self::Iso8601,
    ];

    /// Returns the name as channel maps and the wire write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Rpm => "rpm",
            Self::RevPerS => "rev_per_s",
            Self::Percent => "percent",
            Self::Ratio => "ratio",
            Self::Lambda => "lambda",
            Self::Afr => "afr",
            Self::EquivalenceRatio => "equivalence_ratio",
            Self::Celsius => "celsius",
            Self::Fahrenheit => "fahrenheit",
            Self::Kelvin => "kelvin",
            Self::Kpa => "kpa",
            Self::Mbar => "mbar",
            Self::Bar => "bar",
            Self::Psi => "psi",
            Self::InHg => "inhg",
            Self::RadPerS => "rad_per_s",
            Self::Nm => "nm",
            Self::LbfFt => "lbf_ft",
            Self::Flag => "flag",
            Self::S => "s",
            Self::Ms => "ms",
            Self::Us => "us",
            Self::Min => "min",
            Self::Day => "day",
            Self::ClockTime => "clock_time",
            Self::Iso8601 => "iso8601",
        }
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

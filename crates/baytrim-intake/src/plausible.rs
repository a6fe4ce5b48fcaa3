//! Finds units that cannot be what the channel map says, and guesses what they are.

use baytrim_model::channel::{Quantity, Unit};

/// The readings of a column, in the quantity's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spread {
    /// Smallest.
    pub low: f64,
    /// Median.
    pub median: f64,
    /// Largest.
    pub high: f64,
    /// How many.
    pub count: u64,
}

/// Fewest readings from which a column's unit is judged.
const READINGS_MIN: u64 = 10;

/// Engine speed that no engine idles at, rpm.
const RPM_WORKING: f64 = 2500.0;

/// What is known to be wrong, and what to do about it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Doubt {
    pub finding: String,
    pub remedy: &'static str,
}

/// Returns why a single value is unbelievable, and what to do.
pub(crate) fn out_of_range_remedy(quantity: Quantity, unit: Unit, value: f64) -> String {
    let cause = match (quantity, unit) {
        (Quantity::EngineSpeed, Unit::RevPerS) if value > 0.0 => {
            "the column may hold rpm: then write unit = \"rpm\""
        }
        (Quantity::EngineSpeed, _) if value > 0.0 => "the column may need a scale",
        (Quantity::PlateAngle | Quantity::GripAngle, Unit::Ratio) if value > 1.0 => {
            "the column may hold percent: then write unit = \"percent\""
        }
        (Quantity::PlateAngle | Quantity::GripAngle, _) if value > 100.0 => {
            "the column may hold raw counts or degrees: then write points = [[RAW_SHUT, 0.0], [RAW_OPEN, 100.0]]"
        }
        (_, Unit::Afr) if (0.3..3.0).contains(&value) => {
            "the column may hold lambda: then write unit = \"lambda\""
        }
        (_, Unit::Lambda) if value > 40.0 => {
            "the meter may write this for no reading, or the column may hold AFR times ten"
        }
        (Quantity::CoolantTemperature | Quantity::IntakeTemperature, Unit::Celsius)
            if value > 200.0 =>
        {
            "the column may hold kelvin or fahrenheit: then write unit = \"kelvin\" or \"fahrenheit\""
        }
        (Quantity::CoolantTemperature | Quantity::IntakeTemperature, Unit::Kelvin)
            if value < 213.15 =>
        {
            "the column may hold celsius: then write unit = \"celsius\""
        }
        (Quantity::ShortTermTrim | Quantity::LongTermTrim, Unit::Ratio) => {
            "the column may hold percent: then write unit = \"percent\""
        }
        (Quantity::ManifoldPressure | Quantity::AmbientPressure, Unit::Kpa) if value > 500.0 => {
            "the column may hold mbar: then write unit = \"mbar\""
        }
        (Quantity::AmbientTemperature, Unit::Celsius) if value > 200.0 => {
            "the column may hold kelvin: then write unit = \"kelvin\""
        }
        (Quantity::AmbientTemperature, Unit::Celsius) => {
            "the column may hold fahrenheit: then write unit = \"fahrenheit\""
        }
        (Quantity::RelativeHumidity, Unit::Ratio) if value > 110.0 => {
            "the column may hold percent: then write unit = \"percent\""
        }
        (Quantity::RollerSpeed, Unit::RevPerS | Unit::RadPerS) => {
            "the column may hold rpm: then write unit = \"rpm\""
        }
        (Quantity::AmbientPressure, Unit::Kpa) if (10.0..20.0).contains(&value) => {
            "the column may hold psi: then write unit = \"psi\""
        }
        (Quantity::AmbientPressure, Unit::Kpa) if (20.0..40.0).contains(&value) => {
            "the column may hold inches of mercury: then write unit = \"inhg\""
        }
        (Quantity::AmbientPressure, Unit::Kpa) if (0.4..1.2).contains(&value) => {
            "the column may hold bar: then write unit = \"bar\""
        }
        (_, Unit::Flag) => "the column may hold a code and not a flag: then leave the channel out",
        _ => "check unit, scale and offset in the channel map",
    };
    format!("{cause}; where the logger writes it for no reading, list it under no_reading")
}

/// Returns why a column as a whole cannot be in the unit that it was read in.
///
/// `rpm_high` is the highest engine speed of the log.
pub(crate) fn unit_doubt(
    quantity: Quantity,
    unit: Unit,
    spread: Spread,
    rpm_high: f64,
) -> Option<Doubt> {
    if spread.count < READINGS_MIN {
        return None;
    }
    let Spread {
        low, median, high, ..
    } = spread;
    let doubt = |finding: String, remedy| Some(Doubt { finding, remedy });
    match (quantity, unit) {
        // Lambda meters end at about 5 outside overrun; petrol's AFR at lambda 1 is 14.7, E85's 9.8,
        // methanol's 6.5.
        (_, Unit::Lambda) if median >= 5.0 => doubt(
            format!("the median is lambda {median:.3}"),
            "the column holds AFR, it seems: then write unit = \"afr\"; if it is lambda, the sensor was in free air for most of the log: cut that off",
        ),
        // An engine that never exceeds 420 rpm did not run; 420 rev/s is more than any engine does.
        (Quantity::EngineSpeed, Unit::Rpm) if high > 0.0 && high <= 420.0 => doubt(
            format!("the highest engine speed is {high} rpm"),
            "the column holds rev/s, it seems: then write unit = \"rev_per_s\" (for thousands of rpm, scale = 1000)",
        ),
        // An engine does not rev with a plate that never opens by more than 1.05 percent; that it
        // moves tells it from a log of nothing but overrun.
        (Quantity::PlateAngle | Quantity::GripAngle, Unit::Percent)
            if rpm_high >= RPM_WORKING
                && high <= 1.05
                && high - low.max(0.0) >= 0.5
                && low >= -0.05 =>
        {
            doubt(
                format!("the widest opening is {high} percent"),
                "the column holds a ratio of 0 to 1, it seems: then write unit = \"ratio\"",
            )
        }
        // Coolant boils off long before; 135 C is 275 F and 57 F below freezing in kelvin.
        (Quantity::CoolantTemperature, Unit::Celsius) if median > 135.0 => doubt(
            format!("the median is {median:.1} degrees C"),
            "the column holds fahrenheit, it seems: then write unit = \"fahrenheit\"",
        ),
        (Quantity::IntakeTemperature, Unit::Celsius) if median > 120.0 => doubt(
            format!("the median is {median:.1} degrees C"),
            "the column holds fahrenheit, it seems: then write unit = \"fahrenheit\"",
        ),
        // No bay is as hot as 50 C all day, nor as dry as a hundredth of what its air can hold.
        (Quantity::AmbientTemperature, Unit::Celsius) if median > 50.0 => doubt(
            format!("the median is {median:.1} degrees C"),
            "the column holds fahrenheit, it seems: then write unit = \"fahrenheit\"",
        ),
        (Quantity::RelativeHumidity, Unit::Percent) if high > 0.0 && high <= 1.0 => doubt(
            format!("the highest relative humidity is {high} percent"),
            "the column holds a ratio of 0 to 1, it seems: then write unit = \"ratio\"",
        ),
        // No engine idles below a fifth of the atmosphere from the first row to the last.
        (Quantity::ManifoldPressure, Unit::Kpa) if high > 0.0 && high <= 20.0 => doubt(
            format!("the highest pressure is {high} kPa"),
            "the column holds psi or bar, it seems: then write unit = \"psi\" or \"bar\"",
        ),
        _ => None,
    }
}

/// Returns what is odd about a trim column that may be a factor around 1, or a ratio around 0.
pub(crate) fn trim_oddity(quantity: Quantity, unit: Unit, spread: Spread) -> Option<String> {
    let is_trim = matches!(quantity, Quantity::ShortTermTrim | Quantity::LongTermTrim);
    if !is_trim || unit != Unit::Percent || spread.count < READINGS_MIN {
        return None;
    }
    let Spread {
        low, median, high, ..
    } = spread;
    if low >= 0.6 && high <= 1.4 && (0.8..=1.2).contains(&median) && high > low {
        return Some(format!(
            "all readings of {quantity} lie between {low} and {high} percent, as a factor around 1 would; if it is one, write unit = \"ratio\" and offset = -1.0"
        ));
    }
    if low >= -0.3 && high <= 0.3 && low < high {
        return Some(format!(
            "all readings of {quantity} lie between {low} and {high} percent, as a ratio would; if it is one, write unit = \"ratio\""
        ));
    }
    None
}

/// Returns why rows at `median_rate_hz` cannot be: the clock's unit is wrong.
pub(crate) fn clock_doubt(unit: Unit, median_rate_hz: f64, row_count: usize) -> Option<Doubt> {
    if (row_count as u64) < READINGS_MIN {
        return None;
    }
    let finding = format!("rows come at {median_rate_hz:.4} a second");
    match unit {
        Unit::S if median_rate_hz < 0.2 => Some(Doubt {
            finding,
            remedy: "the column holds milliseconds, it seems: then write unit = \"ms\" under [time]",
        }),
        Unit::S if median_rate_hz > 20_000.0 => Some(Doubt {
            finding,
            remedy: "the column counts days or hours, it seems: then write unit = \"day\" under [time]",
        }),
        Unit::Us if median_rate_hz > 20_000.0 => Some(Doubt {
            finding,
            remedy: "the column holds milliseconds or seconds, it seems: then write unit = \"ms\" or \"s\" under [time]",
        }),
        Unit::Min | Unit::Day if median_rate_hz < 0.02 => Some(Doubt {
            finding,
            remedy: "the column holds seconds, it seems: then write unit = \"s\" under [time]",
        }),
        Unit::Ms if median_rate_hz > 20_000.0 => Some(Doubt {
            finding,
            remedy: "the column holds seconds, it seems: then write unit = \"s\" under [time]",
        }),
        _ => None,
    }
}

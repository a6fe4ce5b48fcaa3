//! A number that its quantity cannot have.

use std::fmt;

use baytrim_model::channel::{Quantity, Unit};

/// A number that its quantity cannot have, and how it was come by.
#[derive(Debug, Clone, PartialEq)]
pub struct Misreading {
    /// What stands in the log.
    pub value: f64,
    /// The map's factor.
    pub scale: f64,
    /// The map's offset.
    pub offset: f64,
    /// The map's two points, in place of factor and offset.
    pub points: Option<[[f64; 2]; 2]>,
    /// The unit that the result is read in.
    pub unit: Unit,
    /// The quantity.
    pub quantity: Quantity,
    /// What it comes to in the quantity's own unit.
    pub converted: f64,
}

impl fmt::Display for Misreading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (low, high) = self.quantity.believable();
        write!(
            f,
            "{} makes {} {} when read as {}{}, outside {low} to {high}",
            self.value,
            self.quantity,
            brief(self.converted),
            self.unit,
            self.scaling(),
        )
    }
}

/// Returns `value` with four decimals at the most.
fn brief(value: f64) -> String {
    let text = format!("{value:.4}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

impl Misreading {
    #[expect(clippy::float_cmp, reason = "the defaults are exact")]
    fn scaling(&self) -> String {
        let Self { scale, offset, .. } = self;
        match self.points {
            Some([[raw_a, value_a], [raw_b, value_b]]) => {
                format!(" on the line where {raw_a} is {value_a} and {raw_b} is {value_b}")
            }
            None if *scale == 1.0 && *offset == 0.0 => String::new(),
            None => format!(" with scale {scale} and offset {offset}"),
        }
    }
}

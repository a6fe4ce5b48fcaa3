//! The rows of a pull, column by column.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::channel::Quantity;
use crate::field::FieldError;

/// Most samples in one pull: ten hours at 100 Hz, about 200 MB in memory.
pub const SAMPLES_MAX: usize = 3_600_000;

/// Samples of one pull, column by column; all columns have one length.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Samples {
    /// Seconds since the pull began, strictly increasing, not negative.
    pub offset_s: Vec<f64>,
    /// The channels, each in its quantity's unit; NaN where there was no reading.
    pub channels: BTreeMap<Quantity, Vec<f64>>,
}

impl Samples {
    /// Returns the number of samples.
    pub fn len(&self) -> usize {
        self.offset_s.len()
    }

    /// Returns whether there are none.
    pub fn is_empty(&self) -> bool {
        self.offset_s.is_empty()
    }

    /// Returns a channel, where it was logged.
    pub fn channel(&self, quantity: Quantity) -> Option<&[f64]> {
        self.channels.get(&quantity).map(Vec::as_slice)
    }

    /// Returns the seconds between the first and the last sample.
    pub fn duration_s(&self) -> f64 {
        match (self.offset_s.first(), self.offset_s.last()) {
            (Some(first), Some(last)) => last - first,
            _ => 0.0,
        }
    }

    /// Appends the samples of `later`, which follow these in time.
    ///
    /// # Errors
    /// When the columns differ, when `later` has columns of unequal length, or when its clock does
    /// not go on from here; nothing is appended then.
    pub fn append(&mut self, later: &Self) -> Result<(), FieldError> {
        later.check_shape()?;
        if !self.is_empty() && !self.channels.keys().eq(later.channels.keys()) {
            return Err(FieldError::new(
                "channels",
                "differ from those that the pull began with",
                "send the same channels in every batch of a pull",
            ));
        }
        let mut last = self.offset_s.last().copied().unwrap_or(f64::NEG_INFINITY);
        for (row, &offset_s) in later.offset_s.iter().enumerate() {
            if !(offset_s.is_finite() && offset_s >= 0.0 && offset_s > last) {
                return Err(FieldError::new(
                    format!("offset_s[{row}]"),
                    format!("{offset_s} s does not follow {last} s"),
                    "send samples in the order in which they were taken, each time once",
                ));
            }
            last = offset_s;
        }
        if self.len() + later.len() > SAMPLES_MAX {
            return Err(FieldError::new(
                "offset_s",
                format!("the pull would exceed {SAMPLES_MAX} samples"),
                "finish this pull and begin another",
            ));
        }
        self.offset_s.extend_from_slice(&later.offset_s);
        for (quantity, column) in &later.channels {
            self.channels
                .entry(*quantity)
                .or_default()
                .extend_from_slice(column);
        }
        Ok(())
    }

    fn check_shape(&self) -> Result<(), FieldError> {
        for (quantity, column) in &self.channels {
            if column.len() != self.len() {
                return Err(FieldError::new(
                    quantity.as_str(),
                    format!("has {} values for {} times", column.len(), self.len()),
                    "give every channel one value per time, NaN where there was no reading",
                ));
            }
        }
        Ok(())
    }
}

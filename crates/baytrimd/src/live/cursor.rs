//! Where a live pull is, and whether a batch goes on from there.

use std::collections::BTreeSet;

use baytrim_model::channel::{ChannelMap, EvidenceKind, Quantity, Unit};
use baytrim_model::field::FieldError;
use baytrim_model::samples::{SAMPLES_MAX, Samples};

/// Longest pull in seconds: a week, as for logs.
const DURATION_S_MAX: f64 = 7.0 * 86_400.0;

/// Where a live pull is.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cursor {
    /// Highest batch that is in.
    pub(super) sequence_number: u64,
    /// Samples that are in.
    pub(super) sample_count: usize,
    last_offset_s: Option<f64>,
    channels: Option<BTreeSet<Quantity>>,
}

impl Cursor {
    pub(super) const START: Self = Self {
        sequence_number: 0,
        sample_count: 0,
        last_offset_s: None,
        channels: None,
    };

    /// The channels of the pull, once a batch is in.
    pub(super) fn channels(&self) -> Option<&BTreeSet<Quantity>> {
        self.channels.as_ref()
    }

    /// Checks that `batch` goes on from here, and that its values are such that the finished log can be read.
    pub(super) fn check(&self, batch: &Samples, map: &ChannelMap) -> Result<(), FieldError> {
        self.check_channels(batch, map)?;
        self.check_times(batch)?;
        for (quantity, column) in &batch.channels {
            check_values(*quantity, column)?;
        }
        Ok(())
    }

    pub(super) fn advance(&mut self, batch: &Samples) {
        self.sequence_number += 1;
        self.sample_count += batch.len();
        self.last_offset_s = batch.offset_s.last().copied().or(self.last_offset_s);
        self.channels
            .get_or_insert_with(|| batch.channels.keys().copied().collect());
    }

    fn check_channels(&self, batch: &Samples, map: &ChannelMap) -> Result<(), FieldError> {
        if let Some(channels) = &self.channels {
            if channels.iter().eq(batch.channels.keys()) {
                return Ok(());
            }
            let names: Vec<&str> = channels.iter().map(|quantity| quantity.as_str()).collect();
            return Err(FieldError::new(
                "columns",
                "differ from those that the pull began with",
                format!("send {} in every batch", names.join(", ")),
            ));
        }
        let needed = map.channels.iter().filter(|(_, channel)| !channel.optional);
        for (quantity, _) in needed {
            if !batch.channels.contains_key(quantity) {
                return Err(FieldError::new(
                    "columns",
                    format!("{quantity} is missing, and nothing can be learned without it"),
                    "send it in every batch, NaN where there was no reading",
                ));
            }
        }
        let trims = [Quantity::ShortTermTrim, Quantity::LongTermTrim];
        let has_trims = trims.iter().any(|trim| batch.channels.contains_key(trim));
        if map.evidence != EvidenceKind::Lambda && !has_trims {
            return Err(FieldError::new(
                "columns",
                "neither trim is there, and the pull's evidence speaks of trims",
                "send short_term_trim or long_term_trim, or open the pull with lambda as evidence",
            ));
        }
        Ok(())
    }

    fn check_times(&self, batch: &Samples) -> Result<(), FieldError> {
        let mut last = self.last_offset_s;
        for (row, &offset_s) in batch.offset_s.iter().enumerate() {
            let field = || format!("offset_s[{row}]");
            if !(0.0..=DURATION_S_MAX).contains(&offset_s) {
                return Err(FieldError::new(
                    field(),
                    format!("{offset_s} s is outside 0 to {DURATION_S_MAX} s"),
                    "count seconds from the beginning of the pull",
                ));
            }
            if let Some(last) = last.filter(|&last| offset_s <= last) {
                let problem = if offset_s < last {
                    format!("the clock goes back from {last} s to {offset_s} s")
                } else {
                    format!("the time {offset_s} s is there twice")
                };
                let remedy = "send samples in the order in which they were taken, each time once";
                return Err(FieldError::new(field(), problem, remedy));
            }
            last = Some(offset_s);
        }
        if self.sample_count + batch.len() > SAMPLES_MAX {
            return Err(FieldError::new(
                "offset_s",
                format!("the pull would exceed {SAMPLES_MAX} samples"),
                "finish this pull and begin another",
            ));
        }
        Ok(())
    }
}

fn check_values(quantity: Quantity, column: &[f64]) -> Result<(), FieldError> {
    let (low, high) = quantity.believable();
    let is_flag = quantity.units() == [Unit::Flag];
    let bad = column.iter().position(|value| {
        let fits = (low..=high).contains(value) && (!is_flag || [0.0, 1.0].contains(value));
        !(fits || value.is_nan())
    });
    let Some(row) = bad else {
        return Ok(());
    };
    let remedy = if is_flag {
        "send 0 or 1".to_owned()
    } else {
        format!(
            "send it in {}, NaN where there was no reading",
            quantity.units()[0]
        )
    };
    Err(FieldError::new(
        format!("columns.{quantity}[{row}]"),
        format!("{} is outside {low} to {high}", column[row]),
        remedy,
    ))
}

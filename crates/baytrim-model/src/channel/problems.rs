//! What is wrong with a channel map.

use super::{Channel, ChannelMap, EvidenceKind, Quantity, Unit};
use crate::field::FieldError;

impl ChannelMap {
    /// Returns what is wrong with this map; `field` is the path to it, empty at the top of a file.
    pub fn problems(&self, field: &str) -> Vec<FieldError> {
        let mut errors = Vec::new();
        let path = |rest: &str| match field {
            "" => rest.to_owned(),
            _ => format!("{field}.{rest}"),
        };
        self.time_problems(&path, &mut errors);
        for (quantity, channel) in &self.channels {
            channel.problems(
                *quantity,
                &path(&format!("channels.{quantity}")),
                &mut errors,
            );
        }
        self.evidence_problems(&path, &mut errors);
        errors
    }

    fn time_problems(&self, path: &dyn Fn(&str) -> String, errors: &mut Vec<FieldError>) {
        let time = &self.time;
        let mut add = |rest: &str, problem: String, remedy: &str| {
            errors.push(FieldError::new(path(rest), problem, remedy));
        };
        match (&time.column, time.rate_hz) {
            (None, None) => add(
                "time",
                "neither a column nor a rate is given".to_owned(),
                "name the time column, or write rate_hz for a log without one",
            ),
            (Some(_), Some(_)) => add(
                "time.rate_hz",
                "a column and a rate are both given".to_owned(),
                "keep the one that the log's time comes from",
            ),
            (Some(column), None) if column.trim().is_empty() => add(
                "time.column",
                "is empty".to_owned(),
                "write the header of the time column",
            ),
            (None, Some(rate_hz)) if !(0.1..=10_000.0).contains(&rate_hz) => add(
                "time.rate_hz",
                format!("{rate_hz} is outside 0.1 to 10000 rows a second"),
                "check the number and its unit",
            ),
            _ => {}
        }
        if !Unit::TIMES.contains(&time.unit) {
            add(
                "time.unit",
                format!("{} is not a unit of time", time.unit),
                "write s, ms, us, min, day, clock_time or iso8601",
            );
        }
    }

    fn evidence_problems(&self, path: &dyn Fn(&str) -> String, errors: &mut Vec<FieldError>) {
        let mut needed = vec![Quantity::EngineSpeed, Quantity::PlateAngle];
        if self.evidence != EvidenceKind::Trims {
            needed.push(Quantity::Lambda);
        }
        for quantity in needed {
            match self.channels.get(&quantity) {
                None => errors.push(FieldError::new(
                    path(&format!("channels.{quantity}")),
                    "is missing, and nothing can be learned without it",
                    format!("add the section [channels.{quantity}] with column and unit"),
                )),
                Some(channel) if channel.optional => errors.push(FieldError::new(
                    path(&format!("channels.{quantity}.optional")),
                    "nothing can be learned without this channel",
                    "leave the line out",
                )),
                Some(_) => {}
            }
        }
        let trims = [Quantity::ShortTermTrim, Quantity::LongTermTrim];
        let has_trims = trims.iter().any(|trim| self.channels.contains_key(trim));
        if self.evidence != EvidenceKind::Lambda && !has_trims {
            errors.push(FieldError::new(
                path("evidence"),
                "speaks of trims, and neither trim is mapped",
                "add [channels.short_term_trim] or [channels.long_term_trim], or write lambda",
            ));
        }
    }
}

impl Channel {
    fn problems(&self, quantity: Quantity, path: &str, errors: &mut Vec<FieldError>) {
        let mut add = |rest: &str, problem: String, remedy: String| {
            errors.push(FieldError::new(format!("{path}.{rest}"), problem, remedy));
        };
        if self.column.trim().is_empty() {
            add(
                "column",
                "is empty".to_owned(),
                "write the header of the source column".to_owned(),
            );
        }
        if !quantity.units().contains(&self.unit) {
            let names: Vec<&str> = quantity.units().iter().map(|unit| unit.as_str()).collect();
            add(
                "unit",
                format!("{} is not a unit of {quantity}", self.unit),
                format!("write {}", names.join(" or ")),
            );
        }
        if !(self.scale.is_finite() && self.scale != 0.0) {
            add(
                "scale",
                format!("{} is not a usable factor", self.scale),
                "write a finite factor other than 0".to_owned(),
            );
        }
        if !self.offset.is_finite() {
            add(
                "offset",
                format!("{} is not a finite number", self.offset),
                "write a plain number".to_owned(),
            );
        }
        self.points_problems(&mut add);
        if let Some(index) = self.no_reading.iter().position(|value| !value.is_finite()) {
            add(
                &format!("no_reading[{index}]"),
                format!("{} is not a finite number", self.no_reading[index]),
                "list it as text under no_reading_text".to_owned(),
            );
        }
    }

    fn points_problems(&self, add: &mut dyn FnMut(&str, String, String)) {
        let Some(points) = self.points else {
            return;
        };
        #[expect(clippy::float_cmp, reason = "the defaults are exact")]
        let is_scaled = self.scale != 1.0 || self.offset != 0.0;
        if is_scaled {
            add(
                "points",
                "are given beside scale or offset".to_owned(),
                "keep the one or the other".to_owned(),
            );
        }
        let [[raw_a, value_a], [raw_b, value_b]] = points;
        let is_line = (raw_a - raw_b).abs() > 0.0 && (value_a - value_b).abs() > 0.0;
        if !(points.as_flattened().iter().all(|value| value.is_finite()) && is_line) {
            add(
                "points",
                format!("{points:?} are no two points of a line"),
                "write two raw values that differ, each with what it is in the channel's unit"
                    .to_owned(),
            );
        }
    }
}

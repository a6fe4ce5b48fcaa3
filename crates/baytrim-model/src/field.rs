//! What is wrong with one field of something that a user wrote.

use serde::{Deserialize, Serialize};

/// One complaint about one field: where it is, what is wrong there and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
#[error("{field}: {problem}; {remedy}")]
pub struct FieldError {
    /// Path to the field as its writer knows it, for example `limits.step_percent` or `row 14, column "RPM"`.
    pub field: String,
    /// What is wrong, with the offending value.
    pub problem: String,
    /// What to write instead.
    pub remedy: String,
}

impl FieldError {
    /// Returns a complaint about `field`.
    pub fn new(
        field: impl Into<String>,
        problem: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self {
            field: field.into(),
            problem: problem.into(),
            remedy: remedy.into(),
        }
    }
}

/// Complains about every value of `values` that is not finite or lies outside `low..=high`.
pub(crate) fn check_range(
    errors: &mut Vec<FieldError>,
    field: &str,
    values: &[f64],
    (low, high): (f64, f64),
    unit: &str,
) {
    for (index, value) in values.iter().enumerate() {
        if !(low..=high).contains(value) {
            let place = if values.len() == 1 {
                field.to_owned()
            } else {
                format!("{field}[{index}]")
            };
            errors.push(FieldError::new(
                place,
                format!("{value} is outside {low} to {high} {unit}")
                    .trim_end()
                    .to_owned(),
                "check the number and its unit",
            ));
        }
    }
}

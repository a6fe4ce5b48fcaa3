//! A status with its details, small enough for the headers that carry it.

use std::collections::HashMap;
use std::fmt::Display;
use std::time::Duration;

use baytrim_model::field::FieldError;
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, FieldViolation, StatusExt as _};

use crate::limits::{ERROR_MESSAGE_BYTES_MAX, ERROR_TEXT_BYTES_MAX, VIOLATIONS_MAX};

/// Domain of every `ErrorInfo`.
pub const DOMAIN: &str = "baytrim";

/// What a caller is told.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    /// The gRPC code.
    pub code: Code,
    /// Reason of the `ErrorInfo`: stable, upper case with underscores.
    pub reason: &'static str,
    /// The message: what is wrong, where, what to do.
    pub message: String,
    /// Metadata of the `ErrorInfo`.
    pub metadata: Vec<(&'static str, String)>,
    /// Wrong fields, for a `BadRequest`.
    pub violations: Vec<(String, String)>,
    /// Pause before another try, where that may help.
    pub retry: Option<Duration>,
}

impl Told {
    /// Returns what tells a fault that shows its message itself.
    pub(super) fn new(code: Code, reason: &'static str, message: &dyn Display) -> Self {
        Self {
            code,
            reason,
            message: message.to_string(),
            metadata: Vec::new(),
            violations: Vec::new(),
            retry: None,
        }
    }

    /// Returns the same with one more piece of metadata.
    pub(super) fn with(mut self, key: &'static str, value: &dyn Display) -> Self {
        self.metadata.push((key, value.to_string()));
        self
    }

    /// Returns the same with one more wrong field.
    pub(super) fn field(mut self, error: &FieldError) -> Self {
        let description = format!("{}; {}", error.problem, error.remedy);
        self.violations.push((error.field.clone(), description));
        self
    }

    /// Returns the same with a pause before another try.
    pub(super) fn retry_in_s(mut self, seconds: u64) -> Self {
        self.retry = Some(Duration::from_secs(seconds));
        self
    }

    /// Returns the same under another code, reason and message.
    pub(super) fn but(mut self, code: Code, reason: &'static str, message: &str) -> Self {
        self.code = code;
        self.reason = reason;
        message.clone_into(&mut self.message);
        self
    }
}

pub(super) fn status(told: &Told) -> Status {
    let metadata: HashMap<String, String> = told
        .metadata
        .iter()
        .map(|(key, value)| ((*key).to_owned(), cut(value, ERROR_TEXT_BYTES_MAX)))
        .collect();
    let mut details = ErrorDetails::with_error_info(told.reason, DOMAIN, metadata);
    if !told.violations.is_empty() {
        let shown = told.violations.iter().take(VIOLATIONS_MAX);
        let shown = shown.map(|(field, description)| FieldViolation {
            field: cut(field, ERROR_TEXT_BYTES_MAX),
            description: cut(description, ERROR_TEXT_BYTES_MAX),
            ..FieldViolation::default()
        });
        details.set_bad_request(shown.collect::<Vec<_>>());
    }
    if let Some(retry) = told.retry {
        details.set_retry_info(Some(retry));
    }
    let message = cut(&told.message, ERROR_MESSAGE_BYTES_MAX);
    Status::with_error_details(told.code, message, details)
}

/// Returns at most `bytes_max` bytes of `text`, whole characters, with a mark where some are missing.
fn cut(text: &str, bytes_max: usize) -> String {
    if text.len() <= bytes_max {
        return text.to_owned();
    }
    let mark = " ...";
    let end = (0..=bytes_max - mark.len())
        .rev()
        .find(|&end| text.is_char_boundary(end));
    format!("{}{mark}", &text[..end.unwrap_or(0)])
}

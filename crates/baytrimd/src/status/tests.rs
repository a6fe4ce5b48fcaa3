//! Every fault, and what its caller is told, against a file that people can read.

mod samples;

use std::fmt::Write as _;

use baytrim_jobs::Refusal;
use baytrim_model::field::FieldError;
use tonic_types::StatusExt as _;

use super::*;
use samples::all;

/// Returns code, reason, metadata and fields; with the message where this crate words it.
fn shown(fault: &Fault) -> String {
    let status = of(fault);
    let details = status.get_error_details();
    let info = details.error_info().expect("every refusal has a reason");
    assert_eq!(info.domain, DOMAIN);
    let mut metadata: Vec<String> = info
        .metadata
        .iter()
        // The number of an internal fault is another each time.
        .map(|(key, value)| format!("{key}={}", if key == "fault" { "..." } else { value }))
        .collect();
    metadata.sort();
    let mut text = format!(
        "{:?} {} {}\n",
        status.code(),
        info.reason,
        metadata.join(" ")
    );
    text = text.trim_end().to_owned() + "\n";
    let is_worded_elsewhere = matches!(fault, Fault::Refused(_) | Fault::Log(_));
    for line in status.message().lines().filter(|_| !is_worded_elsewhere) {
        let _ = writeln!(text, "    {line}");
    }
    for violation in details
        .bad_request()
        .map_or(&[][..], |request| &request.field_violations)
    {
        let _ = writeln!(text, "    - {}", violation.field);
        assert!(
            violation.description.contains("; "),
            "no remedy: {}",
            violation.description
        );
        let repeated = format!("{}: ", violation.field);
        assert!(!violation.description.starts_with(&repeated), "{text}");
    }
    text
}

/// If this fails, what callers are told has changed: scripts go by it. Run with `BAYTRIM_BLESS=1` to take it on.
#[test]
#[expect(
    clippy::disallowed_methods,
    reason = "goldens are updated by a variable"
)]
fn every_fault_is_told_as_agreed() {
    let found: String = all().iter().map(shown).collect();
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/src/status/told.txt");
    if std::env::var_os("BAYTRIM_BLESS").is_some() {
        std::fs::write(path, &found).expect("writes");
    }
    let agreed = std::fs::read_to_string(path).expect("the agreed texts are there");
    for (found, agreed) in found.lines().zip(agreed.lines()) {
        assert_eq!(found, agreed);
    }
    assert_eq!(found.lines().count(), agreed.lines().count());
}

/// If this fails, a path of the daemon's machine leaks to its callers.
#[test]
fn nothing_of_the_machine_is_told() {
    for fault in all() {
        let status = of(&fault);
        assert!(!shown(&fault).contains("secret"), "{fault}");
        assert!(
            !String::from_utf8_lossy(status.details()).contains("secret"),
            "{fault}"
        );
    }
}

/// If this fails, a reason is told that nobody can look up.
#[test]
fn every_reason_is_documented() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/errors.md");
    let page = std::fs::read_to_string(path).expect("the page is there");
    for fault in all() {
        let details = of(&fault).get_error_details();
        let reason = &details.error_info().expect("a reason").reason;
        let code = format!("{:?}", of(&fault).code());
        let row = page
            .lines()
            .find(|line| line.starts_with(&format!("| `{reason}` |")));
        let row = row.unwrap_or_else(|| panic!("docs/errors.md has no row for {reason}"));
        let named = row.to_ascii_lowercase().replace('_', "");
        assert!(
            named.contains(&code.to_ascii_lowercase()),
            "docs/errors.md has another code for {reason}: {row}"
        );
    }
}

/// If this fails, a refusal does not fit into the 16 KiB of headers that clients take.
#[test]
fn the_longest_refusal_fits_into_headers() {
    let long = "lambda \u{3bb} ".repeat(200);
    let errors = vec![FieldError::new(long.clone(), long.clone(), long); 500];
    let status = of(&Refusal::Fields(errors).into());
    // Details travel as base64, the message percent-encoded: three bytes for one at worst.
    let bytes = status.details().len() * 4 / 3 + status.message().len() * 3;
    assert!(bytes < 15_000, "{bytes}");
}

//! Why a command did not do what it was asked.

use std::collections::BTreeMap;
use std::error::Error;
use std::fmt;
use std::io;
use std::path::Path;

use serde::Serialize;
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

use crate::exit::Exit;
use crate::render::text::plain;

/// Why a command did not do what it was asked.
#[derive(Debug)]
pub(crate) struct Failure {
    /// How the program ends.
    pub(crate) exit: Exit,
    /// Short name for scripts, upper case with underscores.
    pub(crate) reason: String,
    /// What was wrong and what to do.
    pub(crate) message: String,
    /// Name of the gRPC status; `LOCAL` where no server was involved.
    pub(crate) code: &'static str,
    /// What was wrong where.
    pub(crate) violations: Vec<Violation>,
    /// Further facts of the server's.
    pub(crate) metadata: BTreeMap<String, String>,
}

/// What was wrong with one field.
#[derive(Debug, Serialize)]
pub(crate) struct Violation {
    /// The field, or the file with row and column.
    pub(crate) field: String,
    /// What was wrong with it and what to do.
    pub(crate) description: String,
}

impl Failure {
    /// Returns a failure on this side of the wire.
    pub(crate) fn local(exit: Exit, reason: &str, message: impl Into<String>) -> Self {
        Self {
            exit,
            reason: reason.to_owned(),
            message: message.into(),
            code: "LOCAL",
            violations: Vec::new(),
            metadata: BTreeMap::new(),
        }
    }

    /// Returns the failure that `path` could not be read or written.
    pub(crate) fn file(verb: &str, path: &Path, error: &io::Error) -> Self {
        let message = format!("cannot {verb} {}: {error}", path.display());
        Self::local(Exit::Failed, "FILE", message)
    }

    /// Returns the failure that an answer lacks what every answer has.
    pub(crate) fn incomplete(what: &str) -> Self {
        let message =
            format!("the server's answer has no {what}: it speaks another version of the API");
        Self::local(Exit::Failed, "INCOMPLETE_ANSWER", message)
    }

    /// Returns the failure that `server` gave no answer in time.
    pub(crate) fn too_late(server: &str, seconds: f64) -> Self {
        let message =
            format!("{server} gave no answer within {seconds} s; --deadline gives it longer");
        let mut failure = Self::local(Exit::Failed, "DEADLINE", message);
        failure.code = code_name(Code::DeadlineExceeded);
        failure
    }

    /// Returns the failure that `server` answered with.
    pub(crate) fn of_status(status: &Status, server: &str) -> Self {
        let details = status.get_error_details();
        let (reason, metadata) = details
            .error_info()
            .map(|info| {
                (
                    info.reason.clone(),
                    info.metadata.clone().into_iter().collect(),
                )
            })
            .unwrap_or_default();
        let fields = details
            .bad_request()
            .into_iter()
            .flat_map(|bad| &bad.field_violations);
        let states = details
            .precondition_failure()
            .into_iter()
            .flat_map(|state| &state.violations);
        let violations = fields
            .map(|field| (&field.field, &field.description))
            .chain(states.map(|state| (&state.subject, &state.description)))
            .map(|(field, text)| Violation {
                field: field.clone(),
                description: text.clone(),
            })
            .collect();
        let message = match (connection_trouble(status), status.message()) {
            (Some(trouble), _) => {
                let remedy = remedy(&trouble, server);
                format!("cannot reach {server}: {trouble}; {remedy}")
            }
            (None, "") => format!(
                "{server} answered {} without a word",
                code_name(status.code())
            ),
            (None, text) => text.to_owned(),
        };
        // What the transport says of itself is called UNKNOWN where the connection broke off at its beginning.
        let exit = match connection_trouble(status) {
            Some(_) => Exit::Unreachable,
            None => exit_of(status.code()),
        };
        Self {
            exit,
            reason: if reason.is_empty() {
                code_name(status.code()).to_owned()
            } else {
                reason
            },
            message,
            code: code_name(status.code()),
            violations,
            metadata,
        }
    }

    /// Returns the failure with the file that was sent as `field` named by its own path.
    pub(crate) fn in_file(mut self, field: &str, path: &Path) -> Self {
        let (start, path) = (format!("{field}, "), format!("{}, ", path.display()));
        let named = |text: &str| match text.strip_prefix(&start) {
            Some(rest) => format!("{path}{rest}"),
            None => text.to_owned(),
        };
        let lines: Vec<String> = self.message.lines().map(named).collect();
        self.message = lines.join("\n");
        for violation in &mut self.violations {
            violation.field = named(&violation.field);
        }
        self
    }

    /// Returns the failure as people read it, ending in a line break.
    pub(crate) fn text(&self) -> String {
        let lines: Vec<String> = self.message.lines().map(plain).collect();
        let mut text = format!("baytrim: {}\n", lines.join("\n  "));
        let is_said = |violation: &&Violation| self.message.contains(&violation.description);
        for violation in self
            .violations
            .iter()
            .filter(|violation| !is_said(violation))
        {
            let (field, description) = (plain(&violation.field), plain(&violation.description));
            text += &format!("  {field}: {description}\n");
        }
        if self.code != "LOCAL" && self.exit != Exit::Unreachable {
            let reason = plain(&self.reason);
            text += &if reason == self.code {
                format!("  ({reason})\n")
            } else {
                format!("  ({reason}, {})\n", self.code)
            };
        }
        text
    }

    /// Returns the failure as scripts read it, one line.
    pub(crate) fn json(&self) -> String {
        let error = JsonError {
            reason: &self.reason,
            message: &self.message,
            code: self.code,
            violations: &self.violations,
            metadata: &self.metadata,
        };
        let text = serde_json::to_string(&JsonFailure { error });
        text.unwrap_or_else(|error| format!("{{\"error\":{{\"message\":\"{error}\"}}}}")) + "\n"
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl Error for Failure {}

/// A result could not be written. A reader that has seen enough (`| head`) is no failure.
impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        let exit = match error.kind() {
            io::ErrorKind::BrokenPipe => Exit::Done,
            _ => Exit::Failed,
        };
        Self::local(exit, "OUTPUT", format!("cannot write the result: {error}"))
    }
}

#[derive(Serialize)]
struct JsonFailure<'a> {
    error: JsonError<'a>,
}

#[derive(Serialize)]
struct JsonError<'a> {
    reason: &'a str,
    message: &'a str,
    code: &'a str,
    violations: &'a [Violation],
    metadata: &'a BTreeMap<String, String>,
}

fn exit_of(code: Code) -> Exit {
    match code {
        Code::FailedPrecondition | Code::Aborted | Code::AlreadyExists => Exit::Refused,
        Code::Unauthenticated | Code::PermissionDenied => Exit::NotPermitted,
        Code::Unavailable => Exit::Unreachable,
        _ => Exit::Failed,
    }
}

/// Returns why no connection came about; none where a server did answer.
fn connection_trouble(status: &Status) -> Option<String> {
    if !matches!(status.code(), Code::Unavailable | Code::Unknown) {
        return None;
    }
    let mut error = status.source()?;
    while let Some(deeper) = error.source() {
        error = deeper;
    }
    Some(error.to_string())
}

/// Returns what to do about a connection that did not come about; TLS is told by its library's own words.
fn remedy(trouble: &str, server: &str) -> &'static str {
    let is = |word: &str| trouble.contains(word);
    if is("UnknownIssuer") || is("BadSignature") {
        "the server is not proven by an authority known here: name the shop's certificate with --ca-file, and do not go on if that one does not fit either"
    } else if is("NotValidForName") || is("not valid for name") {
        "the server's certificate is for other names: ask it by one of those, or make a certificate with this name on its machine (`baytrimd tls renew --name`)"
    } else if is("Expired") || is("expired") {
        "the server's certificate has ended, or this machine's clock is ahead: make another on the server's machine (`baytrimd tls renew`)"
    } else if is("InvalidContentType") {
        "the server does not speak TLS: write http:// if that is meant"
    } else if is("fatal alert") {
        "the server does not take the certificate that was shown: have another made on its machine (`baytrimd tls issue`) and name it with --certificate"
    } else if server.starts_with("http://") && !is("refused") && !is("resolve") && !is("lookup") {
        "if the server speaks TLS, write https://; --server or BAYTRIM_SERVER say where to look"
    } else {
        "is baytrimd running there? --server or BAYTRIM_SERVER say where to look"
    }
}

fn code_name(code: Code) -> &'static str {
    match code {
        Code::Ok => "OK",
        Code::Cancelled => "CANCELLED",
        Code::Unknown => "UNKNOWN",
        Code::InvalidArgument => "INVALID_ARGUMENT",
        Code::DeadlineExceeded => "DEADLINE_EXCEEDED",
        Code::NotFound => "NOT_FOUND",
        Code::AlreadyExists => "ALREADY_EXISTS",
        Code::PermissionDenied => "PERMISSION_DENIED",
        Code::ResourceExhausted => "RESOURCE_EXHAUSTED",
        Code::FailedPrecondition => "FAILED_PRECONDITION",
        Code::Aborted => "ABORTED",
        Code::OutOfRange => "OUT_OF_RANGE",
        Code::Unimplemented => "UNIMPLEMENTED",
        Code::Internal => "INTERNAL",
        Code::Unavailable => "UNAVAILABLE",
        Code::DataLoss => "DATA_LOSS",
        Code::Unauthenticated => "UNAUTHENTICATED",
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::{Exit, Failure, Violation};

    /// If this fails, what is wrong with a channel map is told of the wire's field, or all in one line.
    #[test]
    fn faults_of_a_file_that_was_sent_name_it_a_line_each() {
        let faults =
            "open.channel_map, line 1, rpm: is not a known key\nopen.channel_map, time: is missing";
        let mut failure = Failure::local(Exit::Failed, "FIELD_INVALID", faults);
        failure.violations.push(Violation {
            field: "open.channel_map, time".to_owned(),
            description: "is missing".to_owned(),
        });
        let failure = failure.in_file("open.channel_map", Path::new("maps/east.toml"));
        assert_eq!(
            failure.text(),
            "baytrim: maps/east.toml, line 1, rpm: is not a known key\n  maps/east.toml, time: is missing\n"
        );
        assert_eq!(failure.violations[0].field, "maps/east.toml, time");
    }
}

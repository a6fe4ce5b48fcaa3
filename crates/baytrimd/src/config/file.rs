//! The TOML file.

use std::collections::BTreeMap;
use std::path::Path;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::ConfigError;
use super::keys::{self, KEYS, Kind};

/// Most bytes of the file: a commented one has a tenth of it.
const BYTES_MAX: u64 = 64 << 10;

/// Returns the values of a file as text, with their lines, by key.
///
/// # Errors
/// When the file can't be read, is no TOML, has unknown keys or values of the wrong kind.
pub fn read(path: &Path) -> Result<BTreeMap<&'static str, (String, usize)>, ConfigError> {
    let unreadable = |source| ConfigError::Unreadable {
        path: path.to_owned(),
        source,
    };
    if std::fs::metadata(path).map_err(unreadable)?.len() > BYTES_MAX {
        return Err(unreadable(std::io::Error::other(
            "it is too long for a configuration",
        )));
    }
    let text = std::fs::read_to_string(path).map_err(unreadable)?;
    parse(path, &text)
}

fn parse(path: &Path, text: &str) -> Result<BTreeMap<&'static str, (String, usize)>, ConfigError> {
    let page = Page { path, text };
    let table = DeTable::parse(text).map_err(|error| {
        let at = error.span().map_or(0, |span| span.start);
        page.refuse(at, error.message().replace('\n', " "), "write it as TOML")
    })?;
    let mut values = BTreeMap::new();
    for (key, value) in table.get_ref() {
        match value.get_ref() {
            DeValue::Table(section) if is_section(key.get_ref()) => {
                for (inner, value) in section {
                    let name = format!("{}.{}", key.get_ref(), inner.get_ref());
                    page.take(&mut values, &name, inner.span().start, value)?;
                }
            }
            _ => page.take(&mut values, key.get_ref(), key.span().start, value)?,
        }
    }
    Ok(values)
}

fn is_section(name: &str) -> bool {
    KEYS.iter().any(|key| {
        key.name
            .split_once('.')
            .is_some_and(|(section, _)| section == name)
    })
}

struct Page<'a> {
    path: &'a Path,
    text: &'a str,
}

impl Page<'_> {
    fn refuse(&self, at: usize, problem: String, remedy: &str) -> ConfigError {
        ConfigError::File {
            path: self.path.to_owned(),
            line: self.line(at),
            problem,
            remedy: remedy.to_owned(),
        }
    }

    fn line(&self, byte: usize) -> usize {
        let above = self.text.as_bytes().iter().take(byte);
        1 + above.filter(|&&byte| byte == b'\n').count()
    }

    fn take(
        &self,
        values: &mut BTreeMap<&'static str, (String, usize)>,
        name: &str,
        at: usize,
        value: &Spanned<DeValue<'_>>,
    ) -> Result<(), ConfigError> {
        let Some(key) = keys::find(name) else {
            let names: Vec<&str> = KEYS.iter().map(|key| key.name).collect();
            let remedy = format!("the keys are {}", names.join(", "));
            return Err(self.refuse(at, format!("{name} is not a known key"), &remedy));
        };
        let text = match (key.kind, value.get_ref()) {
            (Kind::Text, DeValue::String(text)) => text.to_string(),
            (Kind::Flag, DeValue::Boolean(flag)) => flag.to_string(),
            (Kind::Integer, DeValue::Integer(number)) => number.as_str().replace('_', ""),
            (kind, other) => {
                let problem = format!("{name} is a {}", other.type_str());
                return Err(self.refuse(at, problem, remedy(kind)));
            }
        };
        values.insert(key.name, (text, self.line(at)));
        Ok(())
    }
}

fn remedy(kind: Kind) -> &'static str {
    match kind {
        Kind::Text => "write it as text in quotation marks",
        Kind::Integer => "write it as a whole number without quotation marks",
        Kind::Flag => "write true or false without quotation marks",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str) -> String {
        match parse(Path::new("baytrimd.toml"), text) {
            Ok(values) => format!("{values:?}"),
            Err(error) => error.to_string(),
        }
    }

    /// If this fails, a mistyped configuration is taken for a good one, or its writer is not told where to look.
    #[test]
    fn says_where_a_file_is_wrong() {
        assert_eq!(
            check("listen = \"127.0.0.1:0\"\n[limits]\nstreams_max = 4\n"),
            r#"{"limits.streams_max": ("4", 3), "listen": ("127.0.0.1:0", 1)}"#
        );
        let unknown = check("# one\n[limits]\nstreams = 4\n");
        assert!(
            unknown.starts_with(
                "baytrimd.toml, line 3: limits.streams is not a known key; the keys are data,"
            ),
            "{unknown}"
        );
        assert!(check("\nport = 1").starts_with("baytrimd.toml, line 2: port is not a known key"));
        assert_eq!(
            check("[limits]\nstreams_max = \"4\""),
            "baytrimd.toml, line 2: limits.streams_max is a string; write it as a whole number without quotation marks"
        );
        assert!(
            check("data = \n").starts_with("baytrimd.toml, line 1: "),
            "{}",
            check("data = \n")
        );
    }
}

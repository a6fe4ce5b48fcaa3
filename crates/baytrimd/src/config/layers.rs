//! Which layer each value comes from.

use std::collections::BTreeMap;
use std::fmt;
use std::path::{Path, PathBuf};

use super::keys::{KEYS, Key};
use super::{ConfigError, file};

/// Where a value comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Origin {
    /// A flag of the command.
    Flag,
    /// An environment variable.
    Environment(String),
    /// A line of a file.
    File {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: usize,
    },
    /// Nobody gave one.
    Default,
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flag => f.write_str("flag"),
            Self::Environment(variable) => write!(f, "environment {variable}"),
            Self::File { path, line } => write!(f, "{}, line {line}", path.display()),
            Self::Default => f.write_str("default"),
        }
    }
}

/// A value as text, and where it comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Setting {
    /// The key.
    pub key: &'static Key,
    /// Its value; empty: none.
    pub value: String,
    /// Where the value comes from.
    pub origin: Origin,
}

/// All keys with their values, the highest layer that gives one having won.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layers(Vec<Setting>);

impl Layers {
    /// Lays flags (by key) over the environment (`variable` looks one up) over `file` over defaults.
    ///
    /// # Errors
    /// When the file can't be read, is no TOML, has unknown keys or values of the wrong kind.
    pub fn gather(
        flags: &BTreeMap<&'static str, String>,
        variable: &dyn Fn(&str) -> Option<String>,
        file: Option<&Path>,
    ) -> Result<Self, ConfigError> {
        let in_file = match file {
            Some(path) => file::read(path)?,
            None => BTreeMap::new(),
        };
        let settings = KEYS.iter().map(|key| {
            let flag = flags
                .get(key.name)
                .map(|value| (value.clone(), Origin::Flag));
            let from_environment = || {
                let name = key.variable();
                variable(&name).map(|value| (value, Origin::Environment(name)))
            };
            let from_file = || {
                let (value, line) = in_file.get(key.name)?.clone();
                let path = file?.to_owned();
                Some((value, Origin::File { path, line }))
            };
            let (value, origin) = flag
                .or_else(from_environment)
                .or_else(from_file)
                .unwrap_or_else(|| (key.default.to_owned(), Origin::Default));
            Setting { key, value, origin }
        });
        Ok(Self(settings.collect()))
    }

    /// Returns every key with its value.
    pub fn all(&self) -> &[Setting] {
        &self.0
    }

    /// Returns the value of a key that there is.
    pub(super) fn get(&self, name: &str) -> &Setting {
        let found = self.0.iter().find(|setting| setting.key.name == name);
        found.expect("only keys of the table are asked for")
    }
}

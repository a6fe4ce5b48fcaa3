//! Reads a channel map as people write it: TOML.

use std::collections::BTreeMap;
use std::ops::Range;

use baytrim_model::channel::{Channel, ChannelMap, EvidenceKind, Quantity, TimeChannel};
use baytrim_model::field::FieldError;
use serde::de::DeserializeOwned;
use toml::Spanned;
use toml::de::{DeTable, DeValue, ValueDeserializer};

/// Most bytes of a channel map's file; one with every quantity and long remarks has a tenth of it.
pub const MAP_BYTES_MAX: usize = 64 * 1024;

const TIME_KEYS: [&str; 4] = ["column", "unit", "rate_hz", "repeated"];
const CHANNEL_KEYS: [&str; 8] = [
    "column",
    "unit",
    "scale",
    "offset",
    "points",
    "no_reading",
    "no_reading_text",
    "optional",
];
const MAP_KEYS: [&str; 3] = ["time", "channels", "evidence"];

/// Returns the channel map that `toml` holds.
///
/// # Errors
/// Names every problem by line and path: broken TOML, unknown keys and quantities, wrong types,
/// and what [`ChannelMap::problems`] finds.
pub fn parse_channel_map(toml: &str) -> Result<ChannelMap, Vec<FieldError>> {
    if toml.len() > MAP_BYTES_MAX {
        return Err(vec![FieldError::new(
            "channel map",
            format!("has {} bytes, more than {MAP_BYTES_MAX}", toml.len()),
            "check that the right file was given",
        )]);
    }
    let mut page = Page {
        text: toml,
        errors: Vec::new(),
    };
    let table = match DeTable::parse(toml) {
        Ok(table) => table,
        Err(error) => {
            page.refuse(
                error.span(),
                "channel map",
                error.message(),
                "write it as TOML",
            );
            return Err(page.errors);
        }
    };
    let map = page.map(table.get_ref());
    match map {
        Some(map) if page.errors.is_empty() => {
            page.check(&map, table.get_ref());
            if page.errors.is_empty() {
                Ok(map)
            } else {
                Err(page.errors)
            }
        }
        _ => Err(page.errors),
    }
}

/// The text of a map and what was found wrong with it so far.
struct Page<'a> {
    text: &'a str,
    errors: Vec<FieldError>,
}

impl<'a> Page<'a> {
    fn refuse(&mut self, span: Option<Range<usize>>, path: &str, problem: &str, remedy: &str) {
        let field = match span {
            Some(span) => format!("line {}, {path}", self.line(span.start)),
            None => path.to_owned(),
        };
        self.errors.push(FieldError::new(field, problem, remedy));
    }

    fn line(&self, byte: usize) -> usize {
        let above = self.text.as_bytes().iter().take(byte);
        1 + above.filter(|&&byte| byte == b'\n').count()
    }

    fn map(&mut self, table: &DeTable<'a>) -> Option<ChannelMap> {
        self.refuse_unknown_keys("", table, &MAP_KEYS);
        let evidence = match table.get("evidence") {
            Some(value) => self.value::<EvidenceKind>("evidence", value),
            None => Some(EvidenceKind::default()),
        };
        let time = self
            .wanted(table, "time", "with column and unit, or with rate_hz")
            .and_then(|value| self.section::<TimeChannel>("time", value, &TIME_KEYS));
        let channels = self
            .wanted(table, "channels", "such as [channels.engine_speed]")
            .and_then(|value| self.channels(value));
        Some(ChannelMap {
            time: time?,
            channels: channels?,
            evidence: evidence?,
        })
    }

    fn wanted<'t>(
        &mut self,
        table: &'t DeTable<'a>,
        key: &str,
        remedy: &str,
    ) -> Option<&'t Spanned<DeValue<'a>>> {
        let value = table.get(key);
        if value.is_none() {
            let remedy = format!("add the section [{key}] {remedy}");
            self.refuse(None, key, "is missing", &remedy);
        }
        value
    }

    fn channels(&mut self, value: &Spanned<DeValue<'a>>) -> Option<BTreeMap<Quantity, Channel>> {
        let table = self.table("channels", value)?;
        let mut channels = BTreeMap::new();
        for (key, value) in table {
            let path = format!("channels.{}", key.get_ref());
            let known = Quantity::ALL
                .into_iter()
                .find(|quantity| quantity.as_str() == key.get_ref());
            let Some(quantity) = known else {
                let names: Vec<&str> = Quantity::ALL.iter().map(|known| known.as_str()).collect();
                let remedy = format!("write one of {}", names.join(", "));
                self.refuse(Some(key.span()), &path, "is not a known quantity", &remedy);
                continue;
            };
            if let Some(channel) = self.section::<Channel>(&path, value, &CHANNEL_KEYS) {
                channels.insert(quantity, channel);
            }
        }
        Some(channels)
    }

    fn table<'t>(
        &mut self,
        path: &str,
        value: &'t Spanned<DeValue<'a>>,
    ) -> Option<&'t DeTable<'a>> {
        let table = value.get_ref().as_table();
        if table.is_none() {
            let problem = format!("is of type {} and no section", value.get_ref().type_str());
            let remedy = format!("write it as [{path}] with one key a line");
            self.refuse(Some(value.span()), path, &problem, &remedy);
        }
        table
    }

    fn section<T: DeserializeOwned>(
        &mut self,
        path: &str,
        value: &Spanned<DeValue<'a>>,
        keys: &[&str],
    ) -> Option<T> {
        let table = self.table(path, value)?;
        if self.refuse_unknown_keys(path, table, keys) {
            return None;
        }
        self.value(path, value)
    }

    fn refuse_unknown_keys(&mut self, path: &str, table: &DeTable<'a>, keys: &[&str]) -> bool {
        let before = self.errors.len();
        for key in table.keys() {
            if !keys.contains(&key.get_ref().as_ref()) {
                let field = join(path, key.get_ref());
                let remedy = format!("write one of {}", keys.join(", "));
                self.refuse(Some(key.span()), &field, "is not a known key", &remedy);
            }
        }
        self.errors.len() > before
    }

    fn value<T: DeserializeOwned>(
        &mut self,
        path: &str,
        value: &Spanned<DeValue<'a>>,
    ) -> Option<T> {
        match T::deserialize(ValueDeserializer::from(value.clone())) {
            Ok(value) => Some(value),
            Err(error) => {
                let span = error.span().unwrap_or_else(|| value.span());
                self.refuse(Some(span), path, error.message(), "correct the line");
                None
            }
        }
    }

    /// Adds what is wrong with the meaning of the map, each with the line that says it.
    fn check(&mut self, map: &ChannelMap, table: &DeTable<'a>) {
        for problem in map.problems("") {
            let span = span_of(table, &problem.field);
            self.refuse(span, &problem.field, &problem.problem, &problem.remedy);
        }
    }
}

fn join(path: &str, key: &str) -> String {
    if path.is_empty() {
        key.to_owned()
    } else {
        format!("{path}.{key}")
    }
}

/// Returns where the deepest part of `path` that is in the file stands.
fn span_of(table: &DeTable<'_>, path: &str) -> Option<Range<usize>> {
    let mut table = table;
    let mut span = None;
    for part in path.split('.') {
        let name = part.split('[').next().unwrap_or(part);
        let Some((key, value)) = table.get_key_value(name) else {
            break;
        };
        span = Some(key.span());
        match value.get_ref().as_table() {
            Some(inner) => table = inner,
            None => break,
        }
    }
    span
}

//! From text to settings.

use std::net::IpAddr;
use std::path::PathBuf;
use std::time::Duration;

use axum::http::Uri;

use super::layers::{Layers, Setting};
use super::{ConfigError, Database, ServiceLimits, Settings, WebhookSettings};
use crate::log::LogFormat;
use crate::retention::Rules;

/// Returns what `layers` say.
///
/// # Errors
/// Names the first value that can't be used, and where it comes from.
pub fn settings(layers: &Layers) -> Result<Settings, ConfigError> {
    let listen = layers.get("listen");
    check_address(listen)?;
    let metrics_listen = layers.get("metrics.listen");
    if !metrics_listen.value.is_empty() {
        check_address(metrics_listen)?;
    }
    let log_format = layers.get("log.format");
    let log_format = match log_format.value.as_str() {
        "text" => LogFormat::Text,
        "json" => LogFormat::Json,
        _ => return Err(wrong(log_format, "write text or json")),
    };
    let log_level = layers.get("log.level");
    if log_level
        .value
        .parse::<tracing_subscriber::EnvFilter>()
        .is_err()
    {
        return Err(wrong(log_level, "write error, warn, info, debug or trace"));
    }
    let (tls_certificate, tls_key) = (path(layers, "tls.certificate"), path(layers, "tls.key"));
    if tls_certificate.is_none() && tls_key.is_some() {
        let key = layers.get("tls.key");
        return Err(wrong(key, "name its certificate too, as tls.certificate"));
    }
    let upload_bytes_max = number(layers, "limits.upload_bytes_max", (1 << 10, 1 << 30))?;
    Ok(Settings {
        data: path(layers, "data"),
        database: database(layers)?,
        listen: listen.value.clone(),
        log_format,
        log_level: log_level.value.clone(),
        is_insecure_lan: flag(layers, "access.insecure_lan")?,
        tls_certificate,
        tls_key,
        bays_show_certificates: flag(layers, "tls.bay_certificates")?,
        metrics_listen: Some(metrics_listen.value.clone()).filter(|listen| !listen.is_empty()),
        checkpoints_every: Some(number(layers, "checkpoints.every_s", (0, 31_536_000))?)
            .filter(|&seconds| seconds > 0)
            .map(Duration::from_secs),
        checkpoints_directory: path(layers, "checkpoints.directory"),
        otlp_endpoint: otlp_endpoint(layers)?,
        webhook: webhook(layers)?,
        limits: ServiceLimits {
            upload_bytes_max,
            streams_max: count(layers, "limits.streams_max", (1, 256))?,
            uploads_max: count(layers, "limits.uploads_max", (1, 256))?,
            compute_max: count(layers, "limits.compute_max", (1, 64))?,
            idle: Duration::from_secs(number(layers, "limits.idle_s", (1, 3600))?),
            retention: retention(layers)?,
        },
    })
}

fn retention(layers: &Layers) -> Result<Rules, ConfigError> {
    let days = |name, low| {
        let days = number(layers, name, (0, 36_500))?;
        if (1..low).contains(&days) {
            let remedy = format!("write 0 for ever, or {low} days or more");
            return Err(wrong(layers.get(name), remedy));
        }
        Ok(Some(days).filter(|&days| days > 0))
    };
    Ok(Rules {
        raw_logs_days: days("retention.raw_logs_days", 1)?,
        // A pull may go on for a week.
        unfinished_days: days("retention.unfinished_days", 8)?,
        // A log that has come may wait a while before a record names it.
        every: Duration::from_secs(number(layers, "retention.every_s", (600, 86_400))?),
    })
}

fn webhook(layers: &Layers) -> Result<Option<WebhookSettings>, ConfigError> {
    let url = layers.get("webhook.url");
    let (secret_file, ca_file) = (
        path(layers, "webhook.secret_file"),
        path(layers, "webhook.ca_file"),
    );
    if url.value.is_empty() {
        return Ok(None);
    }
    check_url(url)?;
    Ok(Some(WebhookSettings {
        url: url.value.clone(),
        secret_file,
        ca_file,
    }))
}

fn otlp_endpoint(layers: &Layers) -> Result<Option<String>, ConfigError> {
    let url = layers.get("telemetry.otlp_endpoint");
    if url.value.is_empty() {
        return Ok(None);
    }
    if cfg!(not(feature = "otlp")) {
        return Err(wrong(
            url,
            "leave it empty: this program was built without `otlp`",
        ));
    }
    check_url(url)?;
    Ok(Some(url.value.clone()))
}

/// Checks an address that something is sent to: nobody on the way reads it.
fn check_url(url: &Setting) -> Result<(), ConfigError> {
    let parsed = url.value.parse::<Uri>().ok();
    let is_good = parsed.is_some_and(|uri| match (uri.scheme_str(), uri.host()) {
        (Some("https"), Some(_)) => true,
        (Some("http"), Some(host)) => is_this_machine(host),
        _ => false,
    });
    if is_good {
        return Ok(());
    }
    Err(wrong(
        url,
        "write an address that begins with https://, or with http:// where it is on this machine",
    ))
}

fn is_this_machine(host: &str) -> bool {
    let host = host.trim_start_matches('[').trim_end_matches(']');
    host == "localhost" || host.parse::<IpAddr>().is_ok_and(|ip| ip.is_loopback())
}

fn database(layers: &Layers) -> Result<Option<Database>, ConfigError> {
    let url = layers.get("store.url");
    let single_copy = flag(layers, "store.single_copy")?;
    let blobs = layers.get("store.blobs");
    if !blobs.value.is_empty() && !blobs.value.starts_with("s3://") {
        return Err(wrong(blobs, "write s3://BUCKET or s3://BUCKET/FOLDER"));
    }
    if url.value.is_empty() {
        if !blobs.value.is_empty() {
            let remedy = "name a database too (`store.url`): a directory keeps its own blobs";
            return Err(wrong(blobs, remedy));
        }
        return Ok(None);
    }
    if !url.value.starts_with("postgres://") && !url.value.starts_with("postgresql://") {
        return Err(wrong(url, "write postgres://USER@HOST:PORT/DATABASE"));
    }
    Ok(Some(Database {
        url: url.value.clone(),
        password_file: path(layers, "store.password_file"),
        single_copy,
        blobs: Some(blobs.value.clone()).filter(|url| !url.is_empty()),
    }))
}

fn check_address(setting: &Setting) -> Result<(), ConfigError> {
    let parts = setting.value.rsplit_once(':');
    if parts.is_some_and(|(host, port)| !host.is_empty() && port.parse::<u16>().is_ok()) {
        return Ok(());
    }
    Err(wrong(
        setting,
        "write an address and a port, such as 127.0.0.1:7411",
    ))
}

fn wrong(setting: &Setting, remedy: impl Into<String>) -> ConfigError {
    ConfigError::Value {
        key: setting.key.name,
        origin: setting.origin.clone(),
        problem: format!("{:?} can't be used", setting.value),
        remedy: remedy.into(),
    }
}

fn path(layers: &Layers, name: &str) -> Option<PathBuf> {
    let text = &layers.get(name).value;
    (!text.is_empty()).then(|| PathBuf::from(text))
}

fn flag(layers: &Layers, name: &str) -> Result<bool, ConfigError> {
    let setting = layers.get(name);
    match setting.value.as_str() {
        "true" => Ok(true),
        "false" => Ok(false),
        _ => Err(wrong(setting, "write true or false")),
    }
}

fn number(layers: &Layers, name: &str, (low, high): (u64, u64)) -> Result<u64, ConfigError> {
    let setting = layers.get(name);
    let value = setting.value.parse().ok();
    value
        .filter(|value| (low..=high).contains(value))
        .ok_or_else(|| {
            wrong(
                setting,
                format!("write a whole number from {low} to {high}"),
            )
        })
}

fn count(layers: &Layers, name: &str, range: (u64, u64)) -> Result<usize, ConfigError> {
    let value = number(layers, name, range)?;
    Ok(usize::try_from(value).unwrap_or(usize::MAX))
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;

    fn check(
        flags: &[(&'static str, &str)],
        variables: &[(&str, &str)],
        file: Option<&str>,
    ) -> String {
        let flags: BTreeMap<_, _> = flags
            .iter()
            .map(|&(key, value)| (key, value.to_owned()))
            .collect();
        let variable = |name: &str| {
            let found = variables.iter().find(|(known, _)| *known == name);
            found.map(|(_, value)| (*value).to_owned())
        };
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("d.toml");
        let path = file.map(|text| {
            std::fs::write(&path, text).expect("writes");
            path
        });
        let layers = Layers::gather(&flags, &variable, path.as_deref()).expect("gathers");
        match settings(&layers) {
            Ok(settings) => format!(
                "{} from {}",
                settings.listen,
                match &layers.get("listen").origin {
                    Origin::File { line, .. } => format!("line {line}"),
                    other => other.to_string(),
                }
            ),
            Err(error) => error.to_string(),
        }
    }

    use crate::config::Origin;

    /// If this fails, a lower layer beats a higher one, or a value's origin is told wrongly.
    #[test]
    fn flags_beat_environment_beats_file_beats_default() {
        let file = Some("\nlisten = \"127.0.0.1:3\"");
        let variables = [("BAYTRIM_LISTEN", "127.0.0.1:2")];
        let flags = [("listen", "127.0.0.1:1")];
        assert_eq!(check(&flags, &variables, file), "127.0.0.1:1 from flag");
        assert_eq!(
            check(&[], &variables, file),
            "127.0.0.1:2 from environment BAYTRIM_LISTEN"
        );
        assert_eq!(check(&[], &[], file), "127.0.0.1:3 from line 2");
        assert_eq!(check(&[], &[], None), "127.0.0.1:7411 from default");
    }

    /// If this fails, a value that can't be used is used, or its owner is not told where it came from.
    #[test]
    fn bad_values_name_their_origin() {
        assert_eq!(
            check(&[], &[("BAYTRIM_LIMITS_STREAMS_MAX", "0")], None),
            "limits.streams_max (environment BAYTRIM_LIMITS_STREAMS_MAX): \"0\" can't be used; write a whole number from 1 to 256"
        );
        assert_eq!(
            check(&[("log.format", "xml")], &[], None),
            "log.format (flag): \"xml\" can't be used; write text or json"
        );
        assert!(check(&[("listen", "7411")], &[], None).starts_with("listen (flag)"));
        assert_eq!(
            check(&[("tls.key", "shop.key")], &[], None),
            "tls.key (flag): \"shop.key\" can't be used; name its certificate too, as tls.certificate"
        );
    }

    /// If this fails, what happens in the shop is sent over the network in the clear.
    #[test]
    fn messages_go_encrypted_or_stay_on_the_machine() {
        for good in [
            "https://notes.example/hook",
            "http://127.0.0.1:9000/",
            "http://localhost/hook",
            "http://[::1]:9000/hook",
        ] {
            for key in ["webhook.url", "telemetry.otlp_endpoint"] {
                assert!(check(&[(key, good)], &[], None).starts_with("127.0.0.1:7411"));
            }
        }
        for bad in [
            "http://notes.example/",
            "ftp://127.0.0.1/",
            "notes",
            "https://",
        ] {
            for key in ["webhook.url", "telemetry.otlp_endpoint"] {
                let told = check(&[(key, bad)], &[], None);
                assert!(told.starts_with(&format!("{key} (flag)")), "{bad}: {told}");
            }
        }
    }

    /// If this fails, servers within tests and programs run under other limits than the daemon.
    #[test]
    fn default_limits_are_those_of_the_table() {
        let layers = Layers::gather(&BTreeMap::new(), &|_| None, None).expect("gathers");
        let settings = settings(&layers).expect("good defaults");
        assert_eq!(settings.limits, ServiceLimits::default());
    }
}

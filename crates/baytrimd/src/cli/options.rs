//! Flags that set keys of the configuration.

use std::collections::BTreeMap;
use std::path::PathBuf;

use clap::Args;

use super::Failure;
use crate::config::{self, Layers, Settings};

/// Flags that set keys of the configuration; each beats the environment and the file.
#[derive(Debug, Clone, Default, Args)]
#[expect(clippy::doc_markdown, reason = "these comments are what --help prints")]
pub(crate) struct Options {
    /// TOML file with the configuration [env: BAYTRIM_CONFIG]
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// Directory of the ledger [env: BAYTRIM_DATA]
    #[arg(long, value_name = "DIR")]
    data: Option<String>,
    /// PostgreSQL database that holds the ledger instead of the directory [env: BAYTRIM_STORE_URL]
    #[arg(long, value_name = "URL")]
    store: Option<String>,
    /// A database without a second copy of each record is good enough [env: BAYTRIM_STORE_SINGLE_COPY]
    #[arg(long)]
    single_copy: bool,
    /// Object storage that holds raw logs, beside a database: s3://BUCKET/FOLDER [env: BAYTRIM_STORE_BLOBS]
    #[arg(long, value_name = "URL")]
    blobs: Option<String>,
    /// Address to listen at; port 0 takes a free one [env: BAYTRIM_LISTEN] [default: 127.0.0.1:7411]
    #[arg(long, value_name = "ADDR")]
    listen: Option<String>,
    /// How log lines look, text or json [env: BAYTRIM_LOG_FORMAT] [default: text]
    #[arg(long = "log", value_name = "FORMAT")]
    log_format: Option<String>,
    /// Which log lines are written [env: BAYTRIM_LOG_LEVEL] [default: info]
    #[arg(long, value_name = "LEVEL")]
    log_level: Option<String>,
    /// PEM file with the daemon's certificate [env: BAYTRIM_TLS_CERTIFICATE] [default: that of `tls init`, if any]
    #[arg(long, value_name = "FILE")]
    tls_certificate: Option<String>,
    /// PEM file with that certificate's key [env: BAYTRIM_TLS_KEY] [default: the certificate's file]
    #[arg(long, value_name = "FILE")]
    tls_key: Option<String>,
    /// OpenTelemetry collector that is sent traces [env: BAYTRIM_TELEMETRY_OTLP_ENDPOINT] [default: none]
    #[arg(long, value_name = "URL")]
    otlp_endpoint: Option<String>,
    /// Listens beyond this machine although nothing is encrypted [env: BAYTRIM_ACCESS_INSECURE_LAN]
    #[arg(long)]
    insecure_lan: bool,
}

impl Options {
    /// Returns all layers of the configuration.
    #[expect(
        clippy::disallowed_methods,
        reason = "the daemon's environment is read here and nowhere else"
    )]
    pub(crate) fn layers(&self) -> Result<Layers, Failure> {
        let given = [
            ("data", &self.data),
            ("store.url", &self.store),
            ("store.blobs", &self.blobs),
            ("listen", &self.listen),
            ("log.format", &self.log_format),
            ("log.level", &self.log_level),
            ("tls.certificate", &self.tls_certificate),
            ("tls.key", &self.tls_key),
            ("telemetry.otlp_endpoint", &self.otlp_endpoint),
        ];
        let mut flags: BTreeMap<&'static str, String> = given
            .into_iter()
            .filter_map(|(key, value)| Some((key, value.clone()?)))
            .collect();
        if self.single_copy {
            flags.insert("store.single_copy", "true".to_owned());
        }
        if self.insecure_lan {
            flags.insert("access.insecure_lan", "true".to_owned());
        }
        // An empty variable counts as not set, as service managers write it.
        let variable = |name: &str| std::env::var(name).ok().filter(|value| !value.is_empty());
        let file = self
            .config
            .clone()
            .or_else(|| variable("BAYTRIM_CONFIG").map(PathBuf::from));
        Layers::gather(&flags, &variable, file.as_deref()).map_err(Failure::usage)
    }

    /// Returns what the environment says of object storage, by the names that are usual for it.
    #[cfg(feature = "object-storage")]
    pub(crate) fn object_storage() -> Vec<(String, String)> {
        let all = std::env::vars_os();
        let plain = all.filter_map(|(name, value)| {
            Some((name.into_string().ok()?, value.into_string().ok()?))
        });
        plain.filter(|(name, _)| name.starts_with("AWS_")).collect()
    }

    /// Returns what all layers say.
    pub(crate) fn settings(&self) -> Result<Settings, Failure> {
        config::settings(&self.layers()?).map_err(Failure::usage)
    }

    /// Returns the directory where the command line of the same user looks for the names of token files.
    #[expect(
        clippy::disallowed_methods,
        reason = "the daemon's environment is read here and nowhere else"
    )]
    pub(crate) fn places() -> Option<PathBuf> {
        let variable = |name: &str| {
            let value = std::env::var(name).ok().filter(|value| !value.is_empty());
            value.map(PathBuf::from)
        };
        let home = || variable("HOME").map(|home| home.join(".config"));
        let of_user = variable("XDG_RUNTIME_DIR")
            .or_else(|| variable("XDG_CONFIG_HOME"))
            .or_else(home);
        of_user.map(|directory| directory.join("baytrim"))
    }

    /// Returns the directory of the ledger, which has no default.
    pub(crate) fn data(settings: &Settings) -> Result<&PathBuf, Failure> {
        settings.data.as_ref().ok_or_else(|| {
            Failure::usage(anyhow::anyhow!(
                "no directory for the ledger is named; give --data DIR, BAYTRIM_DATA, or `data` in the configuration file (or --store URL for a database)"
            ))
        })
    }
}

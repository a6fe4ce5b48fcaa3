//! Every key, with its default and its sentence.

/// What a value is in a TOML file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Text.
    Text,
    /// A whole number.
    Integer,
    /// `true` or `false`.
    Flag,
}

/// A key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Key {
    /// Its name: `section.key` or `key`.
    pub name: &'static str,
    /// What its value is.
    pub kind: Kind,
    /// Its value where nobody gives one; empty: none.
    pub default: &'static str,
    /// What it is for.
    pub sentence: &'static str,
}

impl Key {
    /// Returns the name of the environment variable: `BAYTRIM_`, the key in capitals, dots as underscores.
    pub fn variable(&self) -> String {
        let name = self.name.to_ascii_uppercase().replace('.', "_");
        format!("BAYTRIM_{name}")
    }
}

/// Every key, in the order in which they are shown.
pub const KEYS: [Key; 27] = [
    Key {
        name: "data",
        kind: Kind::Text,
        default: "",
        sentence: "directory of the ledger; made where there is none",
    },
    Key {
        name: "store.url",
        kind: Kind::Text,
        default: "",
        sentence: "PostgreSQL database that holds the ledger, postgres://USER@HOST/DATABASE; empty: the directory",
    },
    Key {
        name: "store.password_file",
        kind: Kind::Text,
        default: "",
        sentence: "file with nothing but the database's password; empty: none is needed",
    },
    Key {
        name: "store.single_copy",
        kind: Kind::Flag,
        default: "false",
        sentence: "whether a database without a second copy of each record is good enough",
    },
    Key {
        name: "store.blobs",
        kind: Kind::Text,
        default: "",
        sentence: "object storage that holds raw logs and evidence, s3://BUCKET/FOLDER; empty: the database",
    },
    Key {
        name: "listen",
        kind: Kind::Text,
        default: "127.0.0.1:7411",
        sentence: "address and port to listen at; port 0 takes a free one",
    },
    Key {
        name: "log.format",
        kind: Kind::Text,
        default: "text",
        sentence: "text for people, json for programs",
    },
    Key {
        name: "log.level",
        kind: Kind::Text,
        default: "info",
        sentence: "error, warn, info, debug, trace, or a filter such as baytrimd=debug,warn",
    },
    Key {
        name: "access.insecure_lan",
        kind: Kind::Flag,
        default: "false",
        sentence: "whether to listen beyond this machine although nothing is encrypted",
    },
    Key {
        name: "tls.certificate",
        kind: Kind::Text,
        default: "",
        sentence: "PEM file with the daemon's certificate, those above it after it; empty: the one of `baytrimd tls init`, if any",
    },
    Key {
        name: "tls.key",
        kind: Kind::Text,
        default: "",
        sentence: "PEM file with that certificate's key; empty: it is in the same file",
    },
    Key {
        name: "tls.bay_certificates",
        kind: Kind::Flag,
        default: "false",
        sentence: "whether bays show certificates of `baytrimd tls issue`, beside their tokens",
    },
    Key {
        name: "metrics.listen",
        kind: Kind::Text,
        default: "",
        sentence: "address and port where /metrics is scraped, without a token; empty: nowhere",
    },
    Key {
        name: "checkpoints.every_s",
        kind: Kind::Integer,
        default: "3600",
        sentence: "seconds between signed checkpoints, made where something was recorded; 0: only on command",
    },
    Key {
        name: "checkpoints.directory",
        kind: Kind::Text,
        default: "",
        sentence: "directory on another disk where each of those is written as a file too; empty: nowhere",
    },
    Key {
        name: "telemetry.otlp_endpoint",
        kind: Kind::Text,
        default: "",
        sentence: "address of an OpenTelemetry collector (OTLP over gRPC) that is sent a trace of each request; empty: none",
    },
    Key {
        name: "webhook.url",
        kind: Kind::Text,
        default: "",
        sentence: "address that is sent a signed message when a proposal waits, or waits no longer; empty: none",
    },
    Key {
        name: "webhook.secret_file",
        kind: Kind::Text,
        default: "",
        sentence: "file with the secret that messages are signed with; empty: webhook.secret in the ledger's directory, made where there is none",
    },
    Key {
        name: "webhook.ca_file",
        kind: Kind::Text,
        default: "",
        sentence: "PEM file with the authority that the receiver's certificate is checked by; empty: the public ones",
    },
    Key {
        name: "retention.raw_logs_days",
        kind: Kind::Integer,
        default: "0",
        sentence: "days that a raw log is kept after the last pull that it was recorded as; records and evidence stay; 0: for ever",
    },
    Key {
        name: "retention.unfinished_days",
        kind: Kind::Integer,
        default: "0",
        sentence: "days that a live pull is kept that nobody finishes, 8 or more; logs that were refused go too; 0: for ever",
    },
    Key {
        name: "retention.every_s",
        kind: Kind::Integer,
        default: "21600",
        sentence: "seconds between two rounds of removing by rule, 600 or more",
    },
    Key {
        name: "limits.upload_bytes_max",
        kind: Kind::Integer,
        default: "268435456",
        sentence: "largest log that may be uploaded, in bytes as sent",
    },
    Key {
        name: "limits.streams_max",
        kind: Kind::Integer,
        default: "32",
        sentence: "live pulls at once",
    },
    Key {
        name: "limits.uploads_max",
        kind: Kind::Integer,
        default: "8",
        sentence: "uploads at once",
    },
    Key {
        name: "limits.compute_max",
        kind: Kind::Integer,
        default: "2",
        sentence: "fits and logs being read at once",
    },
    Key {
        name: "limits.idle_s",
        kind: Kind::Integer,
        default: "60",
        sentence: "seconds that a live pull or an upload may be silent",
    },
];

/// Returns the key of that name.
pub fn find(name: &str) -> Option<&'static Key> {
    KEYS.iter().find(|key| key.name == name)
}

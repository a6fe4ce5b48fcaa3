//! The secret that messages are signed with, so that the receiver knows who sent them.

use std::fmt;
use std::io;
use std::path::Path;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use ring::hmac;

use super::WebhookError;
use crate::private;

/// Name of the file with the secret, within the ledger's directory, where none other is named.
pub const SECRET_FILE: &str = "webhook.secret";

/// What a secret begins with, by Standard Webhooks.
const PREFIX: &str = "whsec_";

/// Bytes of a secret, by Standard Webhooks.
const SECRET_BYTES: std::ops::RangeInclusive<usize> = 24..=64;

/// A secret.
pub(super) struct Secret(hmac::Key);

impl fmt::Debug for Secret {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("Secret")
    }
}

impl Secret {
    fn parse(text: &str) -> Option<Self> {
        let bytes = STANDARD.decode(text.trim().strip_prefix(PREFIX)?).ok()?;
        let is_good = SECRET_BYTES.contains(&bytes.len());
        is_good.then(|| Self(hmac::Key::new(hmac::HMAC_SHA256, &bytes)))
    }

    /// Returns the value of `webhook-signature`: HMAC-SHA-256 over id, second and body, joined by dots.
    pub(super) fn sign(&self, id: &str, second: i64, body: &str) -> String {
        let tag = hmac::sign(&self.0, format!("{id}.{second}.{body}").as_bytes());
        format!("v1,{}", STANDARD.encode(tag))
    }
}

/// Returns the secret in `file`; where none is named, the one in the ledger's directory, made where there is none.
///
/// # Errors
/// When it can't be had, or what is there is none.
pub(super) fn establish(file: Option<&Path>, data: &Path) -> Result<Secret, WebhookError> {
    let path = file.map_or_else(|| data.join(SECRET_FILE), Path::to_owned);
    let failed = |source| WebhookError::File {
        path: path.clone(),
        source,
    };
    let text = match std::fs::read_to_string(&path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound && file.is_none() => {
            let mut bytes = [0; 32];
            getrandom::fill(&mut bytes).map_err(WebhookError::Random)?;
            let text = format!("{PREFIX}{}\n", STANDARD.encode(bytes));
            private::create(&path, &text).map_err(failed)?;
            tracing::info!(file = %path.display(), "a secret that messages are signed with was made; give it to their receiver");
            text
        }
        read => read.map_err(failed)?,
    };
    Secret::parse(&text).ok_or(WebhookError::Content {
        path,
        problem: "this is no secret of a webhook",
        remedy: "write whsec_ and 24 to 64 random bytes in base64, or move the file away to have one made",
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, receivers that keep to the open form refuse our messages.
    ///
    /// Standard Webhooks 1.0; values by its reference library for Python, `standardwebhooks` 1.1.0.
    #[test]
    fn signatures_are_those_of_the_reference_library() {
        let secret = Secret::parse("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw").expect("a secret");
        let cases = [
            (
                "msg_p5jXN8AQM9LWM0D4loKWxJek",
                1_614_265_330,
                r#"{"test": 2432232314}"#,
                "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
            ),
            (
                "msg_baytrim",
                1_795_000_000,
                r#"{"type":"proposal.waiting"}"#,
                "v1,skDeFU/ycdYIZ6vzI95IzpJShT1gwkyaBebMK3l+mZc=",
            ),
        ];
        for (id, second, body, expected) in cases {
            assert_eq!(secret.sign(id, second, body), expected);
        }
    }

    /// If this fails, a secret is made anew at each start, others can read it, or something else passes for one.
    #[test]
    fn a_secret_is_made_once_and_a_bad_one_is_refused() {
        let data = tempfile::tempdir().expect("a directory");
        let sign = |secret: Secret| secret.sign("msg_1", 1, "{}");
        let first = sign(establish(None, data.path()).expect("made"));
        assert_eq!(sign(establish(None, data.path()).expect("kept")), first);
        let path = data.path().join(SECRET_FILE);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            let mode = path.metadata().expect("is there").permissions().mode();
            assert_eq!(mode & 0o777, 0o600);
        }
        for bad in [
            "",
            "whsec_",
            "whsec_c2hvcnQ=",
            "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
        ] {
            std::fs::write(&path, bad).expect("writes");
            let refused = establish(Some(&path), data.path());
            assert!(
                matches!(refused, Err(WebhookError::Content { .. })),
                "{bad}"
            );
        }
        let missing = establish(Some(&data.path().join("other")), data.path());
        assert!(matches!(missing, Err(WebhookError::File { .. })));
    }
}

//! Runs the program in process and catches what it writes.

use baytrim::{Environment, Exit, run};

/// What a command left behind.
pub(crate) struct Outcome {
    pub(crate) exit: Exit,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Outcome {
    /// Returns the one JSON object on standard output.
    pub(crate) fn json(&self) -> serde_json::Value {
        assert_eq!(
            self.out.lines().count(),
            1,
            "one object per command: {}",
            self.out
        );
        serde_json::from_str(&self.out).unwrap()
    }

    /// Returns the one JSON error on standard error.
    pub(crate) fn error(&self) -> serde_json::Value {
        let object: serde_json::Value = serde_json::from_str(&self.err).unwrap();
        object["error"].clone()
    }
}

/// Runs `baytrim` with `words` against the server at `url`.
pub(crate) async fn baytrim(url: &str, words: &[&str]) -> Outcome {
    let environment = Environment {
        server: Some(url.to_owned()),
        ..Environment::default()
    };
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let args = ["baytrim"].iter().chain(words);
    let exit = run(args, &environment, &mut out, &mut err).await;
    let text = |bytes| String::from_utf8(bytes).unwrap();
    Outcome {
        exit,
        out: text(out),
        err: text(err),
    }
}

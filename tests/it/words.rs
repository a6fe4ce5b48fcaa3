//! What sources and documents may not say or do.

use std::path::{Path, PathBuf};

use crate::floors::root;

fn files(folder: &Path, endings: &[&str], found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("readable") {
        let path = entry.expect("readable").path();
        if path.is_dir() {
            files(&path, endings, found);
        } else if endings
            .iter()
            .any(|ending| path.extension().is_some_and(|e| e == *ending))
        {
            found.push(path);
        }
    }
}

/// If this fails, a crate below the top reads a clock or the environment, and its decisions can't be replayed.
#[test]
fn clocks_and_environment_stay_at_the_top() {
    let top = ["baytrimd", "baytrim"];
    let mut sources = Vec::new();
    for entry in std::fs::read_dir(root().join("crates")).expect("readable") {
        let path = entry.expect("readable").path();
        let name = path
            .file_name()
            .and_then(|name| name.to_str())
            .expect("plain name");
        if !top.contains(&name) {
            files(&path.join("src"), &["rs"], &mut sources);
        }
    }
    assert!(sources.len() > 50, "found only {} sources", sources.len());
    for path in sources {
        let text = std::fs::read_to_string(&path).expect("UTF-8");
        for banned in [
            "SystemTime::now",
            "Instant::now",
            "env::var",
            "rand::rng()",
            "thread_rng",
        ] {
            assert!(!text.contains(banned), "{} uses {banned}", path.display());
        }
    }
}

/// If this fails, a source file has grown past what can be read in one sitting.
#[test]
fn source_files_stay_short() {
    let mut sources = Vec::new();
    files(&root().join("crates"), &["rs"], &mut sources);
    for path in sources {
        let lines = std::fs::read_to_string(&path)
            .expect("UTF-8")
            .lines()
            .count();
        assert!(lines <= 400, "{} has {lines} lines", path.display());
    }
}

/// If this fails, a program reads a part of a later one's record and takes what it does not know there for nothing.
#[test]
fn parts_of_records_refuse_what_they_do_not_know() {
    // Parts of no record.
    let others = ["FieldError", "Recording", "ChannelRecording", "Samples"];
    let mut sources = Vec::new();
    files(
        &root().join("crates/baytrim-model/src"),
        &["rs"],
        &mut sources,
    );
    for path in sources {
        let text = std::fs::read_to_string(&path).expect("UTF-8");
        for (at, _) in text.match_indices("#[derive(") {
            let item = &text[at..];
            let (head, _) = item.split_at(item.find(['{', ';']).unwrap_or(0));
            let body = item[..item.find("\n}").unwrap_or(0)].replace(head, "");
            let Some((_, name)) = head.split_once("pub struct ") else {
                continue;
            };
            // What flattens another into itself leaves it to that one.
            let is_asked = head.contains("Deserialize")
                && body.starts_with('{')
                && !body.contains("serde(flatten)")
                && !others.contains(&name.trim());
            assert!(
                !is_asked || head.contains("deny_unknown_fields"),
                "{}: {name} lacks #[serde(deny_unknown_fields)]",
                path.display()
            );
        }
    }
}

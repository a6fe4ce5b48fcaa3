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

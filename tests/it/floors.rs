//! The house: which crate may know which.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use toml::Value;

/// Floor of each crate; an edge may only go to a lower floor.
const FLOORS: [(&str, u8); 17] = [
    ("baytrim-model", 0),
    ("baytrim-api", 0),
    ("baytrim-checkpoint", 0),
    ("baytrim-estimate", 1),
    ("baytrim-access", 1),
    ("baytrim-intake", 1),
    ("baytrim-ledger", 1),
    ("baytrim-power", 1),
    ("baytrim-testkit", 1),
    ("baytrim", 1),
    ("baytrim-archive", 2),
    ("baytrim-rider", 2),
    ("baytrim-ledger-local", 2),
    ("baytrim-ledger-objects", 2),
    ("baytrim-ledger-postgres", 2),
    ("baytrim-jobs", 3),
    ("baytrimd", 4),
];

/// Crates that may know an outside library at run time.
const OWNERS: [(&str, &[&str]); 8] = [
    ("nalgebra", &["baytrim-estimate"]),
    ("sled", &["baytrim-ledger-local"]),
    ("ring", &["baytrim-checkpoint", "baytrimd"]),
    ("object_store", &["baytrim-ledger-objects"]),
    ("tokio-postgres", &["baytrim-ledger-postgres"]),
    ("tonic", &["baytrim-api", "baytrim", "baytrimd"]),
    ("axum", &["baytrimd"]),
    ("maud", &["baytrimd"]),
];

/// Returns the project's root.
pub(crate) fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn manifests() -> BTreeMap<String, Value> {
    let entries = std::fs::read_dir(root().join("crates")).expect("crates/ is there");
    let parsed = entries.map(|entry| {
        let path = entry.expect("readable").path().join("Cargo.toml");
        let text = std::fs::read_to_string(&path).expect("each crate has a manifest");
        let manifest: Value = toml::from_str(&text).expect("valid TOML");
        let name = manifest["package"]["name"]
            .as_str()
            .expect("named")
            .to_owned();
        (name, manifest)
    });
    parsed.collect()
}

fn dependencies(manifest: &Value, table: &str) -> BTreeSet<String> {
    let names = manifest.get(table).and_then(Value::as_table);
    names.map_or_else(BTreeSet::new, |table| table.keys().cloned().collect())
}

/// If this fails, the house has a crate on no floor, or a floor for no crate.
#[test]
fn every_crate_has_its_floor() {
    let found: BTreeSet<String> = manifests().into_keys().collect();
    let known: BTreeSet<String> = FLOORS.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(found, known);
}

/// If this fails, something upstream has learned of something downstream.
#[test]
fn edges_go_strictly_down() {
    let floors: BTreeMap<&str, u8> = FLOORS.into_iter().collect();
    for (name, manifest) in manifests() {
        for dependency in dependencies(&manifest, "dependencies") {
            if let Some(floor) = floors.get(dependency.as_str()) {
                assert!(
                    *floor < floors[name.as_str()],
                    "{name} (floor {}) must not know {dependency} (floor {floor})",
                    floors[name.as_str()]
                );
            }
        }
    }
}

/// If this fails, the command line is not thin any more: it must reach the shop over the wire only. What a
/// checkpoint proves is proven without the shop.
#[test]
fn command_line_knows_only_the_wire() {
    let own: BTreeSet<String> = dependencies(&manifests()["baytrim"], "dependencies")
        .into_iter()
        .filter(|name| name.starts_with("baytrim"))
        .collect();
    assert_eq!(
        own,
        BTreeSet::from(["baytrim-api", "baytrim-checkpoint"].map(str::to_owned))
    );
}

/// If this fails, a heavy library has spread beyond the crates that it belongs to.
#[test]
fn heavy_libraries_stay_where_they_belong() {
    for (library, owners) in OWNERS {
        for (name, manifest) in manifests() {
            if dependencies(&manifest, "dependencies").contains(library) {
                assert!(
                    owners.contains(&name.as_str()),
                    "{name} must not know {library}"
                );
            }
        }
    }
}

/// If this fails, a crate's manifest, its first line and the architecture page tell different stories.
#[test]
fn each_crate_has_one_sentence_everywhere() {
    let architecture =
        std::fs::read_to_string(root().join("docs/architecture.md")).expect("the page is there");
    for (name, manifest) in manifests() {
        let sentence = manifest["package"]["description"]
            .as_str()
            .expect("described");
        let lib = root().join("crates").join(&name).join("src/lib.rs");
        let source = std::fs::read_to_string(lib).expect("each crate is a library");
        let mut lines = source.lines();
        let first = lines.next().unwrap_or_default();
        assert_eq!(first, format!("//! {sentence}"), "first line of {name}");
        let second = lines.next().unwrap_or_default();
        assert!(
            second.starts_with("//! Knows nothing of "),
            "second line of {name}: {second}"
        );
        assert!(
            architecture.contains(sentence),
            "docs/architecture.md on {name}"
        );
    }
}

/// If this fails, something lies at the top that has no place there.
#[test]
fn top_level_is_as_agreed() {
    let allowed = [
        "Cargo.toml",
        "Cargo.lock",
        "LICENSE",
        "README.md",
        "DEVELOPERS.md",
        "proto",
        "crates",
        "deploy",
        "demo-data",
        "tests",
        "docs",
        "target",
    ];
    for entry in std::fs::read_dir(root()).expect("readable") {
        let name = entry
            .expect("readable")
            .file_name()
            .into_string()
            .expect("plain name");
        assert!(
            name.starts_with('.') || allowed.contains(&name.as_str()),
            "{name}"
        );
    }
}

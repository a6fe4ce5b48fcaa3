//! Files of independent writers, made by `tests/oracles/write_files.py`.

use std::fmt::Write;
use std::fs;
use std::path::PathBuf;

use baytrim_intake::report::Compression;
use sha2::{Digest, Sha256};

use crate::support::read;

/// Returns a committed file.
pub(crate) fn file(name: &str) -> Vec<u8> {
    let path = folder().join(name);
    fs::read(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/files")
}

/// A file that was changed by hand, or by a checkout that alters line ends, proves nothing.
#[test]
fn the_files_are_those_that_were_written() {
    let sums = String::from_utf8(file("SHA256SUMS")).unwrap();
    let mut count = 0;
    for line in sums.lines() {
        let (sum, name) = line.split_once("  ").unwrap();
        let found = Sha256::digest(file(name))
            .iter()
            .fold(String::new(), |mut text, byte| {
                write!(text, "{byte:02x}").unwrap();
                text
            });
        assert_eq!(found, sum, "{name}");
        count += 1;
    }
    assert_eq!(
        count + 1,
        fs::read_dir(folder()).unwrap().count(),
        "each file has its sum"
    );
}

/// A log packed by the reference library of zstd would not be read: levels 1 and 19, with checksums,
/// by the `zstandard` package.
#[test]
fn the_reference_packer_of_zstd_is_understood() {
    let plain = read(&file("plain.csv")).unwrap();
    assert_eq!(plain.samples.len(), 400);
    for name in ["plain_level_1.csv.zst", "plain_level_19.csv.zst"] {
        let packed = file(name);
        let intake = read(&packed).unwrap();
        assert_eq!(intake.samples, plain.samples, "{name}");
        assert_eq!(intake.report.compression, Compression::Zstd);
        let mut wrong_sum = packed.clone();
        *wrong_sum.last_mut().unwrap() ^= 1;
        assert_eq!(
            read(&wrong_sum).unwrap_err().reason(),
            "LOG_CORRUPT",
            "{name}"
        );
    }
}

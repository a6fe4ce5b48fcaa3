//! What a faulty log is told, to the letter.
//!
//! `UPDATE_GOLDEN=1 cargo test -p baytrim-intake` writes the golden file anew.

mod formats;
mod values;

use std::collections::BTreeSet;
use std::fmt::Write;
use std::io::{self, Read};

use baytrim_intake::{IntakeError, LogLimits, read_log};
use baytrim_model::channel::{Channel, ChannelMap, EvidenceKind, Quantity, Unit};

use crate::support::{altered, channel, fuel, gzip, plain, read_source, read_with, zstd};

const GOLDEN: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/golden/messages.txt");

/// A faulty log that gets another message, another place or another reason than the one it is known
/// to get leaves the tuner, or a script, without what it went by.
#[test]
#[expect(
    clippy::disallowed_methods,
    reason = "a flag says to write the golden file"
)]
fn every_fault_gets_its_message() {
    let mut text = String::new();
    let mut reasons = BTreeSet::new();
    for (name, error) in cases() {
        reasons.insert(error.reason());
        writeln!(
            text,
            "== {name}\n{} at {}\n{error}\n",
            error.reason(),
            error.field()
        )
        .unwrap();
    }
    let known: BTreeSet<&str> = IntakeError::REASONS.into_iter().collect();
    assert_eq!(reasons, known, "every reason has a case");
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        std::fs::write(GOLDEN, &text).unwrap();
    }
    let golden = std::fs::read_to_string(GOLDEN).unwrap();
    assert_eq!(text, golden, "messages differ from {GOLDEN}");
}

struct Broken;

impl Read for Broken {
    fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
        Err(io::Error::other("the disk is gone"))
    }
}

fn cases() -> Vec<(&'static str, IntakeError)> {
    let mut cases = file_cases();
    cases.extend(table_cases());
    cases.extend(cell_cases());
    cases.extend(values::unit_cases());
    cases.extend(values::clock_cases());
    cases.extend(formats::mdf_cases());
    cases.extend(map_cases());
    cases
}

fn refused(bytes: impl AsRef<[u8]>) -> IntakeError {
    read_with(bytes.as_ref(), &altered(|_| {})).unwrap_err()
}

fn refused_by(map: &ChannelMap, bytes: impl AsRef<[u8]>) -> IntakeError {
    read_with(bytes.as_ref(), map).unwrap_err()
}

fn limited(bytes: &[u8], limit: impl FnOnce(&mut LogLimits)) -> IntakeError {
    let mut limits = LogLimits::default();
    limit(&mut limits);
    read_source(&mut &*bytes, &altered(|_| {}), &limits).unwrap_err()
}

/// Returns the plain log with its rows below the header replaced.
fn rows(rows: &str) -> String {
    format!("offset_s,rpm,plate_percent,lambda\n{rows}")
}

/// Returns a log of twenty rows, each made by `cells` of its number.
fn many(cells: impl Fn(u32) -> String) -> String {
    rows(&(0..20).map(|row| cells(row) + "\n").collect::<String>())
}

fn file_cases() -> Vec<(&'static str, IntakeError)> {
    let log = plain();
    let packed = gzip(log.as_bytes());
    let mut damaged = packed.clone();
    let middle = damaged.len() / 2;
    damaged[middle] ^= 0x55;
    let frame = zstd(log.as_bytes());
    let mut damaged_frame = frame.clone();
    damaged_frame[frame.len() / 2] ^= 0x55;
    let mut broken_source = Broken;
    let broken = read_source(&mut broken_source, &altered(|_| {}), &LogLimits::default());
    vec![
        ("a source that fails", broken.unwrap_err()),
        ("an empty file", refused("")),
        ("nothing but blank lines", refused("\n \r\n\t\n")),
        ("a byte order mark alone", refused([0xef, 0xbb, 0xbf])),
        ("a picture", refused(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR")),
        ("nothing but zeros", refused([0; 600])),
        ("zeros in a cell", refused(rows("0.0,2000,1\x000,0.9\n"))),
        (
            "a cell of control characters",
            refused(rows(&format!(
                "{}0.0,\x01,10,0.9\n",
                "# a remark\n".repeat(30_000)
            ))),
        ),
        ("a spreadsheet", refused(b"PK\x03\x04\x14\0\x06\0")),
        (
            "a zstd file of six bytes",
            refused([0x28, 0xb5, 0x2f, 0xfd, 0x24, 0x10]),
        ),
        ("a zstd file inside a gzip file", refused(gzip(&frame))),
        ("a Feather file of version 1", refused(b"FEA1\0\0\0\0")),
        ("an HDF5 file", refused(b"\x89HDF\r\n\x1a\n\0\0\0\0")),
        (
            "a zstd file cut in half",
            refused(&frame[..frame.len() / 2]),
        ),
        ("a zstd file with a flipped bit", refused(&damaged_frame)),
        (
            "a zstd file that asks for a gigabyte",
            refused([0x28, 0xb5, 0x2f, 0xfd, 0x00, 20 << 3, 1, 0, 0]),
        ),
        (
            "a gzip file cut in half",
            refused(&packed[..packed.len() / 2]),
        ),
        (
            "a gzip file without its end",
            refused(&packed[..packed.len() - 4]),
        ),
        ("a gzip file with a flipped bit", refused(damaged)),
        (
            "a log over the byte limit",
            limited(log.as_bytes(), |limits| limits.bytes_max = 200),
        ),
        (
            "a packed log over the byte limit",
            limited(&packed, |limits| limits.bytes_max = 200),
        ),
        (
            "a log over the row limit",
            limited(log.as_bytes(), |limits| limits.rows_max = 19),
        ),
        (
            "a log over the column limit",
            limited(log.as_bytes(), |limits| limits.columns_max = 3),
        ),
        (
            "a quotation mark that is never closed",
            refused(rows(&format!(
                "\"0.0,2000,10,0.9\n{}",
                "0.1,2000,10,0.9\n".repeat(40_000)
            ))),
        ),
    ]
}

fn table_cases() -> Vec<(&'static str, IntakeError)> {
    vec![
        (
            "numbers without a header",
            refused("0.0,2000,10,0.9\n0.1,2000,10,0.9\n"),
        ),
        (
            "times and switches without a header",
            refused("2031-05-04 10:15:30.0,2000,off,0.9\n2031-05-04 10:15:30.1,2000,on,0.9\n"),
        ),
        (
            "columns set apart by spaces",
            refused("time rpm throttle lambda\n0.0 2000 10 0.9\n0.1 2000 10 0.9\n"),
        ),
        (
            "columns set apart by bars",
            refused("time|rpm|throttle\n0.0|2000|10\n0.1|2000|10\n"),
        ),
        (
            "a JSON text",
            refused("{\"time\": [0.0, 0.1], \"rpm\": [2000, 2010]}\n"),
        ),
        ("a web page", refused("<!doctype html>\n<html></html>\n")),
        (
            "names of another log below a long remark",
            refused("Bay 2, first pull, warm, dry, no wind\nTime,RPM\n0.0,2000\n0.1,2010\n"),
        ),
        ("names of another log alone", refused("Time;RPM;Throttle\n")),
        (
            "a missing column",
            refused("offset_s;Engine RPM;rpm_limit;plate_percent;lambda\n0;1;2;3;4\n"),
        ),
        (
            "a missing time column",
            refused("time,rpm,plate_percent,lambda\n0,2000,10,0.9\n"),
        ),
        ("prose", refused("Dear reader,\nthis is a letter.\n")),
        (
            "neither of two trims",
            refused_by(
                &altered(|map| map.evidence = EvidenceKind::LambdaAndTrims),
                plain(),
            ),
        ),
        (
            "a column twice",
            refused("offset_s,rpm,plate_percent,lambda,rpm\n0,2000,10,0.9,2000\n"),
        ),
        (
            "a row that is too short",
            refused(rows("0.0,2000,10,0.9\n0.1,2000\n0.2,2000,10,0.9\n")),
        ),
        (
            "decimal commas between commas",
            refused(rows("0,0,2000,10,5,0,9\n0,1,2000,10,5,0,9\n")),
        ),
        (
            "a remark without its mark",
            refused(rows("0.0,2000,10,0.9\nlap 2\n0.1,2000,10,0.9\n")),
        ),
        ("a header alone", refused(rows(""))),
        ("a header and units alone", refused(rows("s,1/min,%,-\n"))),
        ("a header and blank rows", refused(rows(",,,\n\n,,,\n"))),
    ]
}

fn cell_cases() -> Vec<(&'static str, IntakeError)> {
    vec![
        (
            "text in a number, below blank rows and a quoted line break",
            refused(
                "offset_s,rpm,plate_percent,lambda,note\n\n0.0,2000,10,0.9,\"two\nlines\"\n\n0.1,2OOO,10,0.9,\n",
            ),
        ),
        (
            "a long text in a number",
            refused(rows(&format!("0.0,2000,10,{}\n", "x".repeat(200)))),
        ),
        (
            "a word in a flag",
            refused("offset_s,rpm,plate_percent,lambda,fuel_cut\n0.0,2000,10,0.9,perhaps\n"),
        ),
        (
            "a decimal comma among decimal points",
            refused("offset_s;rpm;plate_percent;lambda\n0.1;2000;10;0,9\n"),
        ),
        (
            "thousands set apart",
            refused("offset_s;rpm;plate_percent;lambda\n0,1;2,000,500;10;0,9\n"),
        ),
        (
            "not a number",
            refused(rows("0.0,2000,10,0.9\n0.1,2000,10,NaN\n")),
        ),
        ("an infinite value", refused(rows("0.0,-inf,10,0.9\n"))),
        (
            "a number beyond all bounds",
            refused(rows("0.0,1e400,10,0.9\n")),
        ),
        (
            "a row without time",
            refused(rows("0.0,2000,10,0.9\n,2000,10,0.9\n")),
        ),
        ("a time of day", refused(rows("12:30:01.5,2000,10,0.9\n"))),
        (
            "a date in another notation",
            refused_by(
                &altered(|map| map.time.unit = Unit::Iso8601),
                rows("5/4/2031 10:15:30,2000,10,0.9\n"),
            ),
        ),
        (
            "a clock time of 72 seconds",
            refused_by(
                &altered(|map| map.time.unit = Unit::ClockTime),
                rows("10:15:30,2000,10,0.9\n10:16:72,2000,10,0.9\n"),
            ),
        ),
        (
            "a time that is a word",
            refused(rows("0.0,2000,10,0.9\nend,,,\n")),
        ),
        (
            "lambda never read",
            refused(rows("0.0,2000,10,\n0.1,2000,10,\n")),
        ),
    ]
}

fn map_cases() -> Vec<(&'static str, IntakeError)> {
    let map = altered(|map| {
        channel(map, Quantity::EngineSpeed).unit = Unit::Kpa;
        map.channels.remove(&Quantity::Lambda);
        map.channels
            .insert(Quantity::GripAngle, Channel::new(" ", Unit::Percent));
    });
    let mut no_fuel = fuel();
    no_fuel.stoichiometric_afr = -1.0;
    let limits = LogLimits::default();
    let fuel_error = read_log(
        &mut io::empty(),
        "log.csv",
        &altered(|_| {}),
        &no_fuel,
        &limits,
    );
    vec![
        ("a map that cannot be", refused_by(&map, plain())),
        ("a fuel that cannot be", fuel_error.unwrap_err()),
    ]
}

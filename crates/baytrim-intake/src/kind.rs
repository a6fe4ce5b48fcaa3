//! Tells the kind of a file by its first bytes.

/// First bytes of files that are no text, and what they are. Each from the format's own
/// specification: ASAM MDF 4, Apache Parquet and Arrow, zstd (RFC 8878), ZIP, xz, bzip2, PDF,
/// `SQLite`, and the compound file of older office programs.
const MAGICS: [(&[u8], &str); 11] = [
    (b"MDF     ", "an MDF measurement file"),
    (b"UnFinMF ", "an unfinished MDF measurement file"),
    (b"PAR1", "a Parquet table"),
    (b"ARROW1", "an Arrow table"),
    (
        &[0x28, 0xb5, 0x2f, 0xfd],
        "a zstd file inside another packed file",
    ),
    (b"PK\x03\x04", "a zip archive or a spreadsheet"),
    (&[0xfd, b'7', b'z', b'X', b'Z', 0], "an xz file"),
    (b"BZh", "a bzip2 file"),
    (b"%PDF-", "a PDF document"),
    (b"SQLite format 3\0", "an SQLite database"),
    (
        &[0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1],
        "an old office document",
    ),
];

/// Bytes that tell the kind.
pub(crate) const KIND_BYTES: u64 = 16;

/// Returns what a file that begins with `head` is, with its article, where that is known and no text.
pub(crate) fn not_text_kind(head: &[u8]) -> Option<&'static str> {
    MAGICS
        .iter()
        .find(|(magic, _)| head.starts_with(magic))
        .map(|(_, kind)| *kind)
}

//! Tells the kind of a file by its first bytes.

/// A kind of file that is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Text, or what nothing tells from it.
    Text,
    /// ASAM MDF, finished or not.
    Mdf,
    /// Apache Parquet.
    Parquet,
    /// Arrow IPC, file or stream.
    Arrow,
    /// None of those; what it is, with its article.
    Other(&'static str),
}

/// First bytes of files that are no text, and what they are. Each from the format's own
/// specification: ASAM MDF 4, Apache Parquet and Arrow, zstd (RFC 8878), ZIP, xz, bzip2, HDF5, the formats
/// of `NumPy` and MAT, PNG, JPEG, PDF, SQLite, and the compound file of older office programs.
const MAGICS: [(&[u8], Kind); 18] = [
    (b"MDF     ", Kind::Mdf),
    (b"UnFinMF ", Kind::Mdf),
    (b"PAR1", Kind::Parquet),
    (b"ARROW1", Kind::Arrow),
    // The mark before the first message of a stream; no letter of any text begins so.
    (&[0xff, 0xff, 0xff, 0xff], Kind::Arrow),
    (
        &[0x28, 0xb5, 0x2f, 0xfd],
        Kind::Other("a zstd file inside another packed file"),
    ),
    (
        b"PK\x03\x04",
        Kind::Other("a spreadsheet or another zip archive"),
    ),
    (
        &[0xfd, b'7', b'z', b'X', b'Z', 0],
        Kind::Other("an xz file"),
    ),
    (b"BZh", Kind::Other("a bzip2 file")),
    (b"FEA1", Kind::Other("a Feather file of version 1")),
    (b"\x89HDF\r\n\x1a\n", Kind::Other("an HDF5 file")),
    (b"\x93NUMPY", Kind::Other("a NumPy array")),
    (b"MATLAB 5.0 MAT-f", Kind::Other("a MAT file")),
    (b"\x89PNG\r\n\x1a\n", Kind::Other("a picture")),
    (&[0xff, 0xd8, 0xff], Kind::Other("a picture")),
    (b"%PDF-", Kind::Other("a PDF document")),
    (b"SQLite format 3\0", Kind::Other("an SQLite database")),
    (
        &[0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1],
        Kind::Other("an old office document"),
    ),
];

/// Bytes that tell the kind.
pub(crate) const KIND_BYTES: u64 = 16;

/// Returns what a file that begins with `head` is.
pub(crate) fn kind_of(head: &[u8]) -> Kind {
    MAGICS
        .iter()
        .find(|(magic, _)| head.starts_with(magic))
        .map_or(Kind::Text, |(_, kind)| *kind)
}

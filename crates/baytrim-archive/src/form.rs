//! The one form that an archive has: names of entries, their headers, limits.

use baytrim_ledger::{BlobId, StreamName};
use tar::{EntryType, Header};

/// What the manifest says first.
pub(crate) const FORM: &str = "baytrim archive 1";

/// Name of the first entry.
pub(crate) const MANIFEST: &str = "manifest.json";

/// Name of the last entry.
pub(crate) const END: &str = "end.json";

/// Bytes of a block of a tar file (POSIX.1-1988, ustar interchange format).
pub(crate) const BLOCK_BYTES: usize = 512;

/// Largest manifest that is read: some two million blobs.
pub(crate) const MANIFEST_BYTES_MAX: u64 = 256 << 20;

/// Largest last entry that is read.
pub(crate) const END_BYTES_MAX: usize = 1 << 10;

/// Returns the name of a blob's entry.
pub(crate) fn blob_path(id: &BlobId) -> String {
    format!("blobs/{id}")
}

/// Returns the name of a record's entry.
pub(crate) fn record_path(stream: &StreamName, seq: u64) -> String {
    format!("records/{stream}/{seq:012}")
}

/// Returns the one header that an entry of this name and length has.
///
/// # Errors
/// When the name does not fit into a header, which no name of ours does.
pub(crate) fn header(path: &str, len: u64) -> std::io::Result<Header> {
    let mut header = Header::new_ustar();
    header.set_path(path)?;
    header.set_entry_type(EntryType::Regular);
    header.set_size(len);
    header.set_mode(0o600);
    header.set_uid(0);
    header.set_gid(0);
    header.set_mtime(0);
    header.set_cksum();
    Ok(header)
}

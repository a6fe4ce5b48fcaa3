//! The directory's format file, and setting a directory up.

use std::path::Path;

use baytrim_ledger::StoreFault;

use crate::anchor::{self, Anchor, AnchorWriter};
use crate::files::Files;
use crate::journal::LogWriter;
use crate::lock;
use crate::options::OpenError;
use crate::scan::Log;
use crate::segment::{self, LogKind};

/// The format file's name.
pub(crate) const FILE: &str = "FORMAT";
const NEW_FILE: &str = "FORMAT.new";
const CONTENT: &str = "baytrim ledger 1\n";
/// Directory of the index.
pub(crate) const INDEX_DIR: &str = "index";
/// Directory of blobs.
pub(crate) const BLOB_DIR: &str = "blobs";
/// Directory of half-written blobs.
pub(crate) const TEMPORARY_DIR: &str = "tmp";
/// Where content goes that was given up.
pub(crate) const LOST_DIR: &str = "lost";
/// Says that the index gave a wrong answer and is to be made anew.
pub(crate) const INDEX_DOUBT_FILE: &str = "index.doubt";

/// Checks the directory's format, setting an empty directory up; tells whether it did.
///
/// # Errors
/// [`OpenError::UnknownFormat`], [`OpenError::NotALedger`], or the fault of setting it up.
pub(crate) fn check_or_create(files: &dyn Files, dir: &Path) -> Result<bool, OpenError> {
    let fault = |source| StoreFault::from_io(format!("reading {}", dir.display()), source);
    let names = files.list(dir).map_err(fault)?;
    if names.iter().any(|name| name == FILE) {
        check(files, dir)?;
        return Ok(false);
    }
    refuse_foreign(files, dir, &names)?;
    create(files, dir).map_err(OpenError::Fault)?;
    Ok(true)
}

fn check(files: &dyn Files, dir: &Path) -> Result<(), OpenError> {
    let file = dir.join(FILE);
    let mut bytes = [0; 64];
    let read = files
        .open(&file)
        .and_then(|open| open.read_at(0, &mut bytes));
    let count =
        read.map_err(|source| StoreFault::from_io(format!("reading {}", file.display()), source))?;
    if &bytes[..count] == CONTENT.as_bytes() {
        return Ok(());
    }
    let found = String::from_utf8_lossy(&bytes[..count])
        .trim_end()
        .to_owned();
    Err(OpenError::UnknownFormat {
        file,
        found,
        known: CONTENT.trim_end().to_owned(),
    })
}

/// Refuses a directory that holds other things, or a ledger that lost its format file.
fn refuse_foreign(files: &dyn Files, dir: &Path, names: &[String]) -> Result<(), OpenError> {
    let own = [
        lock::FILE,
        NEW_FILE,
        anchor::FILE,
        LogKind::Journal.name(),
        LogKind::Spool.name(),
        INDEX_DIR,
        BLOB_DIR,
        TEMPORARY_DIR,
    ];
    let refuse = |what: String| {
        Err(OpenError::NotALedger {
            dir: dir.to_owned(),
            what,
        })
    };
    if let Some(foreign) = names.iter().find(|name| !own.contains(&name.as_str())) {
        return refuse(format!("it holds '{foreign}' and no {FILE} file"));
    }
    if !names.iter().any(|name| name == LogKind::Journal.name()) {
        return Ok(());
    }
    let journal_dir = dir.join(LogKind::Journal.name());
    let journal = Log {
        files,
        dir: &journal_dir,
        kind: LogKind::Journal,
    };
    for number in journal.segments()? {
        let path = journal.path(number);
        let len = files.open(&path).and_then(|file| file.len());
        let len = len
            .map_err(|source| StoreFault::from_io(format!("reading {}", path.display()), source))?;
        if len > segment::HEADER_BYTES as u64 {
            return refuse(format!(
                "its journal holds records, but the {FILE} file is gone; restore that file"
            ));
        }
    }
    Ok(())
}

/// Sets the directory up; the format file comes last, so that a half-way set-up is begun again.
fn create(files: &dyn Files, dir: &Path) -> Result<(), StoreFault> {
    let fault = |source| StoreFault::from_io(format!("setting up {}", dir.display()), source);
    let journal_dir = dir.join(LogKind::Journal.name());
    let spool_dir = dir.join(LogKind::Spool.name());
    for sub in [
        &journal_dir,
        &spool_dir,
        &dir.join(BLOB_DIR),
        &dir.join(TEMPORARY_DIR),
    ] {
        files.create_dir(sub).map_err(fault)?;
    }
    let journal = LogWriter::create(files, &journal_dir, LogKind::Journal)?;
    let spool = LogWriter::create(files, &spool_dir, LogKind::Spool)?;
    AnchorWriter::create(
        files,
        dir,
        Anchor {
            counter: 0,
            spool_first_segment: 1,
            journal,
            spool,
        },
    )?;
    files.sync_dir(dir).map_err(fault)?;
    let new = dir.join(NEW_FILE);
    let write = || {
        let file = files.create(&new)?;
        file.write_at(0, CONTENT.as_bytes())?;
        file.sync_data()?;
        files.rename(&new, &dir.join(FILE))?;
        files.sync_dir(dir)?;
        // The directory's own entry; the one above may not be readable, and then it is not ours to make durable.
        match dir.parent().filter(|parent| !parent.as_os_str().is_empty()) {
            Some(parent) => files.sync_dir(parent),
            None => Ok(()),
        }
    };
    write().map_err(fault)
}

//! Moves aside what the owner has agreed to lose; deletes nothing.

use std::path::{Path, PathBuf};

use baytrim_ledger::StoreFault;

use crate::files::Files;
use crate::format::LOST_DIR;
use crate::place::Position;
use crate::scan::Log;

/// Bytes copied at a time.
const COPY_BYTES: usize = 1 << 20;

/// Moves everything of a log behind `good` into a fresh directory under `lost/`; returns that directory.
///
/// # Errors
/// The fault of copying or renaming.
pub(crate) fn set_aside(log: Log<'_>, root: &Path, good: &Position) -> Result<PathBuf, StoreFault> {
    let fault = |source| {
        StoreFault::from_io(
            format!("setting aside the end of {}", log.dir.display()),
            source,
        )
    };
    let target = fresh_dir(log.files, root).map_err(fault)?;
    for number in log
        .segments()?
        .into_iter()
        .filter(|&number| number >= good.segment)
    {
        let name = format!("{}-{number:010}.seg", log.kind.name());
        let to = target.join(name);
        if number == good.segment {
            copy(log.files, &log.path(number), &to).map_err(fault)?;
        } else {
            log.files.rename(&log.path(number), &to).map_err(fault)?;
        }
    }
    log.files
        .sync_dir(&target)
        .and_then(|()| log.files.sync_dir(log.dir))
        .map_err(fault)?;
    Ok(target)
}

fn fresh_dir(files: &dyn Files, root: &Path) -> std::io::Result<PathBuf> {
    let lost = root.join(LOST_DIR);
    files.create_dir(&lost)?;
    let taken = files.list(&lost)?;
    let number = taken
        .iter()
        .filter_map(|name| name.parse::<u32>().ok())
        .max()
        .unwrap_or(0)
        + 1;
    let target = lost.join(number.to_string());
    files.create_dir(&target)?;
    files.sync_dir(&lost)?;
    files.sync_dir(root)?;
    Ok(target)
}

fn copy(files: &dyn Files, from: &Path, to: &Path) -> std::io::Result<()> {
    let source = files.open(from)?;
    let target = files.create(to)?;
    let mut buffer = vec![0; COPY_BYTES];
    let mut offset = 0;
    loop {
        let count = source.read_at(offset, &mut buffer)?;
        if count == 0 {
            return target.sync_data();
        }
        target.write_at(offset, &buffer[..count])?;
        offset += count as u64;
    }
}

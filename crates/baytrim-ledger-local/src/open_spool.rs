//! Opens the spool log.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use baytrim_ledger::{Hash, StoreFault};

use crate::anchor::Anchor;
use crate::files::Files;
use crate::journal::LogWriter;
use crate::lost;
use crate::options::{OpenError, Options};
use crate::place::Position;
use crate::recover::{Loss, Recovered, Recovery};
use crate::replay;
use crate::segment::{Header, LogKind};
use crate::spools::Spools;

/// Is what is live, the log's end, and the first segment that is kept.
pub(crate) type OpenSpool = (Spools, Recovered, u32);

/// Opens the spool log as the anchor has it; without an anchor its content cannot be trusted.
///
/// # Errors
/// [`OpenError`] says why not.
pub(crate) fn open(
    files: &Arc<dyn Files>,
    dir: &Path,
    options: &Options,
    anchored: Option<Anchor>,
    losses: &mut Vec<String>,
) -> Result<OpenSpool, OpenError> {
    let mut recovery = Recovery::new(files, dir, LogKind::Spool, options);
    let Some(anchor) = anchored else {
        return begin_spool_anew(&recovery, dir, losses);
    };
    match replay_spool(&mut recovery, &anchor) {
        Err(Loss::Fault(fault)) => Err(fault.into()),
        Err(_) if options.accept_loss => begin_spool_anew(&recovery, dir, losses),
        other => other.map_err(|loss| loss.into_error(&recovery)),
    }
}

fn replay_spool(recovery: &mut Recovery, anchor: &Anchor) -> Result<OpenSpool, Loss> {
    let first = anchor.spool_first_segment;
    recovery.anchor = anchor.spool;
    remove_dropped_segments(recovery, first)?;
    let good = Header::first().start();
    if recovery.log().segments()?.first() != Some(&first) {
        let damage = recovery
            .log()
            .damage(first, 0, "the segment is missing".to_owned());
        return Err(Loss::Damage {
            good,
            damage: damage.into(),
        });
    }
    let header = recovery.log().header(first)?;
    recovery.from = header
        .map_err(|damage| Loss::Damage {
            good,
            damage: damage.into(),
        })?
        .0
        .start();
    let mut spools = Spools::default();
    let recovered =
        recovery.run(&mut |frame| replay::take_spool(&mut spools, recovery.log(), frame))?;
    if let Some((spool, number)) = spools.gap() {
        let damage =
            recovery
                .log()
                .damage(first, 0, "a chunk is missing before later ones".to_owned());
        let damage = baytrim_ledger::Damage {
            stream: Some(spool),
            seq: Some(number),
            ..damage
        };
        return Err(Loss::Damage {
            good,
            damage: damage.into(),
        });
    }
    Ok((spools, recovered, first))
}

/// Removes segments whose chunks were all dropped before the last closing.
fn remove_dropped_segments(recovery: &Recovery, first: u32) -> Result<(), StoreFault> {
    for number in recovery
        .log()
        .segments()?
        .into_iter()
        .filter(|&number| number < first)
    {
        let path = recovery.log().path(number);
        let removed = recovery.files.remove(&path);
        removed.map_err(|source| {
            StoreFault::from_io(format!("removing {}", path.display()), source)
        })?;
    }
    Ok(())
}

/// Gives all live pulls up: moves every spool segment aside and begins a new one behind them.
fn begin_spool_anew(
    recovery: &Recovery,
    dir: &Path,
    losses: &mut Vec<String>,
) -> Result<OpenSpool, OpenError> {
    let everything = Position {
        segment: 0,
        ..Header::first().start()
    };
    let last = recovery.log().segments()?.last().copied().unwrap_or(0);
    let target: PathBuf = lost::set_aside(recovery.log(), dir, &everything)?;
    losses.push(format!(
        "the chunks of all pulls that were not finished; see {}",
        target.display()
    ));
    let before = Position {
        segment: last,
        offset: 0,
        seq: 0,
        hash: Hash::ZERO,
    };
    let end = LogWriter::create_at(&*recovery.files, &recovery.dir, LogKind::Spool, &before)?;
    let recovered = Recovered {
        end,
        torn: None,
        unacknowledged_frame_count: 0,
    };
    Ok((Spools::default(), recovered, end.segment))
}

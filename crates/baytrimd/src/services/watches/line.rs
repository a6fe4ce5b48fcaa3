//! One watch's line to its reader: what wakes it, and how it tells.

use baytrim_ledger::StreamName;
use tokio::sync::broadcast::Receiver;
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::mpsc;
use tokio::time::{Instant, Interval, MissedTickBehavior, interval_at, timeout};
use tonic::Status;

use crate::ending::Ending;
use crate::fault::Fault;
use crate::limits::{WATCH_BEAT, WATCH_LOOK, WATCH_PATIENCE};

/// Why a watch ends.
#[derive(Debug)]
pub(super) enum End {
    /// Its reader is gone, or took nothing for too long.
    Reader,
    /// The daemon stops, the reader may go on no longer, or the store failed.
    Fault(Fault),
}

impl From<Fault> for End {
    fn from(fault: Fault) -> Self {
        Self::Fault(fault)
    }
}

/// What wakes a watch.
#[derive(Debug)]
pub(super) enum Woken {
    /// Something was recorded in this stream.
    News(StreamName),
    /// It is time to look at the ledger itself, or news were missed.
    Look,
    /// It is time to say that nothing has happened.
    Beat,
}

/// One watch's line to its reader.
pub(super) struct Line<T> {
    news: Receiver<StreamName>,
    ending: Ending,
    look: Interval,
    beat: Interval,
    answers: mpsc::Sender<Result<T, Status>>,
}

impl<T> Line<T> {
    /// Returns a line that is woken by `news`, ends by `ending`, and tells by `answers`.
    pub(super) fn new(
        news: Receiver<StreamName>,
        ending: Ending,
        answers: mpsc::Sender<Result<T, Status>>,
    ) -> Self {
        let every = |period| {
            let mut interval = interval_at(Instant::now() + period, period);
            interval.set_missed_tick_behavior(MissedTickBehavior::Delay);
            interval
        };
        Self {
            news,
            ending,
            look: every(WATCH_LOOK),
            beat: every(WATCH_BEAT),
            answers,
        }
    }

    /// Waits for what comes next.
    ///
    /// # Errors
    /// When the daemon stops, the reader may go on no longer, or is gone.
    pub(super) async fn woken(&mut self) -> Result<Woken, End> {
        tokio::select! {
            biased;
            fault = self.ending.come() => Err(fault.into()),
            () = self.answers.closed() => Err(End::Reader),
            news = self.news.recv() => match news {
                Ok(stream) => Ok(Woken::News(stream)),
                Err(RecvError::Lagged(_)) => Ok(Woken::Look),
                Err(RecvError::Closed) => Err(Fault::Stopping.into()),
            },
            _ = self.look.tick() => Ok(Woken::Look),
            _ = self.beat.tick() => Ok(Woken::Beat),
        }
    }

    /// Tells the reader, waiting while its queue is full.
    ///
    /// # Errors
    /// When the daemon stops, the reader may go on no longer, is gone, or took nothing for too long.
    pub(super) async fn tell(&mut self, answer: T) -> Result<(), End> {
        tokio::select! {
            biased;
            fault = self.ending.come() => Err(fault.into()),
            sent = timeout(WATCH_PATIENCE, self.answers.send(Ok(answer))) => match sent {
                Ok(Ok(())) => Ok(()),
                _ => Err(End::Reader),
            },
        }
    }

    /// Ends the line, telling why where there is something to tell.
    pub(super) async fn end(self, ended: Result<(), End>) {
        if let Err(End::Fault(fault)) = ended {
            // A reader with a full queue is given a moment only: the daemon may be about to end.
            let last = self.answers.send(Err(fault.into()));
            let _untold = timeout(WATCH_LOOK, last).await;
        }
    }
}

//! Room for heavy work: fits and logs being read run beside the requests, a few at a time.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use baytrim_jobs::Refusal;
use baytrim_model::ids::JobId;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tracing::Span;

use crate::fault::Fault;
use crate::limits::{COMPUTE_LANE_WAITING_MAX, COMPUTE_WAITING_MAX};
use crate::metrics::{Counted, Metrics};
use crate::telemetry;

/// Whose work it is: the work of one lane never takes all the room, so that no job waits for another one's.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Lane {
    /// No single job's.
    Shop,
    /// A job's.
    Job(JobId),
}

impl Lane {
    /// Returns the lane of a job.
    pub fn of(job: &JobId) -> Self {
        Self::Job(job.clone())
    }

    /// Returns the lane of a job as a request names it; what is wrong with the name, the work itself says.
    pub fn named(job: &Result<JobId, Refusal>) -> Self {
        job.as_ref().map_or(Self::Shop, Self::of)
    }
}

/// Runs heavy work on blocking threads, a few at a time; a short queue waits, the rest is turned away.
#[derive(Debug, Clone)]
pub struct Compute {
    everybody: Turns,
    lanes: Arc<Mutex<HashMap<Lane, Arc<Turns>>>>,
    lane_running_max: usize,
    metrics: Arc<Metrics>,
}

/// Who may run, and who may wait for it.
#[derive(Debug, Clone)]
struct Turns {
    running: Arc<Semaphore>,
    admitted: Arc<Semaphore>,
    waiting_max: usize,
}

impl Turns {
    fn new(running_max: usize, waiting_max: usize) -> Self {
        Self {
            running: Arc::new(Semaphore::new(running_max)),
            admitted: Arc::new(Semaphore::new(running_max + waiting_max)),
            waiting_max,
        }
    }

    fn admit(&self, what: &'static str) -> Result<OwnedSemaphorePermit, Fault> {
        let admitted = Arc::clone(&self.admitted).try_acquire_owned();
        admitted.map_err(|_| Fault::Busy {
            what,
            max: self.waiting_max,
        })
    }

    async fn run(&self) -> Result<OwnedSemaphorePermit, Fault> {
        let running = Arc::clone(&self.running).acquire_owned().await;
        running.map_err(|_| Fault::Stopping)
    }
}

/// A lane while some of its work is under way; the last one out forgets it.
struct Entered {
    lane: Lane,
    turns: Arc<Turns>,
    lanes: Arc<Mutex<HashMap<Lane, Arc<Turns>>>>,
}

impl Drop for Entered {
    fn drop(&mut self) {
        let mut lanes = lock(&self.lanes);
        // This one and the table's: nobody else is in it.
        if Arc::strong_count(&self.turns) == 2 {
            lanes.remove(&self.lane);
        }
    }
}

/// Nothing that holds this lock leaves its content half-way when it panics.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Compute {
    /// Returns room for `running_max` pieces of work at once.
    pub fn new(running_max: usize, metrics: Arc<Metrics>) -> Self {
        Self {
            everybody: Turns::new(running_max, COMPUTE_WAITING_MAX),
            lanes: Arc::default(),
            lane_running_max: running_max.saturating_sub(1).max(1),
            metrics,
        }
    }

    /// Runs `work` when there is room, and room in its lane.
    ///
    /// The room is given back when the work has ended, even when nobody waits for it any more.
    ///
    /// # Errors
    /// [`Fault::Busy`] when a queue is full, or what the work itself says.
    pub async fn run<T: Send + 'static>(
        &self,
        lane: Lane,
        work: impl FnOnce() -> Result<T, Fault> + Send + 'static,
    ) -> Result<T, Fault> {
        let entered = self.enter(lane);
        let admitted = (
            self.everybody
                .admit("fits and logs waiting to be computed")?,
            entered
                .turns
                .admit("fits and logs of one job waiting to be computed")?,
        );
        let span = telemetry::work("wait for room");
        let waiting = (Counted::new(&self.metrics.compute_waiting), span);
        // The lane's turn first: who waits for it keeps nobody else waiting, and jobs take turns at the room.
        let in_lane = entered.turns.run().await?;
        let running = self.everybody.run().await?;
        drop(waiting);
        let (metrics, span) = (Arc::clone(&self.metrics), telemetry::work("compute"));
        tokio::task::spawn_blocking(move || {
            let _room = (running, in_lane, admitted, entered);
            span.in_scope(|| metrics.computing(work))
        })
        .await?
    }

    fn enter(&self, lane: Lane) -> Entered {
        let mut lanes = lock(&self.lanes);
        let turns = lanes.entry(lane.clone()).or_insert_with(|| {
            Arc::new(Turns::new(self.lane_running_max, COMPUTE_LANE_WAITING_MAX))
        });
        Entered {
            lane,
            turns: Arc::clone(turns),
            lanes: Arc::clone(&self.lanes),
        }
    }
}

/// Runs short blocking work, such as an append with its sync, off the async threads.
///
/// # Errors
/// What the work itself says.
pub async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Fault> + Send + 'static,
) -> Result<T, Fault> {
    let span = Span::current();
    tokio::task::spawn_blocking(move || span.in_scope(work)).await?
}

#[cfg(test)]
mod tests {
    use std::sync::mpsc::{Receiver, Sender, channel};
    use std::time::Duration;

    use tokio::task::JoinHandle;

    use super::*;

    fn job(name: &str) -> Lane {
        Lane::Job(name.parse().expect("a name"))
    }

    /// Begins work that lasts until something is sent.
    fn long(compute: &Compute, lane: Lane) -> (Sender<()>, JoinHandle<Result<(), Fault>>) {
        let (end, ended): (_, Receiver<()>) = channel();
        let compute = compute.clone();
        let work = move || {
            let _ = ended.recv();
            Ok(())
        };
        let running = tokio::spawn(async move { compute.run(lane, work).await });
        (end, running)
    }

    /// If this fails, one job that asks for much keeps all others from being computed, or from asking.
    #[tokio::test]
    async fn a_job_that_asks_for_much_takes_no_other_jobs_room() {
        let compute = Compute::new(2, Arc::default());
        let mut greedy: Vec<_> = (0..=COMPUTE_LANE_WAITING_MAX)
            .map(|_| long(&compute, job("greedy")))
            .collect();
        tokio::task::yield_now().await;
        let one_more = compute.run(job("greedy"), || Ok(())).await;
        assert!(matches!(
            one_more,
            Err(Fault::Busy {
                max: COMPUTE_LANE_WAITING_MAX,
                ..
            })
        ));
        let other = compute.run(job("other"), || Ok(7));
        let other = tokio::time::timeout(Duration::from_secs(20), other).await;
        assert_eq!(other.expect("it waits for nobody").expect("works"), 7);
        for (end, _) in &greedy {
            let _ = end.send(());
        }
        for (_, running) in greedy.drain(..) {
            running.await.expect("no panic").expect("works");
        }
        assert!(lock(&compute.lanes).is_empty(), "lanes are kept for ever");
    }

    /// If this fails, a daemon that computes one thing at a time computes nothing.
    #[tokio::test]
    async fn room_for_one_is_room() {
        let compute = Compute::new(1, Arc::default());
        let done = compute.run(Lane::Shop, || Ok(7)).await;
        assert_eq!(done.expect("works"), 7);
    }
}

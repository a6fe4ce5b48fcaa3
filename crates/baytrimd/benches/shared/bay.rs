//! One bay: batches out, acknowledgements in.

use std::collections::VecDeque;
use std::time::{Duration, Instant};

use baytrim_api::v1::stream_pull_request::Message as In;
use baytrim_api::v1::stream_pull_response::Message as Out;
use baytrim_api::v1::{FinishStream, SampleBatch, SampleColumn};

use super::child::Line;
use super::child::live::Live;
use super::daemon::JOB;

/// Rows after which a bay begins another pull: below the most that one pull may have.
const PULL_ROWS_MAX: u64 = 3_000_000;

/// Ten channels with values that a small engine could have.
const CHANNELS: [(&str, f32); 10] = [
    ("engine_speed", 4000.0),
    ("plate_angle", 40.0),
    ("lambda", 0.93),
    ("coolant_temperature", 88.5),
    ("short_term_trim", 1.5),
    ("long_term_trim", -0.8),
    ("intake_temperature", 31.2),
    ("manifold_pressure", 76.4),
    ("ambient_pressure", 99.8),
    ("grip_angle", 42.0),
];

/// How a bay sends.
#[derive(Clone, Copy)]
pub(crate) struct Pace {
    pub(crate) name: &'static str,
    /// Time between two batches; none: as soon as there is room.
    every: Option<Duration>,
    pub(crate) rows: u64,
    /// Batches that may be under way.
    window: usize,
}

impl Pace {
    /// A tenth of a second in a batch, as a logger sends that shows what it measures.
    pub(crate) const HUNDRED_HZ: Self = Self {
        name: "100 Hz, 10 rows a batch",
        every: Some(Duration::from_millis(100)),
        rows: 10,
        window: 1000,
    };
    pub(crate) const FASTEST: Self = Self {
        name: "as fast as possible, 500 rows a batch",
        every: None,
        rows: 500,
        window: 16,
    };
}

/// What a bay was told.
#[derive(Default)]
pub(crate) struct Told {
    pub(crate) rows: u64,
    /// From sending a batch to hearing that it is durable.
    pub(crate) waits: Vec<Duration>,
}

/// Streams until `end`, one pull after the other; no two bays of one daemon may have the same number.
pub(crate) async fn stream(line: Line, bay: u64, bays: u64, pace: Pace, end: Instant) -> Told {
    let mut told = Told::default();
    if let Some(every) = pace.every {
        // Bays don't beat as one.
        tokio::time::sleep(every.mul_f64((bay % bays) as f64 / bays as f64)).await;
    }
    for pull in 0.. {
        if Instant::now() >= end {
            break;
        }
        one_pull(
            &line,
            format!("bay-{bay:06}-{pull:04}"),
            pace,
            end,
            &mut told,
        )
        .await;
    }
    told
}

async fn one_pull(line: &Line, name: String, pace: Pace, end: Instant, told: &mut Told) {
    let wire = line.connect().await;
    let mut live = Live::open(&wire, JOB, &name).await.unwrap();
    live.next().await.unwrap();
    let mut under_way = VecDeque::new();
    let (mut number, mut durable) = (0, 0);
    let mut beat = pace.every.map(tokio::time::interval);
    while Instant::now() < end && number * pace.rows < PULL_ROWS_MAX || !under_way.is_empty() {
        let is_over = Instant::now() >= end || number * pace.rows >= PULL_ROWS_MAX;
        let is_room = !is_over && under_way.len() < pace.window;
        let turn = async {
            match &mut beat {
                Some(beat) => drop(beat.tick().await),
                // Answers are looked at between two batches.
                None => tokio::task::yield_now().await,
            }
        };
        tokio::select! {
            biased;
            answer = live.next() => {
                let Ok(Out::Progress(progress)) = answer else {
                    panic!("no progress");
                };
                while durable < progress.durable_sequence_number {
                    let sent: Instant = under_way.pop_front().unwrap();
                    told.waits.push(sent.elapsed());
                    told.rows += pace.rows;
                    durable += 1;
                }
            }
            () = turn, if is_room => {
                number += 1;
                under_way.push_back(Instant::now());
                live.send(In::Batch(batch(number, pace.rows)));
            }
        }
    }
}

/// Makes a pull of a minute at 100 Hz and finishes it; each `number` is another log.
pub(crate) async fn finished_pull(line: &Line, number: u16) {
    let wire = line.connect().await;
    let name = format!("pull-{number:04}");
    let mut live = Live::open(&wire, JOB, &name).await.unwrap();
    let plate_percent = 20.0 + f32::from(number);
    for number in 1..=12 {
        let mut batch = batch(number, 500);
        batch.columns[1].values.fill(plate_percent);
        live.send(In::Batch(batch));
    }
    live.send(In::Finish(FinishStream {}));
    while !matches!(live.next().await.unwrap(), Out::Finished(_)) {}
}

/// Returns a batch whose values move a little from row to row.
pub(crate) fn batch(number: u64, rows: u64) -> SampleBatch {
    let first = (number - 1) * rows;
    let columns = CHANNELS.map(|(quantity, value)| SampleColumn {
        quantity: quantity.to_owned(),
        values: (first..first + rows)
            .map(|row| value * (1.0 + (row % 97) as f32 / 10_000.0))
            .collect(),
    });
    SampleBatch {
        sequence_number: number,
        offset_s: (first..first + rows)
            .map(|row| row as f64 / 100.0)
            .collect(),
        columns: columns.to_vec(),
    }
}

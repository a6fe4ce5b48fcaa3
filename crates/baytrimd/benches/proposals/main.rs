//! How long a proposal takes while bays stream and while another job is heavy, and how long batches take meanwhile.
//!
//! `cargo bench -p baytrimd --bench proposals -- [SECONDS [REPEATS]]`: the real program as a child; one caller asks for
//! proposals of ten jobs in turn, tables of 20 x 20 with three pulls at 100 Hz. Whoever asks, the bays and the daemon
//! share the machine. Rounds take turns, so that what else the machine does falls on all alike.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::disallowed_methods,
    reason = "this is a benchmark"
)]

#[path = "../shared/mod.rs"]
mod shared;
mod vehicle;

use std::collections::BTreeMap;
use std::ops::Range;
use std::time::{Duration, Instant};

use baytrim_api::v1::access_service_client::AccessServiceClient;
use baytrim_api::v1::{Policy, UpdatePolicyRequest};
use baytrim_testkit::drive::PullKind;
use shared::bay::{self, Pace};
use shared::child::Line;
use shared::daemon::Daemon;
use shared::{print_load, quantile, spread};
use vehicle::Vehicle;

const JOBS: usize = 10;
const BAYS: u64 = 32;
/// Callers that ask for proposals of the heavy job without a rest.
const HEAVY_CALLERS: usize = 4;
const PULLS: [PullKind; 3] = [PullKind::Holds, PullKind::SweepsUpDown, PullKind::Ride];
const HEAVY_PULLS: [PullKind; 12] = [PullKind::Ride; 12];

/// What happens at the same time.
#[derive(Clone, Copy)]
struct Beside {
    name: &'static str,
    is_proposing: bool,
    bays: u64,
    heavy_callers: usize,
}

const ROUNDS: [Beside; 5] = [
    Beside {
        name: "nothing else",
        is_proposing: true,
        bays: 0,
        heavy_callers: 0,
    },
    Beside {
        name: "32 bays",
        is_proposing: true,
        bays: BAYS,
        heavy_callers: 0,
    },
    Beside {
        name: "32 bays and a heavy job",
        is_proposing: true,
        bays: BAYS,
        heavy_callers: HEAVY_CALLERS,
    },
    Beside {
        name: "32 bays, no proposals",
        is_proposing: false,
        bays: BAYS,
        heavy_callers: 0,
    },
    Beside {
        name: "32 bays and a heavy job, no proposals",
        is_proposing: false,
        bays: BAYS,
        heavy_callers: HEAVY_CALLERS,
    },
];

/// Milliseconds of each thing that was waited for, for each round.
type Waits = BTreeMap<(&'static str, usize), Vec<Vec<f64>>>;

#[tokio::main]
async fn main() {
    let mut numbers = std::env::args()
        .skip(1)
        .filter_map(|text| text.parse::<u16>().ok());
    let time = Duration::from_secs(u64::from(numbers.next().unwrap_or(10)));
    let repeats = usize::from(numbers.next().unwrap_or(3));
    print_load("before");
    let daemon = Daemon::start().await;
    let line = &daemon.line;
    work_alone(line).await;
    let mut vehicles = Vec::new();
    for job in 0..JOBS {
        vehicles.push(Vehicle::open(line, &format!("job-{job}"), 20, &PULLS).await);
    }
    let heavy = Vehicle::open(line, "heavy", 40, &HEAVY_PULLS).await;
    let mut waits = Waits::new();
    let mut bay_count = 0;
    for _ in 0..repeats {
        for (number, beside) in ROUNDS.into_iter().enumerate() {
            let bays = bay_count..bay_count + beside.bays;
            bay_count = bays.end;
            let found = round(line, (beside, bays), time, &mut vehicles, &heavy).await;
            for (what, found) in found {
                waits.entry((what, number)).or_default().push(found);
            }
        }
    }
    print(&waits);
    print_load("after");
}

/// Lets the owner approve what the owner asked for.
async fn work_alone(line: &Line) {
    let request = UpdatePolicyRequest {
        policy: Some(Policy {
            one_person: true,
            ..Policy::default()
        }),
        reason: "a benchmark".to_owned(),
        ..UpdatePolicyRequest::default()
    };
    let mut access = AccessServiceClient::new(line.connect().await);
    access.update_policy(request).await.unwrap();
}

async fn round(
    line: &Line,
    (beside, bays): (Beside, Range<u64>),
    time: Duration,
    vehicles: &mut [Vehicle],
    heavy: &Vehicle,
) -> Vec<(&'static str, Vec<f64>)> {
    let end = Instant::now() + time;
    let bays = bays.map(|bay| {
        let stream = bay::stream(line.clone(), bay, beside.bays, Pace::HUNDRED_HZ, end);
        tokio::spawn(stream)
    });
    let bays: Vec<_> = bays.collect();
    let callers = (0..beside.heavy_callers).map(|_| {
        let heavy = heavy.clone();
        tokio::spawn(async move {
            let mut waits = Vec::new();
            while Instant::now() < end {
                waits.push(heavy.propose(true).await.0);
            }
            waits
        })
    });
    let callers: Vec<_> = callers.collect();
    let (mut fresh, mut again) = (Vec::new(), Vec::new());
    if beside.is_proposing {
        // Every bay is there.
        tokio::time::sleep(Duration::from_millis(200)).await;
        for turn in 0.. {
            if Instant::now() >= end {
                break;
            }
            let vehicle = &mut vehicles[turn % JOBS];
            fresh.push(vehicle.propose_on_fresh_head().await);
            again.push(vehicle.propose(true).await.0);
        }
    }
    let mut batches = Vec::new();
    for bay in bays {
        let waits = bay.await.unwrap().waits;
        batches.extend(waits.iter().map(|wait| wait.as_secs_f64() * 1000.0));
    }
    let mut theirs = Vec::new();
    for caller in callers {
        theirs.extend(caller.await.unwrap());
    }
    let all = [
        ("a proposal on a fresh head, recorded", fresh),
        ("a proposal again, only checked", again),
        ("a proposal of the heavy job, four at once", theirs),
        ("a batch of ten rows, durable", batches),
    ];
    all.into_iter()
        .filter(|(_, waits)| !waits.is_empty())
        .collect()
}

fn print(waits: &Waits) {
    println!("| what | beside | count | p50 ms | p99 ms | p99.9 ms, all rounds together |");
    println!("|---|---|---|---|---|---|");
    for ((what, number), rounds) in waits {
        let of = |share: f64| spread(rounds.iter().map(|waits| quantile(waits, share)), 1);
        let all: Vec<f64> = rounds.iter().flatten().copied().collect();
        println!(
            "| {what} | {} | {} | {} | {} | {:.1} |",
            ROUNDS[*number].name,
            all.len(),
            of(0.5),
            of(0.99),
            quantile(&all, 0.999)
        );
    }
}

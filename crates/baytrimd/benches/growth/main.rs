//! What a daemon costs as its ledger grows: starting, listing, opening, memory.
//!
//! `cargo bench -p baytrimd --bench growth -- [JOBS...] [FILE.svg]`: one job with ten live pulls is made through the real
//! program; its records are copied under as many names as are asked for, and the program serves the copy.
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::disallowed_methods,
    reason = "this is a benchmark"
)]

mod plot;
#[path = "../shared/mod.rs"]
mod shared;

use std::path::Path;
use std::time::{Duration, Instant};

use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::{GetJobRequest, ListJobsRequest};
use baytrim_ledger::{Head, Store, StreamName};
use baytrim_ledger_local::{LocalStore, Options};

use plot::Series;
use shared::bay;
use shared::child::Wire;
use shared::daemon::{Daemon, JOB, create_job};
use shared::{print_load, quantile};

const PULLS: u16 = 10;
const WRITERS: usize = 16;
/// Jobs that are opened, and pages that are listed, for each figure.
const ASKED: usize = 400;
const PAGE: i32 = 50;

#[tokio::main]
async fn main() {
    let asked = std::env::args()
        .skip(1)
        .filter_map(|text| text.parse().ok());
    let mut sizes: Vec<usize> = asked.collect();
    if sizes.is_empty() {
        sizes = vec![100, 1000, 10_000];
    }
    let file =
        std::env::args().find(|text| Path::new(text).extension().is_some_and(|end| end == "svg"));
    print_load("before");
    let bodies = template().await;
    println!(
        "| jobs | pulls | journal MB | start ms | start with the index lost ms | first list then ms | list {PAGE} jobs p50 ms | p99 | \
         open a job p50 ms | p99 | memory MB: started | after |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|---|");
    let mut found = Vec::new();
    for size in sizes {
        found.push((size as f64, measure(&bodies, size).await));
    }
    print_load("after");
    if let Some(file) = file {
        std::fs::write(file, plot::draw(&series(&found))).unwrap();
    }
}

/// What is drawn of one size.
struct Figures {
    start_ms: f64,
    list_ms: f64,
    open_ms: f64,
    memory_mb: f64,
}

fn series(found: &[(f64, Figures)]) -> [Series; 4] {
    let of = |name, colour, value: &dyn Fn(&Figures) -> f64| Series {
        name,
        colour,
        points: found
            .iter()
            .map(|(jobs, figures)| (*jobs, value(figures)))
            .collect(),
    };
    [
        of("starting, ms", "#0072b2", &|figures| figures.start_ms),
        of("memory, MB", "#009e73", &|figures| figures.memory_mb),
        of("listing 50 jobs, ms", "#d55e00", &|figures| figures.list_ms),
        of("opening a job, ms", "#cc79a7", &|figures| figures.open_ms),
    ]
}

/// Returns the records of a job with ten pulls, as the program itself wrote them.
async fn template() -> Vec<Vec<u8>> {
    let directory = tempfile::tempdir().unwrap();
    let daemon = Daemon::start_in(directory.path());
    let line = daemon.line.clone();
    create_job(&line, JOB, baytrim_jobs::job_file::EXAMPLE).await;
    for pull in 1..=PULLS {
        bay::finished_pull(&line, pull).await;
    }
    drop(daemon);
    let (store, _) =
        LocalStore::open(&directory.path().join("ledger"), &Options::default()).unwrap();
    let stream = StreamName::new(&format!("job/{JOB}")).unwrap();
    let records = store.read(&stream, 0, 100).unwrap();
    assert_eq!(records.len(), usize::from(PULLS) + 1);
    records.into_iter().map(|record| record.body).collect()
}

fn fill(data: &Path, bodies: &[Vec<u8>], jobs: usize) {
    let (store, _) = LocalStore::open(data, &Options::default()).unwrap();
    let opened = String::from_utf8(bodies[0].clone()).unwrap();
    let own = format!("\"id\":\"{JOB}\"");
    assert_eq!(opened.matches(&own).count(), 1);
    std::thread::scope(|scope| {
        for writer in 0..WRITERS {
            let (store, opened, own) = (&store, &opened, &own);
            scope.spawn(move || {
                for job in (writer..jobs).step_by(WRITERS) {
                    let name = name(job);
                    let mut bodies = bodies.to_vec();
                    bodies[0] = opened.replace(own, &format!("\"id\":\"{name}\"")).into();
                    let stream = StreamName::new(&format!("job/{name}")).unwrap();
                    store.append(&stream, &Head::EMPTY, &bodies).unwrap();
                }
            });
        }
    });
}

fn name(job: usize) -> String {
    format!("job-{job:06}")
}

async fn measure(bodies: &[Vec<u8>], jobs: usize) -> Figures {
    let directory = tempfile::tempdir().unwrap();
    let data = directory.path().join("ledger");
    fill(&data, bodies, jobs);
    let journal = std::fs::read_dir(data.join("journal")).unwrap();
    let bytes: u64 = journal
        .map(|entry| entry.unwrap().metadata().unwrap().len())
        .sum();
    std::fs::remove_dir_all(data.join("index")).unwrap();
    let began = Instant::now();
    let first = Daemon::start_in(directory.path());
    let rebuilt_ms = began.elapsed().as_secs_f64() * 1000.0;
    let mut client = JobServiceClient::new(first.line.connect().await);
    let first_list = list(&mut client, 1).await[0];
    settle(&first).await;
    drop(first);
    // Again, until the index covers all.
    let mut starts = Vec::new();
    let mut daemon = None;
    for _ in 0..4 {
        drop(daemon.take());
        let began = Instant::now();
        daemon = Some(Daemon::start_in(directory.path()));
        starts.push(began.elapsed().as_secs_f64() * 1000.0);
    }
    let daemon = daemon.unwrap();
    settle(&daemon).await;
    let memory_before = daemon.program.resident_kb() as f64 / 1000.0;
    let mut client = JobServiceClient::new(daemon.line.connect().await);
    let mut opened = Vec::new();
    for step in 0..ASKED {
        let began = Instant::now();
        // A step that shares no factor with any size: every job is another one.
        let name = format!("jobs/{}", name(step * 7919 % jobs));
        client.get_job(GetJobRequest { name }).await.unwrap();
        opened.push(began.elapsed().as_secs_f64() * 1000.0);
    }
    let listed = list(&mut client, ASKED).await;
    let last_start = starts.pop().unwrap();
    println!(
        "| {jobs} | {} | {:.1} | {last_start:.0} | {rebuilt_ms:.0} | {first_list:.0} | {:.1} | {:.1} | {:.1} | {:.1} | {memory_before:.0} | {:.0} |",
        jobs * usize::from(PULLS),
        bytes as f64 / 1e6,
        quantile(&listed, 0.5),
        quantile(&listed, 0.99),
        quantile(&opened, 0.5),
        quantile(&opened, 0.99),
        daemon.program.resident_kb() as f64 / 1000.0,
    );
    Figures {
        start_ms: last_start,
        list_ms: quantile(&listed, 0.5),
        open_ms: quantile(&opened, 0.5),
        memory_mb: daemon.program.resident_kb() as f64 / 1000.0,
    }
}

/// Waits until the daemon has nothing to do of itself, two minutes at the most.
async fn settle(daemon: &Daemon) {
    for _ in 0..240 {
        let before = daemon.program.cpu_s();
        tokio::time::sleep(Duration::from_millis(500)).await;
        if daemon.program.cpu_s() - before < 0.03 {
            return;
        }
    }
}

async fn list(client: &mut JobServiceClient<Wire>, count: usize) -> Vec<f64> {
    let (mut waits, mut page_token) = (Vec::new(), String::new());
    while waits.len() < count {
        let began = Instant::now();
        let request = ListJobsRequest {
            page_size: PAGE,
            page_token,
        };
        let page = client.list_jobs(request).await.unwrap().into_inner();
        waits.push(began.elapsed().as_secs_f64() * 1000.0);
        page_token = page.next_page_token;
    }
    waits
}

//! Three database nodes that fail over by themselves, three daemons and their clients, while machines are killed, stand
//! still and are cut off; `tests/postgres/faults.sh` makes them and runs this.
//!
//! `BAYTRIM_TEST_FAULTS` says how many times something happens to a node, `BAYTRIM_TEST_SEED` what and when.
#![allow(clippy::unwrap_used, unreachable_pub, reason = "these are tests")]
#![expect(clippy::print_stdout, reason = "the figures are what this is run for")]

mod anywhere;
#[path = "../bearer/mod.rs"]
mod bearer;
#[path = "../replicated/fixtures.rs"]
mod fixtures;
mod havoc;
mod history;
mod looking;
mod people;
mod streaming;
mod world;
mod writers;

use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use anywhere::Shop;
use baytrim_ledger::Store as _;
use bearer::Bearer;
use havoc::Havoc;
use people::People;
use world::{Daemon, URL};

const TUNERS: usize = 3;
const WRITERS: usize = 3;

/// Makes the shop's owner, and returns what the owner shows.
fn owner() -> Bearer {
    let file = format!("{}/owner.token", world::told("BAYTRIM_TEST_NODES"));
    let made = Command::new(env!("CARGO_BIN_EXE_baytrimd"))
        .args(["owner", "first", "--store", URL, "--token-file", &file])
        .output()
        .unwrap();
    assert!(made.status.success(), "{made:?}");
    Bearer::of(&std::fs::read_to_string(file).unwrap())
}

/// If this fails, something that was acknowledged is gone, doubled, forked or decided twice after a machine failed, or the
/// check that says it is not passes a loss.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn nothing_acknowledged_is_lost_whatever_fails() {
    assert!(
        world::is_whole(2, Duration::from_secs(180)),
        "the nodes do not start"
    );
    let bearer = owner();
    let daemons = Daemon::all();
    let shop = Arc::new(Shop::at(&Daemon::urls()));
    let people = People::join(&shop, &bearer).await;
    let stop = Arc::new(AtomicBool::new(false));
    let writers = writers::start(URL, WRITERS, &shop, &stop);
    // Threads, since what they do is not for a task that may move.
    let runtime = tokio::runtime::Handle::current();
    let spawn = |number| {
        let (shop, people, stop) = (Arc::clone(&shop), people.clone(), Arc::clone(&stop));
        let runtime = runtime.clone();
        std::thread::spawn(move || runtime.block_on(people::work(number, &shop, &people, &stop)))
    };
    let tuners: Vec<_> = (0..TUNERS).map(spawn).collect();
    let observer = looking::observe(Arc::clone(&shop), bearer.clone(), Arc::clone(&stop));
    let observer = tokio::spawn(observer);

    let mut havoc = Havoc::new(daemons);
    let mut havoc = tokio::task::spawn_blocking(move || {
        havoc.wreak();
        havoc
    })
    .await
    .unwrap();

    stop.store(true, Ordering::Relaxed);
    observer.await.unwrap();
    tokio::task::block_in_place(|| {
        for thread in tuners.into_iter().chain(writers) {
            thread.join().unwrap();
        }
    });
    havoc.keep_up();
    check(&shop, &bearer).await;
    println!("{havoc}");
    tell(&shop);
    plant_a_loss(&shop, &bearer, &mut havoc).await;
}

async fn check(shop: &Shop, bearer: &Bearer) {
    let shared = tokio::task::block_in_place(|| {
        let store = writers::open(URL);
        assert!(store.verify(&mut |_| ()).unwrap().is_sound());
        writers::all(&store)
    });
    for number in 0..3 {
        looking::wait_for(shop, number, bearer).await;
    }
    let there = looking::everything(shop, 0, bearer).await;
    for number in 1..3 {
        let other = looking::everything(shop, number, bearer).await;
        assert_eq!(other, there, "daemons differ");
    }
    assert!(looking::is_intact(shop, 0, bearer).await);
    let wrong = shop.note(|history| history.check(&there, &shared));
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Takes the newest record of a job out of the database, and asks a daemon that never knew it: the check must find that.
async fn plant_a_loss(shop: &Shop, bearer: &Bearer, havoc: &mut Havoc) {
    let pull = shop.note(|history| history.pulls.keys().next().unwrap().clone());
    let job = pull.split('/').nth(1).unwrap();
    let newest = format!(
        "delete from baytrim_record r where stream = 'job/{job}' \
         and seq = (select max(seq) from baytrim_record where stream = r.stream)"
    );
    world::sql(&newest).unwrap();
    havoc.start_anew(0);
    tokio::time::sleep(Duration::from_secs(1)).await;
    looking::wait_for(shop, 0, bearer).await;
    let there = looking::everything(shop, 0, bearer).await;
    let shared = tokio::task::block_in_place(|| writers::all(&writers::open(URL)));
    let wrong = shop.note(|history| history.check(&there, &shared));
    assert!(!wrong.is_empty(), "a loss was planted, and not found");
    println!("a loss that was planted was found: {}", wrong[0]);
}

fn tell(shop: &Shop) {
    let history = shop.note(|history| history.clone());
    println!(
        "all there: {} jobs, {} pulls, {} verdicts, {} batches of live pulls, {} records by compare-and-append, {} records read meanwhile; {} tries made again, {} of them for an internal failure",
        history.jobs.len(),
        history.pulls.len(),
        history.verdicts.len(),
        history.figures.batches,
        history.won.len(),
        history.seen.len(),
        history.figures.again,
        history.figures.failed,
    );
    for (what, longest) in &history.figures.longest {
        println!("longest wait, {what}: {:.1} s", longest.as_secs_f64());
    }
}

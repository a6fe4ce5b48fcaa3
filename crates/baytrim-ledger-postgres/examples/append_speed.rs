//! Measures how long appends and blobs take: `append_speed URL`, on a database that nothing else uses.
//! `tests/postgres/run.sh` starts one: `tests/postgres/run.sh sh -c 'cargo run --release ... $BAYTRIM_TEST_POSTGRES'`.
#![expect(clippy::print_stdout, reason = "the figures are what this is run for")]

use std::time::{Duration, Instant};

use baytrim_ledger::{Head, Store as _, StreamName};
use baytrim_ledger_postgres::{Address, Options, PostgresStore};

fn main() {
    let url = std::env::args()
        .nth(1)
        .expect("the address of a database as the argument");
    let address = Address::parse(&url).expect("a good address");
    let options = Options {
        single_copy: true,
        ..Options::default()
    };
    let (store, _) = PostgresStore::open(&address, &options).expect("opens");
    let stream: StreamName = format!("speed/{}", std::process::id())
        .parse()
        .expect("a name");
    let mut head = Head::EMPTY;
    for (count, bytes) in [(2000, 512), (500, 4096)] {
        let mut number = 0_u64;
        measure(&format!("append of {bytes} bytes"), count, || {
            number += 1;
            let mut body = number.to_le_bytes().to_vec();
            body.resize(bytes, 7);
            head = store.append(&stream, &head, &[body]).expect("appends");
        });
    }
    measure("read of one record", 2000, || {
        store.read(&stream, 7, 1).expect("reads");
    });
    for (count, bytes) in [(200, 100_000), (50, 1_000_000), (20, 10_000_000)] {
        let mut seed = 1_u32;
        measure(&format!("blob of {bytes} bytes"), count, || {
            // Of Numerical Recipes: bytes that do not compress.
            let content = (0..bytes).map(|_| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                seed.to_be_bytes()[0]
            });
            let content: Vec<u8> = content.collect();
            store.put_blob(&content).expect("puts");
        });
    }
}

#[expect(clippy::disallowed_methods, reason = "this measures time")]
fn measure(what: &str, count: usize, mut work: impl FnMut()) {
    let mut times: Vec<Duration> = (0..count)
        .map(|_| {
            let began = Instant::now();
            work();
            began.elapsed()
        })
        .collect();
    times.sort();
    let at = |percent: usize| times[(count - 1) * percent / 100].as_secs_f64() * 1000.0;
    println!(
        "{what}: {count} times, p50 {:.2} ms, p99 {:.2} ms",
        at(50),
        at(99)
    );
}

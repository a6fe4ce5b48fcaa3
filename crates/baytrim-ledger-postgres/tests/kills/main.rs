//! Primaries are killed under writers, and standbys promoted by hand: nothing that was acknowledged may be gone.
//!
//! `BAYTRIM_TEST_KILLS` says how many are killed, `BAYTRIM_TEST_SEED` when.
#![expect(clippy::print_stdout, reason = "the figures are what this is run for")]

mod cluster;
mod writers;

use std::thread;
use std::time::Duration;

use cluster::Node;
use writers::Writers;

#[expect(clippy::disallowed_methods, reason = "whoever runs it says how long")]
fn told(name: &str, usual: u64) -> u64 {
    let value = std::env::var(name);
    value.map_or(usual, |value| value.parse().expect("a number"))
}

/// If this fails, a record, chunk or blob that was acknowledged is gone or changed after its database was killed, or one
/// place has two winners.
#[test]
fn nothing_acknowledged_is_lost_when_primaries_are_killed() {
    let (kills, mut seed) = (told("BAYTRIM_TEST_KILLS", 3), told("BAYTRIM_TEST_SEED", 1));
    let mut primary = Node::first("a");
    primary.sql("alter system set synchronous_standby_names = 'ANY 1 (a, b, c)'");
    primary.reload();
    let mut standbys = vec![Node::standby(&primary, "b"), Node::standby(&primary, "c")];
    let hosts =
        [primary.port, standbys[0].port, standbys[1].port].map(|port| format!("127.0.0.1:{port}"));
    let url = format!("postgres://postgres@{}/postgres", hosts.join(","));
    let writers = Writers::start(&url);
    for _ in 0..kills {
        // Of Numerical Recipes: enough to vary the moment.
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223) % (1 << 32);
        thread::sleep(Duration::from_millis(1000 + seed % 2000));
        primary.kill();
        thread::sleep(Duration::from_millis(100));
        // One of the two has every commit that was answered: whoever got further.
        standbys.sort_by_key(Node::received);
        let next = standbys.pop().expect("two");
        next.promote();
        standbys[0].turn_to(&next);
        let killed = std::mem::replace(&mut primary, next);
        killed.rebuild(&primary);
        standbys.push(killed);
    }
    thread::sleep(Duration::from_secs(2));
    let figures = writers.stop(&url);
    println!("{kills} kills: {figures}");
}

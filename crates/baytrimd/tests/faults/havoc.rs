//! What happens to nodes and daemons, in an order that a seed gives.

use std::fmt;
use std::thread::sleep;
use std::time::Duration;

use crate::world::{self, Daemon, NodeFault};

#[expect(clippy::disallowed_methods, reason = "whoever runs it says how long")]
fn told(name: &str, usual: u64) -> u64 {
    let value = std::env::var(name);
    value.map_or(usual, |value| value.parse().unwrap())
}

/// The ways of a node to fail, the first three of which the short form has.
const WAYS: [NodeFault; 4] = [
    NodeFault::Kill,
    NodeFault::Pause,
    NodeFault::Isolate,
    NodeFault::KillDatabase,
];

/// Everything that happened.
pub(crate) struct Havoc {
    daemons: Vec<Daemon>,
    seed: u64,
    nodes: [u32; 4],
    primaries: u32,
    failovers: u32,
    turns: u64,
    daemons_killed: u32,
    daemons_paused: u32,
    daemons_cut: u32,
    gave_up: u32,
    restarted: u32,
}

impl Havoc {
    pub(crate) fn new(daemons: Vec<Daemon>) -> Self {
        Self {
            daemons,
            seed: told("BAYTRIM_TEST_SEED", 1),
            nodes: [0; 4],
            primaries: 0,
            failovers: 0,
            turns: 0,
            daemons_killed: 0,
            daemons_paused: 0,
            daemons_cut: 0,
            gave_up: 0,
            restarted: 0,
        }
    }

    /// Returns a number below `below`.
    fn choose(&mut self, below: usize) -> usize {
        // Of Numerical Recipes: enough to vary the moment.
        self.seed = self
            .seed
            .wrapping_mul(1_664_525)
            .wrapping_add(1_013_904_223)
            % (1 << 32);
        usize::try_from(self.seed >> 8).unwrap() % below
    }

    /// Lets as many nodes fail as wanted, one after the other, and daemons while they do.
    pub(crate) fn wreak(&mut self) {
        let first = self.choose(3);
        for number in 0..usize::try_from(told("BAYTRIM_TEST_FAULTS", 3)).unwrap() {
            sleep(Duration::from_millis(1000 + self.choose(2000) as u64));
            let way = if number < 3 {
                (first + number) % 3
            } else {
                self.choose(4)
            };
            let is_primary_wanted = number < 3 || self.choose(3) > 0;
            self.strike_a_node(way, is_primary_wanted);
        }
        sleep(Duration::from_secs(1));
    }

    fn strike_a_node(&mut self, way: usize, is_primary_wanted: bool) {
        let primary = world::primary().expect("a node takes writes");
        let node = if is_primary_wanted {
            primary.clone()
        } else {
            world::standby(&primary, self.choose(2)).to_owned()
        };
        let fault = WAYS[way];
        println!(
            "{fault:?} {node}{}",
            if node == primary { ", the primary" } else { "" }
        );
        self.nodes[way] += 1;
        self.primaries += u32::from(node == primary);
        world::strike(fault, &node);
        // Daemons fail meanwhile, until another node has taken over.
        for turn in 0..12 {
            sleep(Duration::from_millis(500 + self.choose(1500) as u64));
            self.strike_a_daemon();
            let now = world::primary();
            let is_over = node != primary || now.is_some_and(|now| now != primary);
            if is_over && turn >= 2 {
                self.failovers += u32::from(node == primary);
                break;
            }
        }
        // A primary that wakes up just as another takes over is the worst moment: docs/replicated.md. 0 provokes it.
        sleep(Duration::from_secs(told("BAYTRIM_TEST_SETTLE", 6)));
        world::heal(fault, &node);
        if !world::is_whole(2, Duration::from_secs(45)) {
            // What whoever looks after it would do.
            if let Some(node) = world::straggler() {
                println!("{node} does not follow: started anew");
                self.restarted += 1;
                world::restart(node);
            }
            assert!(
                world::is_whole(1, Duration::from_secs(60)),
                "the nodes do not come back"
            );
        }
    }

    fn strike_a_daemon(&mut self) {
        self.keep_up();
        let which = self.choose(self.daemons.len());
        let time = Duration::from_millis(1000 + self.choose(3000) as u64);
        self.turns += 1;
        match self.turns % 3 {
            0 => {
                self.daemons[which].kill_and_start();
                self.daemons_killed += 1;
            }
            1 => {
                self.daemons[which].signal("STOP");
                sleep(time);
                self.daemons[which].signal("CONT");
                self.daemons_paused += 1;
            }
            _ => {
                let node = world::primary().unwrap_or_else(|| "a".to_owned());
                self.daemons[which].cut_from(&node);
                sleep(time);
                self.daemons[which].mend_with(&node);
                self.daemons_cut += 1;
            }
        }
    }

    /// Starts a daemon anew that knows nothing of before.
    pub(crate) fn start_anew(&mut self, which: usize) {
        self.daemons[which].kill_and_start();
    }

    /// Starts daemons again that gave up by themselves, as systemd would.
    pub(crate) fn keep_up(&mut self) {
        for daemon in &mut self.daemons {
            self.gave_up += u32::from(daemon.keep_up());
        }
    }
}

impl fmt::Display for Havoc {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [killed, paused, cut, databases] = self.nodes;
        write!(
            f,
            "nodes: {killed} killed, {paused} paused, {cut} cut off, {databases} databases killed, {} of them primaries, \
             {} took over, {} started anew; daemons: {} killed, {} paused, {} cut from a node, {} gave up at their start",
            self.primaries,
            self.failovers,
            self.restarted,
            self.daemons_killed,
            self.daemons_paused,
            self.daemons_cut,
            self.gave_up,
        )
    }
}

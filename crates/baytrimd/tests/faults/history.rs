//! What clients were told, and what is there in the end: the one is held against the other.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

/// What clients and observers were told while things failed.
#[derive(Debug, Default, Clone)]
pub(crate) struct History {
    /// Acknowledged jobs, with how many pulls of theirs were acknowledged.
    pub(crate) jobs: BTreeMap<String, usize>,
    /// Acknowledged pulls with the hash of their log and their rows.
    pub(crate) pulls: BTreeMap<String, (String, u64)>,
    /// Hashes of records that were read, by stream and place.
    pub(crate) seen: BTreeMap<(String, u64), String>,
    /// Who was told that the verdict on a proposal is theirs, and which state it has now.
    pub(crate) verdicts: BTreeMap<String, (String, i32)>,
    /// Bodies that a compare-and-append has won, by place.
    pub(crate) won: BTreeMap<u64, Vec<u8>>,
    /// What must not be, seen at once.
    pub(crate) wrong: Vec<String>,
    pub(crate) figures: Figures,
}

/// What a run came to.
#[derive(Debug, Default, Clone)]
pub(crate) struct Figures {
    /// Longest time from a client's first try to its acknowledgement, by what was asked.
    pub(crate) longest: BTreeMap<&'static str, Duration>,
    pub(crate) batches: u64,
    /// Tries that failed and were made again.
    pub(crate) again: u64,
    /// Tries of them that a daemon or the line answered with an internal failure.
    pub(crate) failed: u64,
}

/// A record as it is in the end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Found {
    pub(crate) number: u64,
    pub(crate) hash: String,
    pub(crate) previous: String,
    pub(crate) kind: String,
}

/// What is there in the end, as one daemon tells it.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub(crate) struct There {
    /// Records by job.
    pub(crate) records: BTreeMap<String, Vec<Found>>,
    /// Pulls with the hash of their log and their rows.
    pub(crate) pulls: BTreeMap<String, (String, u64)>,
    /// States of proposals.
    pub(crate) proposals: BTreeMap<String, i32>,
}

impl History {
    pub(crate) fn took(&mut self, what: &'static str, time: Duration) {
        let longest = self.figures.longest.entry(what).or_default();
        *longest = (*longest).max(time);
    }

    /// Notes that a record was read; one place has one record for ever.
    pub(crate) fn saw(&mut self, job: &str, number: u64, hash: &str) {
        let place = (job.to_owned(), number);
        let before = self.seen.entry(place).or_insert_with(|| hash.to_owned());
        if before != hash {
            self.wrong
                .push(format!("{job} {number} was {before} and is {hash}"));
        }
    }

    /// Notes who was told that the verdict is theirs.
    pub(crate) fn decided(&mut self, proposal: &str, who: &str, state: i32) {
        let told = (who.to_owned(), state);
        if let Some(other) = self.verdicts.insert(proposal.to_owned(), told) {
            self.wrong
                .push(format!("{proposal}: {other:?} and {who} were told so"));
        }
    }

    /// Notes who has won a place.
    pub(crate) fn won(&mut self, place: u64, body: Vec<u8>) {
        if self.won.insert(place, body).is_some() {
            self.wrong.push(format!("place {place} has two winners"));
        }
    }

    /// Returns everything that is there and must not be, or the other way round.
    pub(crate) fn check(&self, there: &There, shared: &[Vec<u8>]) -> Vec<String> {
        let mut wrong = self.wrong.clone();
        self.check_pulls(there, &mut wrong);
        self.check_verdicts(there, &mut wrong);
        self.check_shared(shared, &mut wrong);
        for (job, records) in &there.records {
            check_chain(job, records, &mut wrong);
        }
        for ((job, number), hash) in &self.seen {
            let records = there.records.get(job);
            let found = records.and_then(|records| records.get(usize::try_from(*number).unwrap()));
            if found.is_none_or(|found| found.hash != *hash) {
                wrong.push(format!("{job} {number} was read as {hash}: {found:?}"));
            }
        }
        wrong
    }

    fn check_pulls(&self, there: &There, wrong: &mut Vec<String>) {
        for (name, told) in &self.pulls {
            if there.pulls.get(name) != Some(told) {
                wrong.push(format!("{name} {told:?}: {:?}", there.pulls.get(name)));
            }
        }
        for (job, count) in &self.jobs {
            let prefix = format!("{job}/pulls/");
            let names = there.pulls.keys();
            let found = names.filter(|name| name.starts_with(&prefix)).count();
            // Every client asks until it is told; what nobody was told of was taken twice.
            if found != *count {
                wrong.push(format!("{job} has {found} pulls of {count}"));
            }
        }
    }

    fn check_verdicts(&self, there: &There, wrong: &mut Vec<String>) {
        for (name, (who, state)) in &self.verdicts {
            if there.proposals.get(name) != Some(state) {
                let found = there.proposals.get(name);
                wrong.push(format!("{name}: {state} by {who}: {found:?}"));
            }
        }
        for (job, records) in &there.records {
            let kinds = records.iter().map(|record| &*record.kind);
            let verdicts =
                kinds.filter(|kind| matches!(*kind, "proposal_approved" | "proposal_rejected"));
            let prefix = format!("{job}/");
            let told = self
                .verdicts
                .keys()
                .filter(|name| name.starts_with(&prefix));
            let (verdicts, told) = (verdicts.count(), told.count());
            if verdicts != told {
                wrong.push(format!("{job}: {verdicts} verdicts for {told} proposals"));
            }
        }
    }

    fn check_shared(&self, shared: &[Vec<u8>], wrong: &mut Vec<String>) {
        for (place, body) in &self.won {
            let found = shared.get(usize::try_from(*place).unwrap());
            if found != Some(body) {
                wrong.push(format!("place {place} is not what won it: {found:?}"));
            }
        }
        let once: BTreeSet<&Vec<u8>> = shared.iter().collect();
        if once.len() != shared.len() {
            wrong.push("a record is there twice".to_owned());
        }
    }
}

fn check_chain(job: &str, records: &[Found], wrong: &mut Vec<String>) {
    for (place, record) in records.iter().enumerate() {
        if record.number != place as u64 {
            wrong.push(format!("{job}: {} where {place} should be", record.number));
        }
        let before = place.checked_sub(1).map(|place| &records[place]);
        if before.is_some_and(|before| before.hash != record.previous) {
            wrong.push(format!("{job} {place} does not follow the one before"));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(number: u64, kind: &str) -> Found {
        Found {
            number,
            hash: format!("h{number}"),
            previous: number
                .checked_sub(1)
                .map_or(String::new(), |before| format!("h{before}")),
            kind: kind.to_owned(),
        }
    }

    /// A small history and what it left, in which all is well.
    fn sound() -> (History, There, Vec<Vec<u8>>) {
        let (mut history, mut there) = (History::default(), There::default());
        let kinds = [
            "job_opened",
            "pull_finished",
            "proposal_made",
            "proposal_approved",
        ];
        let records = (0..).zip(kinds).map(|(number, kind)| found(number, kind));
        there.records.insert("jobs/j".to_owned(), records.collect());
        let pull = ("jobs/j/pulls/p1".to_owned(), ("sha".to_owned(), 10));
        there.pulls.extend([pull.clone()]);
        there.proposals.insert("jobs/j/proposals/c1".to_owned(), 2);
        history.jobs.insert("jobs/j".to_owned(), 1);
        history.pulls.extend([pull]);
        history.saw("jobs/j", 3, "h3");
        history.decided("jobs/j/proposals/c1", "Ines", 2);
        let shared = vec![b"0: 1".to_vec(), b"1: 1".to_vec()];
        history.won(0, shared[0].clone());
        history.won(1, shared[1].clone());
        (history, there, shared)
    }

    type Plant = fn(&mut History, &mut There, &mut Vec<Vec<u8>>);

    /// If this fails, the checker passes a history in which something was lost, doubled, forked or decided twice.
    #[test]
    fn every_planted_fault_is_found() {
        let (history, there, shared) = sound();
        assert_eq!(history.check(&there, &shared), Vec::<String>::new());
        let plants: [(&str, Plant); 10] = [
            ("a lost record", |_, there, _| drop(records(there).pop())),
            ("a gap", |_, there, _| drop(records(there).remove(1))),
            ("a fork", |_, there, _| {
                records(there)[3].hash = "other".to_owned();
            }),
            ("a lost pull", |_, there, _| there.pulls.clear()),
            ("a changed log", |_, there, _| {
                there
                    .pulls
                    .values_mut()
                    .for_each(|pull| pull.0 = "other".to_owned());
            }),
            ("a pull taken twice", |_, there, _| {
                let twice = ("jobs/j/pulls/p2".to_owned(), ("sha".to_owned(), 10));
                there.pulls.extend([twice]);
            }),
            ("a verdict that changed", |_, there, _| {
                there.proposals.insert("jobs/j/proposals/c1".to_owned(), 3);
            }),
            ("two verdicts", |history, _, _| {
                history.decided("jobs/j/proposals/c1", "Odo", 3);
            }),
            ("two winners", |history, _, _| {
                history.won(1, b"0: 2".to_vec());
            }),
            ("a lost winner", |_, _, shared| drop(shared.pop())),
        ];
        for (what, plant) in plants {
            let (mut history, mut there, mut shared) = sound();
            plant(&mut history, &mut there, &mut shared);
            assert_ne!(
                history.check(&there, &shared),
                Vec::<String>::new(),
                "{what}"
            );
        }
    }

    fn records(there: &mut There) -> &mut Vec<Found> {
        there.records.get_mut("jobs/j").unwrap()
    }
}

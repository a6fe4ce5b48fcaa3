//! The pages of grip and plate, as text.

use baytrim_jobs::job_file::{self, Attachments};
use baytrim_jobs::pulls::{self, PullBlobs};
use baytrim_jobs::{JobState, grip, open, propose};
use baytrim_model::ids::{Actor, ProposalId};
use baytrim_model::pull::ChannelMapSource;
use baytrim_model::recording::Recording;
use baytrim_testkit::hand::{Throttle, hold};

use super::house::{NOW, record};
use crate::page::proposal::decide_form::Draft;
use crate::page::proposal::{self, View};
use crate::page::{compare, grip as page, job, revision};

const TABLE: &str = "
[grip.street]
grip_percent = [0, 10, 20, 30, 40, 60, 80, 100]
rpm = [3000, 7000]
plate_percent = [[0, 5, 10, 30, 38, 55, 77, 100], [0, 4, 9, 28, 37, 53, 76, 100]]
slope_max = 1.5
resolution = 0.5
";

fn state() -> JobState {
    let text = job_file::EXAMPLE.to_owned() + TABLE;
    let spec = job_file::parse(&text, &Attachments::new(), None).expect("it is sound");
    let mut state = JobState::opened(&record(open::event(spec))).expect("it is sound");
    let map = (
        baytrim_intake::standard_channels(),
        ChannelMapSource::Standard,
    );
    let found = pulls::circumstances(&state, "east", "", "", map).expect("it is sound");
    let found = pulls::in_mode(&state, found, "street", "").expect("it is sound");
    let samples = hold(&Throttle::uneven(), 4, 1);
    let reading = pulls::read(&state, &found, &samples).expect("it is sound");
    let blobs = PullBlobs {
        log: "00".repeat(32),
        fingerprint: String::new(),
        recording: Recording {
            rate_hz: 20.0,
            jitter_s: 0.0,
            gap_s_max: 0.05,
            repeated_count: 0,
            channels: Vec::new(),
        },
        evidence: "00".repeat(32),
    };
    let taken =
        pulls::event(&state, &found, "hand.csv", blobs, reading.summary).expect("it is sound");
    state.apply(&record(taken)).expect("it is sound");
    let mode = "street".parse().expect("it is sound");
    let chosen = grip::chosen(&state, &mode, &[]).expect("it is sound");
    let by = Actor("tuner".to_owned());
    let proposal = grip::plan(&state, &mode, &chosen, NOW, &by, None).expect("it is sound");
    state
        .apply(&record(propose::event(proposal)))
        .expect("it is sound");
    state
}

/// If this fails, a tuner can't see that the plate moves by itself or opens suddenly, or is not warned where a table is
/// asked for.
#[test]
fn the_page_says_what_the_plate_does() {
    let page = page::whole(&state()).into_string();
    for words in [
        "Riding mode street",
        "The plate shuts by itself as engine speed rises",
        "The gain is uneven: from 20 to 30 % of grip",
        "<svg class=\"grip-plot\"",
        "<strong> steep</strong>",
        "can throw a rider",
        "waits for a verdict",
        "/jobs/quoll-1/proposals/c1",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    assert!(!page.contains("style="), "the policy of content forbids it");
}

/// If this fails, a reviewer decides on a grip table without before, after, measured or cautions, or by nodes of the
/// fuel table; or one of the other pages stumbles over it.
#[test]
fn a_grip_proposal_is_shown_where_any_other_is() {
    let state = state();
    let entry = state.proposal(ProposalId(1)).expect("it is sound");
    let page = proposal::page(&View::first(&state, entry, NOW)).into_string();
    for words in [
        "Proposal c1: grip table, riding mode street",
        "name=\"g\"",
        "Approve what is ticked",
        "can throw a rider",
        "path class=\"before\"",
        "path class=\"after\"",
        "name=\"etag\"",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    let base = &state.revisions[1];
    assert!(
        revision::page(&state, base, &Draft::default())
            .into_string()
            .contains("of the grip table, riding mode street, in force")
    );
    let two = compare::page(&state, &state.revisions[0], base).into_string();
    assert!(two.contains("two different tables"), "{two}");
    assert!(job::page(&state, NOW).into_string().contains("mode street"));
}

//! What jobs teach, and what a new job starts from.

use baytrim_estimate::{PullContext, PullEvidence, read_pull};
use baytrim_jobs::kind::likeness;
use baytrim_jobs::library::{self, Source, Untaught};
use baytrim_jobs::propose;
use baytrim_jobs::refusal::{LibraryRefusal, Refusal};
use baytrim_jobs::verdict::{self, Ask, Choice};
use baytrim_jobs::{JobState, open, revert};
use baytrim_model::bay::DelayChoice;
use baytrim_model::channel::EvidenceKind;
use baytrim_model::ids::{Actor, JobId, ProposalId, PullId, RevisionId, UnixMillis};
use baytrim_model::job::JobSpec;
use baytrim_model::library::{LibrarySource, Vehicle};
use baytrim_model::proposal::Proposal;
use baytrim_model::record::JobRecord;
use baytrim_model::table::TableContent;
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::random::{Dice, Purpose};
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

use crate::house;

fn vehicle(parts: &[&str]) -> Vehicle {
    Vehicle {
        model: "Demo twin 690".to_owned(),
        generation: "2nd series".to_owned(),
        parts: parts.iter().map(|&part| part.to_owned()).collect(),
    }
}

/// A kind whose base table is a twentieth too lean.
fn kind() -> EngineTruth {
    let options = TruthOptions {
        surface_rms_percent: Some(4.0),
        content: Some(TableContent::Percent),
        ..TruthOptions::default()
    };
    let mut truth = EngineTruth::from_seed(77, &options);
    truth.surface = truth.surface.shifted(0.05);
    truth
}

/// One of the kind: it needs a little more or less than the others.
fn one_of(kind: &EngineTruth, number: u64) -> EngineTruth {
    let mut truth = kind.clone();
    let mut dice = Dice::new(7000 + number, Purpose::Surface);
    truth.surface = truth.surface.varied(&mut dice, 0.01, 0.01);
    truth
}

fn spec(truth: &EngineTruth, id: &str) -> JobSpec {
    JobSpec {
        vehicle: Some(vehicle(&["slip-on silencer", "open air filter"])),
        ..truth.job_spec(id.parse().expect("a name"))
    }
}

fn evidence(truth: &EngineTruth, state: &JobState, number: u64) -> PullEvidence {
    let values = &state.head().values;
    let bay = BayOptions::default();
    let pull = simulate(truth, values, PullKind::Mixed, 900 + number, &bay);
    let trim = state.log_trim(state.head());
    let context = PullContext {
        engine: &truth.engine,
        axes: &truth.axes,
        target_lambda: &truth.target_lambda,
        table: &truth.table,
        trim_in_force: &trim,
        gates: &state.spec.gates,
        delay: DelayChoice::Identify,
        evidence: EvidenceKind::Lambda,
    };
    read_pull(&pull.samples, &context)
        .expect("shapes fit")
        .evidence
}

struct Job {
    records: Vec<JobRecord>,
    evidence: PullEvidence,
}

impl Job {
    fn state(&self) -> JobState {
        house::fold(&self.records)
    }

    fn source<'a>(&'a self, state: &'a JobState) -> Source<'a> {
        let lesson = library::lesson(state).expect("approved");
        Source {
            state,
            entry: LibrarySource {
                job: state.id().clone(),
                revision: state.head().id,
                proposal: lesson.proposal,
                pulls: lesson.pulls,
                record_count: state.record_count(),
                record_hash: "00".repeat(32),
            },
            evidence: vec![&self.evidence],
        }
    }
}

fn opened(spec: JobSpec) -> Vec<JobRecord> {
    vec![house::record(open::event(spec), "tuner", None)]
}

fn approve(records: &mut Vec<JobRecord>, proposal: Proposal) {
    let id = proposal.id;
    let etag = verdict::etag(&proposal);
    records.push(house::record(propose::event(proposal), "tuner", None));
    let state = house::fold(records);
    let ask = Ask {
        proposal: id,
        etag,
        reason: "good".to_owned(),
        at: UnixMillis(1_790_000_100_000),
        by: Actor("reviewer".to_owned()),
    };
    let event =
        verdict::approve(&state, &ask, &Choice::whole(), &house::several()).expect("approved");
    records.push(house::record(event, "reviewer", None));
}

/// A job of the kind with one pull and an approved proposal; the pull itself is on no record.
fn done(kind: &EngineTruth, number: u64) -> Job {
    let truth = one_of(kind, number);
    let mut records = opened(spec(&truth, &format!("done-{number}")));
    let state = house::fold(&records);
    let evidence = evidence(&truth, &state, number);
    let by = Actor("tuner".to_owned());
    let at = UnixMillis(1_790_000_000_000);
    let proposal = propose::plan(&state, &[PullId(1)], &[&evidence], at, &by, None);
    let proposal = proposal.expect("solvable");
    approve(&mut records, proposal);
    Job { records, evidence }
}

fn start(state: &JobState, sources: &[Source<'_>]) -> Result<Proposal, Refusal> {
    let by = Actor("tuner".to_owned());
    library::start(state, sources, UnixMillis(1_790_000_000_000), &by, None)
}

/// If this fails, words that a shop writes in two ways are two kinds, parts of another order are other parts, or
/// another engine passes for the same.
#[test]
fn likeness_goes_by_plain_words_and_engine() {
    let kind = kind();
    let here = spec(&kind, "here");
    let mut there = spec(&kind, "there");
    there.vehicle = Some(Vehicle {
        model: "demo TWIN-690".to_owned(),
        generation: "2nd  Series".to_owned(),
        parts: vec!["Open air filter".to_owned(), "Slip on silencer".to_owned()],
    });
    there.engine.displacement_cc *= 1.01;
    let same = likeness(&here, &there).expect("one kind");
    assert_eq!(same.distance(), 0);
    assert_eq!(
        same.sentence(),
        "the same kind and parts: open air filter, slip on silencer"
    );
    there.vehicle = Some(vehicle(&["slip-on silencer", "camshaft"]));
    let near = likeness(&here, &there).expect("one kind");
    assert_eq!(near.distance(), 2);
    assert_eq!(
        near.sentence(),
        "the same kind, 2 parts differ; without open air filter; with camshaft"
    );
    for other in [
        |spec: &mut JobSpec| spec.engine.cylinders += 1,
        |spec: &mut JobSpec| spec.engine.strokes = 2,
        |spec: &mut JobSpec| spec.engine.displacement_cc *= 1.1,
        |spec: &mut JobSpec| spec.fuel.stoichiometric_afr = 9.8,
        |spec: &mut JobSpec| spec.vehicle = None,
    ] {
        let mut there = spec(&kind, "there");
        other(&mut there);
        assert_eq!(likeness(&here, &there), None);
    }
}

/// If this fails, a starting table takes fuel away, breaks a limit of the job, says nothing of where it comes from, or
/// does not bring the table nearer to what the engine needs.
#[test]
fn a_start_adds_fuel_within_the_limits_and_is_nearer() {
    let kind = kind();
    let jobs: Vec<Job> = (1..=4).map(|number| done(&kind, number)).collect();
    let states: Vec<JobState> = jobs.iter().map(Job::state).collect();
    let pairs = jobs.iter().zip(&states);
    let sources: Vec<Source<'_>> = pairs.map(|(job, state)| job.source(state)).collect();
    let truth = one_of(&kind, 9);
    let mut records = opened(spec(&truth, "next"));
    let state = house::fold(&records);
    let made = start(&state, &sources).expect("of one kind");
    let again = start(&state, &sources).expect("of one kind");
    assert_eq!(made, again);
    let kept = made.start.as_ref().expect("a starting table");
    assert_eq!(kept.sources.len(), 4);
    assert_eq!(kept.prior.vehicle_count, 4);
    assert!(made.pulls.is_empty());
    assert!(made.fit.remarks[0].contains("done-1/r1, done-2/r1, done-3/r1, done-4/r1"));
    let limits = &state.spec.limits;
    let (mut before, mut after, mut count) = (0.0, 0.0, 0);
    for (node, need) in made.nodes.iter().zip(truth.theta_at_nodes()) {
        assert!(node.after >= node.before, "leaner at {}", node.rpm);
        assert!(node.proposed_percent <= limits.step_percent + 1e-6);
        if node.after > node.before {
            count += 1;
            before += need.powi(2);
            after += (need - (1.0 + node.after / 100.0).ln()).powi(2);
        }
    }
    assert!(count > 30, "{count} nodes");
    assert!(after < 0.3 * before, "{after} {before}");

    // Approved, it is what the next fit of the job begins from; put back, it is not.
    assert!(state.start_of(RevisionId(0)).is_none());
    approve(&mut records, made);
    let state = house::fold(&records);
    assert_eq!(
        state.start_of(RevisionId(1)).expect("there").sources.len(),
        4
    );
    assert_eq!(library::lesson(&state), Err(Untaught::NotApproved));
    let own = evidence(&truth, &state, 50);
    let by = Actor("tuner".to_owned());
    let at = UnixMillis(1_790_000_000_000);
    let told = propose::plan(&state, &[PullId(1)], &[&own], at, &by, None).expect("solvable");
    assert!(
        told.fit.remarks[0].starts_with("4 of the kind stand behind"),
        "{:?}",
        told.fit.remarks
    );
    let reason = "no";
    let event = revert::event(&state, RevisionId(0), reason, at, &by).expect("reverted");
    records.push(house::record(event, "tuner", None));
    let state = house::fold(&records);
    assert!(state.start_of(RevisionId(2)).is_none());
    let alone = propose::plan(&state, &[PullId(1)], &[&own], at, &by, None).expect("solvable");
    assert!(
        !alone
            .fit
            .remarks
            .iter()
            .any(|remark| remark.contains("of the kind"))
    );
    // What four vehicles with one pull each know moves the estimate, and not away from the truth. How much it is worth
    // is measured over fleets (`cargo bench -p baytrim-estimate --bench fleet`).
    let error = |proposal: &Proposal| {
        let nodes = proposal.nodes.iter().zip(truth.theta_at_nodes());
        let squares = nodes.map(|(node, need)| {
            let table =
                (1.0 + node.before / 100.0).ln() + (node.correction_percent / 100.0).ln_1p();
            (table - need).powi(2)
        });
        squares.sum::<f64>()
    };
    let (told, alone) = (error(&told), error(&alone));
    assert!((told - alone).abs() > 1e-6, "nothing was learned");
    assert!(told < 1.05 * alone, "{told} {alone}");
}

/// If this fails, an engine that is nothing like its kind is made leaner, or held rich, by what the others needed.
#[test]
fn an_engine_unlike_its_kind_is_told_and_not_leaned() {
    let kind = kind();
    let jobs: Vec<Job> = (1..=4).map(|number| done(&kind, number)).collect();
    let states: Vec<JobState> = jobs.iter().map(Job::state).collect();
    let pairs = jobs.iter().zip(&states);
    let sources: Vec<Source<'_>> = pairs.map(|(job, state)| job.source(state)).collect();
    // It needs a sixth more than the kind.
    let mut truth = one_of(&kind, 9);
    truth.surface = truth.surface.shifted(0.15);
    let mut records = opened(spec(&truth, "odd"));
    let made = start(&house::fold(&records), &sources).expect("of one kind");
    approve(&mut records, made);
    let state = house::fold(&records);
    let own = evidence(&truth, &state, 51);
    let by = Actor("tuner".to_owned());
    let at = UnixMillis(1_790_000_000_000);
    let odd = propose::plan(&state, &[PullId(1)], &[&own], at, &by, None).expect("solvable");
    assert!(
        odd.fit.remarks[0].contains("contradict"),
        "{:?}",
        odd.fit.remarks
    );
    assert!(odd.nodes.iter().all(|node| node.after >= node.before));
}

/// If this fails, a job teaches that nobody approved, or one of another kind is learnt from.
#[test]
fn only_approved_jobs_of_the_kind_teach() {
    let kind = kind();
    let fresh = house::fold(&opened(spec(&kind, "fresh")));
    assert_eq!(library::lesson(&fresh), Err(Untaught::NotApproved));
    let mut nameless = spec(&kind, "nameless");
    nameless.vehicle = None;
    let nameless = house::fold(&opened(nameless));
    assert_eq!(library::lesson(&nameless), Err(Untaught::NoVehicle));
    let job = done(&kind, 1);
    let state = job.state();
    let lesson = library::lesson(&state).expect("approved");
    assert_eq!(
        (lesson.proposal, lesson.pulls),
        (ProposalId(1), vec![PullId(1)])
    );
    let mut other = spec(&kind, "other");
    other.vehicle = Some(Vehicle {
        model: "Demo single 450".to_owned(),
        ..vehicle(&[])
    });
    let other = house::fold(&opened(other));
    let refused = start(&other, &[job.source(&state)]).expect_err("another kind");
    let ids: [JobId; 2] = ["other", "done-1"].map(|id| id.parse().expect("a name"));
    let [job, other_id] = ids;
    let wanted = LibraryRefusal::OtherKind {
        job,
        other: other_id,
    };
    assert_eq!(refused, Refusal::Library(wanted));
    let refused = start(&fresh, &[]).expect_err("nothing");
    assert!(matches!(
        refused,
        Refusal::Library(LibraryRefusal::Empty(_))
    ));
}

/// If this fails, a vehicle whose base table has more fuel, or another target, teaches the wrong need.
#[test]
fn another_base_and_target_are_converted() {
    let kind = kind();
    let job = done(&kind, 1);
    let state = job.state();
    let mean = |spec: JobSpec| {
        let state = house::fold(&opened(spec));
        let source_state = job.state();
        let made = start(&state, &[job.source(&source_state)]).expect("of one kind");
        let prior = made.start.expect("a start").prior;
        // The middle of both axes; what is usual for any vehicle pulls a little towards no need.
        prior.mean[prior.rpm.len() * 3 + 3]
    };
    let usual = mean(spec(&kind, "next"));
    let mut richer = spec(&kind, "next");
    for value in &mut richer.table.values {
        *value = 4.0;
    }
    assert!((mean(richer) - (usual - 1.04_f64.ln())).abs() < 4e-3);
    let mut leaner = spec(&kind, "next");
    for target in &mut leaner.target_lambda {
        *target *= 1.02;
    }
    assert!((mean(leaner) - (usual - 1.02_f64.ln())).abs() < 4e-3);
    let mut other = spec(&kind, "next");
    other.table.content = TableContent::VolumetricEfficiency;
    other.table.values.fill(80.0);
    assert!((mean(other) - usual).abs() < 4e-3);
    assert_eq!(state.head().id, RevisionId(1));
}

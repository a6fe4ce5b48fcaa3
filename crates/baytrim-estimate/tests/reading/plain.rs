//! Plain holds, whose answer is known beforehand.

use baytrim_estimate::{FitSettings, fit, read_pull};
use baytrim_model::channel::{EvidenceKind, Quantity};
use baytrim_model::gate::GateName;
use baytrim_model::samples::Samples;

use crate::job::{Job, hold};

/// A steady hold 10 % lean must ask for 10 % fuel at its node, and a trim in force must be added to it.
#[test]
fn a_steady_hold_tells_its_node() {
    let mut job = Job::new();
    let node = job.axes.find(4000.0, 20.0).expect("a node");
    for (trim, wanted) in [(0.0, 1.1_f64.ln()), (0.05, 1.1_f64.ln() + 0.05)] {
        job.trim.fill(trim);
        let reading =
            read_pull(&hold(1000, 0.99), &job.context(EvidenceKind::Lambda)).expect("reads");
        let fitted = fit(&job.axes, &[&reading.evidence], &FitSettings::default()).expect("fits");
        // One visit with an offset of its own leaves the prior some say.
        assert!(
            (fitted.theta[node] - wanted).abs() < 0.01,
            "{} for {wanted}",
            fitted.theta[node]
        );
        assert!(fitted.standard_error[node] < 0.02);
        assert_eq!(fitted.visits[node], 1);
        assert!(fitted.dwell_s[node] > 15.0 && fitted.measured_fraction[node] > 0.8);
        let far = job.axes.find(9000.0, 100.0).expect("a node");
        assert!(
            fitted.standard_error[far] > 0.05,
            "a node nobody went to is unsure"
        );
        assert!(fitted.dwell_s[far] < 1e-9 && fitted.visits[far] == 0);
    }
}

/// Closed-loop trims alone are the need: 6 % short-term and 2 % long-term ask for 8 % more fuel.
#[test]
fn trims_alone_are_evidence() {
    let job = Job::new();
    let mut pull = hold(1000, 0.9);
    pull.channels
        .insert(Quantity::ShortTermTrim, vec![6.0; 1000]);
    pull.channels
        .insert(Quantity::LongTermTrim, vec![2.0; 1000]);
    let node = job.axes.find(4000.0, 20.0).expect("a node");
    for evidence in [EvidenceKind::Trims, EvidenceKind::LambdaAndTrims] {
        let reading = read_pull(&pull, &job.context(evidence)).expect("reads");
        let fitted = fit(&job.axes, &[&reading.evidence], &FitSettings::default()).expect("fits");
        let wanted = (1.06_f64 * 1.02).ln();
        assert!(
            (fitted.theta[node] - wanted).abs() < 0.01,
            "{evidence:?} {}",
            fitted.theta[node]
        );
    }
}

/// A pull that nothing can be learnt from must say why and what to do, not fail.
#[test]
fn a_pull_that_is_refused_whole_says_by_which_gate() {
    let job = Job::new();
    let mut pull = hold(500, 0.9);
    pull.channels
        .insert(Quantity::CoolantTemperature, vec![30.0; 500]);
    let reading = read_pull(&pull, &job.context(EvidenceKind::Lambda)).expect("reads");
    let refused = &reading.summary.refused;
    assert_eq!(
        (refused[0].gate, refused[0].sample_count),
        (GateName::WarmUp, 500)
    );
    assert_eq!(reading.summary.warnings[0].code, "nearly_all_refused");
    assert!(reading.summary.warnings[0].message.contains("warm"));
    assert!(
        reading
            .summary
            .strip
            .iter()
            .all(|gate| *gate == Some(GateName::WarmUp))
    );
    let fitted = fit(&job.axes, &[&reading.evidence], &FitSettings::default()).expect("fits");
    assert!(fitted.theta.iter().all(|theta| theta.abs() < 1e-9));
    let empty = read_pull(&Samples::default(), &job.context(EvidenceKind::Lambda)).expect("reads");
    assert_eq!(empty.summary.warnings[0].code, "empty");
}

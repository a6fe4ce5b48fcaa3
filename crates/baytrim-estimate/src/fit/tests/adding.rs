//! Evidence that was computed apart, added.

use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

use crate::fit::border_prior;
use crate::fit::envelope::Envelope;
use crate::fit::episode::Episodes;
use crate::fit::noise::Noise;
use crate::fit::normal::{LOCAL_BORDER, Normal, border_len, border_of};
use crate::fit::order::Order;
use crate::fit::prior::Smoothness;
use crate::{PullContext, PullEvidence, read_pull};

/// What the bay's daemon sends: the evidence of one pull, read there, as text.
fn sent(truth: &EngineTruth, kind: PullKind, seed: u64) -> String {
    let trim = vec![0.0; truth.axes.node_count()];
    let spec = truth.job_spec("apart".parse().expect("a name"));
    let context = PullContext::of_job(&spec, &trim);
    let bay = BayOptions::from_seed(seed);
    let pull = simulate(truth, &truth.table.values, kind, seed, &bay);
    let evidence = read_pull(&pull.samples, &context).expect("shapes fit");
    serde_json::to_string(&evidence.evidence).expect("writable")
}

/// Adds what one daemon summed of its only pull to a sum over two, as the pull of that place.
fn add(all: &mut Normal, part: &Normal, place: usize) {
    all.nodes.add_scaled(&part.nodes, 1.0);
    for (slot, value) in all.right.iter_mut().zip(&part.right) {
        *slot += value;
    }
    // Two of the local columns are the pull's own; the others all pulls share.
    for a in 0..LOCAL_BORDER {
        let (to, from) = (border_of(place, 2, a), border_of(0, 1, a));
        for (slot, value) in all.cross[to].iter_mut().zip(&part.cross[from]) {
            *slot += value;
        }
        all.border_right[to] += part.border_right[from];
        for b in 0..LOCAL_BORDER {
            all.border[(to, border_of(place, 2, b))] += part.border[(from, border_of(0, 1, b))];
        }
    }
    all.square += part.square;
    all.ln_determinant += part.ln_determinant;
}

/// If this fails, the sum of what two daemons computed apart and sent each other is another answer than that of one
/// daemon that saw both pulls.
#[test]
fn evidence_of_two_daemons_adds_to_the_answer_of_one() {
    let truth = EngineTruth::from_seed(61, &TruthOptions::default());
    let texts = [
        sent(&truth, PullKind::Mixed, 611),
        sent(&truth, PullKind::SweepsUpDown, 612),
    ];
    let pulls = texts.map(|text| serde_json::from_str::<PullEvidence>(&text).expect("readable"));
    let both: Vec<&PullEvidence> = pulls.iter().collect();
    let (order, noise) = (Order::new(&truth.axes), Noise::default());
    let whole = Episodes::new(&truth.axes, &order, &both);
    let zero = Envelope::zero(whole.envelope(&truth.axes, &order));
    let mut added = Normal::sum_of(&whole, 2, &noise, &zero, Some(usize::MAX));
    for (place, pull) in pulls.iter().enumerate() {
        let alone = Episodes::new(&truth.axes, &order, &[pull]);
        let part = Normal::sum(&alone, 1, &noise, &zero);
        add(&mut added, &part, place);
    }
    let precision = Smoothness::new(&truth.axes, &order, &zero).precision([100.0, 100.0]);
    let border = border_prior(&both, &noise);
    assert_eq!(border.len(), border_len(2));
    let one = Normal::sum(&whole, 2, &noise, &zero);
    let one = one.solve(&precision, &border).expect("solvable");
    let apart = added.solve(&precision, &border).expect("solvable");
    let (one_variance, apart_variance) = (one.variances(), apart.variances());
    let mut moved = 0;
    for node in 0..truth.axes.node_count() {
        assert!((one.theta[node] - apart.theta[node]).abs() < 1e-11);
        assert!((one_variance[node] / apart_variance[node] - 1.0).abs() < 1e-9);
        moved += usize::from(one.theta[node].abs() > 0.01);
    }
    assert!(moved > 20, "{moved} nodes need anything");
    assert!((one.border - apart.border).amax() < 1e-11);
}

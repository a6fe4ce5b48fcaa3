//! Part of a proposal.

use proptest::prelude::*;

use super::super::pairs_too_far_apart;
use super::cases::{Case, any_case};
use super::rules::{TOLERANCE, pairs, too_far_apart, values};

fn apart(case: &Case, table: &[f64]) -> Vec<(usize, usize)> {
    pairs_too_far_apart(&case.axes, &case.table, &case.limits, &case.head, table)
        .expect("the case is in range")
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, failure_persistence: None, ..ProptestConfig::default() })]

    /// A part taken without its neighbours must not slip past the limit that the whole kept.
    #[test]
    fn parts_are_held_to_the_neighbour_limit(
        case in any_case(5),
        taken in prop::collection::vec(any::<bool>(), 25),
    ) {
        let whole = values(&case.propose());
        prop_assert_eq!(apart(&case, &whole), []);
        prop_assert_eq!(apart(&case, &case.head), []);
        let part: Vec<f64> = (0..case.node_count())
            .map(|node| if taken[node] { whole[node] } else { case.head[node] })
            .collect();
        let found = apart(&case, &part);
        for pair in pairs(&case) {
            if found.contains(&pair) {
                prop_assert!(too_far_apart(&case, &part, pair, -TOLERANCE), "{pair:?}");
            } else {
                prop_assert!(!too_far_apart(&case, &part, pair, TOLERANCE), "{pair:?}");
            }
        }
    }
}

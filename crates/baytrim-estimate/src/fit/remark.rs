//! What a reviewer should know of a fit as a whole, in sentences.

use crate::film::FILM_STATES;

use super::episode::Episodes;
use super::noise::Noise;
use super::normal::{Solution, film_start};

/// A pull that is so many standard deviations off the others is named.
const ODD_PULL: f64 = 2.5;
/// Calibration factors from here on are named.
const FACTOR_NAMED: f64 = 1.05;

/// Returns the sentences; `ranks` holds the caller's place of each pull. Standard errors are widened by `held_out` because
/// of held-out episodes, and by `one_way` because everything moves one way.
pub(crate) fn remarks(
    all: &Episodes,
    solution: &Solution,
    ranks: &[usize],
    noise: &Noise,
    [held_out, one_way]: [f64; 2],
) -> Vec<String> {
    let pulls = ranks.len();
    let mut remarks = Vec::new();
    if all.stays.is_empty() {
        remarks.push(
            "No pull holds a reading that the gates accept: every node keeps what is usual."
                .to_owned(),
        );
        return remarks;
    }
    let film: f64 = solution
        .border
        .iter()
        .skip(film_start(pulls))
        .take(FILM_STATES)
        .sum();
    remarks.push(format!(
        "Wall film: {:.0} % of a quick change of fuel reaches the cylinder late, which is taken into account.",
        100.0 * film
    ));
    for (place, pull) in ranks.iter().enumerate() {
        let offset = solution.border[place];
        if pulls > 1 && offset.abs() > ODD_PULL * noise.pull {
            remarks.push(format!(
                "Pull {} of {pulls} reads {:.1} % {} than the others: check its sensor and what was loaded.",
                pull + 1,
                100.0 * offset.abs(),
                if offset > 0.0 { "leaner" } else { "richer" }
            ));
        }
    }
    if held_out > FACTOR_NAMED {
        remarks.push(format!(
            "Held-out episodes scatter more than the noise explains: standard errors are widened by {held_out:.2}."
        ));
    }
    if one_way > 1.0 {
        remarks.push(format!(
            "Every sweep goes the same way, where wall film and delay look like a need: standard errors are widened by \
             {one_way:.2}. Sweep back as well."
        ));
    }
    if all.too_wide > 0 {
        remarks.push(format!(
            "{} short stretches crossed too many nodes at once to speak for any of them.",
            all.too_wide
        ));
    }
    remarks
}

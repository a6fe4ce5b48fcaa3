//! The table.

use crate::vehicle::{CHANCE_MIN, Outcome};

fn quantile(mut values: Vec<f64>, quarters: usize) -> f64 {
    values.sort_by(f64::total_cmp);
    let Some(last) = values.len().checked_sub(1) else {
        return f64::NAN;
    };
    let place = quarters * last;
    let (below, rest) = (place / 4, (place % 4) as f64 / 4.0);
    let above = (below + 1).min(last);
    values[below] + rest * (values[above] - values[below])
}

fn inside(scores: &[f64]) -> f64 {
    100.0 * scores.iter().filter(|score| score.abs() <= 1.96).count() as f64
        / scores.len().max(1) as f64
}

pub(crate) fn print(fleets: &[Vec<Outcome>]) {
    println!(
        "{:>7} {:>18} {:>18} {:>11} {:>10} {:>11} {:>11} {:>9} {:>9} {:>15} {:>7} {:>12}",
        "vehicle",
        "pulls [range]",
        "true [range]",
        "start rms",
        "start in",
        "end in",
        "1st rms",
        "in95",
        "start95",
        "lean/too/wall",
        "dropped",
        "spread"
    );
    let count = fleets.iter().map(Vec::len).min().unwrap_or(0);
    for vehicle in 0..count {
        let all: Vec<&Outcome> = fleets.iter().map(|fleet| &fleet[vehicle]).collect();
        let of = |pick: fn(&Outcome) -> f64, quarters: usize| {
            quantile(all.iter().map(|one| pick(one)).collect(), quarters)
        };
        let range = |pick: fn(&Outcome) -> f64| {
            let mean = all.iter().map(|one| pick(one)).sum::<f64>() / all.len() as f64;
            format!(
                "{:.1} {mean:.2} [{}, {}]",
                of(pick, 2),
                of(pick, 0),
                of(pick, 4)
            )
        };
        let joined = |pick: fn(&Outcome) -> &Vec<f64>| -> Vec<f64> {
            all.iter().flat_map(|one| pick(one).clone()).collect()
        };
        let lean = [0, 1, 2].map(|place| all.iter().map(|one| one.lean[place]).sum::<u32>());
        let dropped = all.iter().filter(|one| one.dropped()).count();
        println!(
            "{:>7} {:>18} {:>18} {:>11.2} {:>10.2} {:>11.2} {:>11.2} {:>9.1} {:>9.1} {:>15} {:>7} {:>5.1} {:>5.1}",
            vehicle + 1,
            range(|one| f64::from(one.pulls)),
            range(|one| f64::from(one.true_pulls)),
            of(|one| one.start_rms, 2),
            of(|one| one.within[0], 2),
            of(|one| one.within[1], 2),
            of(|one| one.first_rms, 2),
            inside(&joined(|one| &one.scores)),
            inside(&joined(|one| &one.start_scores)),
            format!("{}/{}/{}", lean[0], lean[1], lean[2]),
            dropped,
            of(|one| one.spread[0], 2),
            of(|one| one.spread[1], 2),
        );
    }
    println!("kind put aside, of vehicles that are of it:");
    let sound = fleets.iter().flatten();
    let sound: Vec<&Outcome> = sound.filter(|one| !one.is_outlier).collect();
    aside("after the first pull", &sound, |one| one.chances.first());
    aside("after the last pull", &sound, |one| one.chances.last());
    let least = |one: &'_ &Outcome| one.chances.iter().copied().reduce(f64::min);
    let ever: Vec<f64> = sound.iter().filter_map(least).collect();
    shares("after any pull", &ever);
}

fn aside(when: &str, sound: &[&Outcome], pick: fn(&Outcome) -> Option<&f64>) {
    let chances: Vec<f64> = sound.iter().filter_map(|one| pick(one).copied()).collect();
    shares(when, &chances);
}

/// Prints which share of chances is below the one meant, with its standard error; and below one in ten, which a sound
/// test is as often.
fn shares(when: &str, chances: &[f64]) {
    let count = chances.len() as f64;
    let below =
        |bound: f64| chances.iter().filter(|chance| **chance < bound).count() as f64 / count;
    let error = |share: f64| (share * (1.0 - share) / count).sqrt();
    let (aside, tenth) = (below(CHANCE_MIN), below(0.1));
    println!(
        "{when:>22}: {:.1} % (standard error {:.1} %) below {:.0} % meant; {:.1} % ({:.1} %) below 10 %, of {count}",
        100.0 * aside,
        100.0 * error(aside),
        100.0 * CHANCE_MIN,
        100.0 * tenth,
        100.0 * error(tenth)
    );
}

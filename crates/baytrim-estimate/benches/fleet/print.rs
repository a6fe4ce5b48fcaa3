//! The table.

use crate::vehicle::Outcome;

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
        let dropped = all.iter().filter(|one| one.dropped).count();
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
}

//! The table.

use crate::Score;

fn quantile(mut values: Vec<f64>, quarters: usize) -> f64 {
    values.sort_by(f64::total_cmp);
    let place = quarters * (values.len() - 1);
    let (below, rest) = (place / 4, (place % 4) as f64 / 4.0);
    let above = (below + 1).min(values.len() - 1);
    values[below] + rest * (values[above] - values[below])
}
pub(crate) fn print_row(name: &str, scores: &[Score], verbose: bool) {
    if verbose {
        for score in scores {
            println!(
                "  rms {:.2} worst {:.2} nearest {:.2} delay {:.0} ms {}",
                score.rms, score.worst, score.nearest, score.delay_ms, score.delays
            );
        }
    }
    let of =
        |pick: fn(&Score) -> f64, quarters| quantile(scores.iter().map(pick).collect(), quarters);
    let all: Vec<f64> = scores
        .iter()
        .flat_map(|score| score.errors_over_sd.clone())
        .collect();
    let inside = |z: f64| {
        100.0 * all.iter().filter(|value| value.abs() <= z).count() as f64 / all.len().max(1) as f64
    };
    let leaned: u32 = scores.iter().map(|score| score.leaned).sum();
    let too_lean: u32 = scores.iter().map(|score| score.too_lean).sum();
    println!(
        "{name:<30} {:>4.2} [{:>4.2}, {:>4.2}] {:>6.2} {:>8.2} {:>8.2} {:>6.2} {:>6.1} {:>6.1} {:>9.0} {:>7.0} \
         {:>9.2} {:>6.2} {:>6.1} {:>9} {:>8.1} {:>7.1}",
        of(|score| score.rms, 2),
        of(|score| score.rms, 1),
        of(|score| score.rms, 3),
        of(|score| score.worst, 2),
        of(|score| score.nearest, 2),
        of(|score| score.settled, 2),
        of(|score| score.rms / score.nearest, 2),
        inside(1.96),
        inside(1.0),
        of(|score| score.delay_ms, 2),
        of(|score| score.lag_ms, 2),
        of(|score| score.accepted, 2),
        of(|score| score.nodes, 2),
        100.0 * f64::from(too_lean) / f64::from(leaned.max(1)),
        scores.iter().map(|score| score.over_wall).sum::<u32>(),
        1000.0 * of(|score| score.read_s, 2),
        1000.0 * of(|score| score.fit_s, 2),
    );
}

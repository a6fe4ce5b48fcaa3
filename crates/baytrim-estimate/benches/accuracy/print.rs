//! The table.

use crate::Score;

fn quantile(mut values: Vec<f64>, quarters: usize) -> f64 {
    values.sort_by(f64::total_cmp);
    let place = quarters * (values.len() - 1);
    let (below, rest) = (place / 4, (place % 4) as f64 / 4.0);
    let above = (below + 1).min(values.len() - 1);
    values[below] + rest * (values[above] - values[below])
}

/// Returns the percent of `errors_over_sd` within `z`, and its standard error over engines, whose nodes err together.
fn inside(scores: &[Score], z: f64) -> (f64, f64) {
    let counts: Vec<(f64, f64)> = scores
        .iter()
        .map(|score| {
            let errors = &score.errors_over_sd;
            let within = errors.iter().filter(|error| error.abs() <= z).count();
            (within as f64, errors.len() as f64)
        })
        .collect();
    let all: f64 = counts.iter().map(|(_, all)| all).sum::<f64>().max(1.0);
    let share = counts.iter().map(|(within, _)| within).sum::<f64>() / all;
    // The linearised variance of a ratio of sums over clusters (Cochran, Sampling Techniques, 1977, 6.4).
    let squares: f64 = counts
        .iter()
        .map(|(within, all)| (within - share * all).powi(2))
        .sum();
    let engines = counts.len() as f64;
    let error = (squares * engines / (engines - 1.0).max(1.0)).sqrt() / all;
    (100.0 * share, 100.0 * error)
}

/// Returns the percent of delays within two of their standard errors; a dash where none was searched.
fn within_2se(scores: &[Score]) -> String {
    let all: Vec<f64> = scores
        .iter()
        .flat_map(|score| score.delays_over_se.clone())
        .collect();
    let within = all.iter().filter(|error| error.abs() <= 2.0).count();
    if all.is_empty() {
        return "-".to_owned();
    }
    format!("{:.0}", 100.0 * within as f64 / all.len() as f64)
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
    let (within_95, error_95) = inside(scores, 1.96);
    let (within_68, error_68) = inside(scores, 1.0);
    let leaned: u32 = scores.iter().map(|score| score.leaned).sum();
    let too_lean: u32 = scores.iter().map(|score| score.too_lean).sum();
    println!(
        "{name:<30} {:>4.2} [{:>4.2}, {:>4.2}] {:>6.2} {:>8.2} {:>8.2} {:>6.2} {:>6.1} ({:>3.1}) {:>6.1} ({:>3.1}) {:>9.0} {:>7} {:>7.0} \
         {:>9.2} {:>6.2} {:>6.1} {:>9} {:>8.1} {:>7.1}",
        of(|score| score.rms, 2),
        of(|score| score.rms, 1),
        of(|score| score.rms, 3),
        of(|score| score.worst, 2),
        of(|score| score.nearest, 2),
        of(|score| score.settled, 2),
        of(|score| score.rms / score.nearest, 2),
        within_95,
        error_95,
        within_68,
        error_68,
        of(|score| score.delay_ms, 2),
        within_2se(scores),
        of(|score| score.lag_ms, 2),
        of(|score| score.accepted, 2),
        of(|score| score.nodes, 2),
        100.0 * f64::from(too_lean) / f64::from(leaned.max(1)),
        scores.iter().map(|score| score.over_wall).sum::<u32>(),
        1000.0 * of(|score| score.read_s, 2),
        1000.0 * of(|score| score.fit_s, 2),
    );
}

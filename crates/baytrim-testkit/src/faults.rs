//! Faults that loggers have, put into a log on purpose.

use baytrim_model::channel::Quantity;
use baytrim_model::samples::Samples;

use crate::csv::log_with_times;
use crate::random::{Dice, Purpose};

/// Rows of a sample list, from the first inclusive to the last exclusive.
pub type Rows = std::ops::Range<usize>;

/// Takes rows out, as a logger that stalls does: the clock goes on, the rows are missing.
pub fn gap(samples: &mut Samples, rows: Rows) {
    samples.offset_s.drain(rows.clone());
    for column in samples.channels.values_mut() {
        column.drain(rows.clone());
    }
}

/// Empties each cell of a channel with the given chance.
pub fn dropouts(samples: &mut Samples, quantity: Quantity, chance: f64, seed: u64) {
    let mut dice = Dice::new(seed, Purpose::Fault);
    if let Some(column) = samples.channels.get_mut(&quantity) {
        for value in column.iter_mut() {
            if dice.chance(chance) {
                *value = f64::NAN;
            }
        }
    }
}

/// Leaves a channel at its first value over some rows, as a dead bus does.
pub fn stuck(samples: &mut Samples, quantity: Quantity, rows: Rows) {
    if let Some(column) = samples.channels.get_mut(&quantity) {
        let held = column[rows.start];
        column[rows].fill(held);
    }
}

/// Writes lambda as an air-fuel ratio, as a meter set to the wrong unit does.
pub fn lambda_as_afr(samples: &mut Samples, stoichiometric_afr: f64) {
    scale(samples, Quantity::Lambda, stoichiometric_afr);
}

/// Multiplies a channel, as a wrong unit or sensor scale does.
pub fn scale(samples: &mut Samples, quantity: Quantity, factor: f64) {
    if let Some(column) = samples.channels.get_mut(&quantity) {
        for value in column.iter_mut() {
            *value *= factor;
        }
    }
}

/// Moves a channel by some rows to later times, as a buffering meter does; its first rows are empty.
pub fn late(samples: &mut Samples, quantity: Quantity, row_count: usize) {
    if let Some(column) = samples.channels.get_mut(&quantity) {
        let count = row_count.min(column.len());
        column.rotate_right(count);
        column[..count].fill(f64::NAN);
    }
}

/// Puts single absurd values into a channel with the given chance.
pub fn spikes(samples: &mut Samples, quantity: Quantity, value: f64, chance: f64, seed: u64) {
    let mut dice = Dice::new(seed, Purpose::Fault);
    if let Some(column) = samples.channels.get_mut(&quantity) {
        for cell in column.iter_mut() {
            if dice.chance(chance) {
                *cell = value;
            }
        }
    }
}

/// Takes a channel out of the log.
pub fn forget(samples: &mut Samples, quantity: Quantity) {
    samples.channels.remove(&quantity);
}

/// Returns the log with a clock that only ticks every `tick_s`: times repeat.
///
/// Samples cannot hold repeated times, so this fault is made in the CSV, as the next ones are.
pub fn csv_with_coarse_clock(samples: &Samples, tick_s: f64) -> String {
    let times: Vec<f64> = samples
        .offset_s
        .iter()
        .map(|at_s| libm::floor(at_s / tick_s) * tick_s)
        .collect();
    log_with_times(samples, &times)
}

/// Returns the log with a clock that jumps back by `back_s` at `row`.
pub fn csv_with_clock_going_back(samples: &Samples, row: usize, back_s: f64) -> String {
    let mut times = samples.offset_s.clone();
    for at_s in &mut times[row..] {
        *at_s -= back_s;
    }
    log_with_times(samples, &times)
}

/// Returns the log cut off in the middle of a row, as by a full disk.
pub fn csv_cut_off(samples: &Samples) -> String {
    let mut text = crate::csv::log(samples);
    text.truncate(text.len() * 2 / 3);
    while text.ends_with('\n') || text.ends_with(',') {
        text.pop();
    }
    text
}

/// Returns the log with decimal commas and semicolons between cells.
pub fn csv_with_decimal_commas(samples: &Samples) -> String {
    crate::csv::log(samples).replace(',', ";").replace('.', ",")
}

/// Returns the log with text in one cell of each row in `rows`, in the last column.
pub fn csv_with_text_in(samples: &Samples, rows: Rows) -> String {
    let text = crate::csv::log(samples);
    let mut out = String::with_capacity(text.len());
    for (line, content) in text.lines().enumerate() {
        match content.rsplit_once(',') {
            Some((before, _)) if line > 0 && rows.contains(&(line - 1)) => {
                out.push_str(before);
                out.push_str(",error");
            }
            _ => out.push_str(content),
        }
        out.push('\n');
    }
    out
}

#[cfg(test)]
mod tests {
    use baytrim_model::channel::Quantity;
    use baytrim_model::samples::Samples;

    use super::{
        csv_cut_off, csv_with_clock_going_back, csv_with_coarse_clock, csv_with_decimal_commas,
        csv_with_text_in, dropouts, gap, lambda_as_afr, late, stuck,
    };

    fn samples() -> Samples {
        Samples {
            offset_s: vec![0.0, 0.1, 0.2, 0.3],
            channels: [
                (Quantity::EngineSpeed, vec![1000.0, 2000.0, 3000.0, 4000.0]),
                (Quantity::Lambda, vec![0.8, 0.9, 1.0, 1.1]),
            ]
            .into(),
        }
    }

    fn lambda(samples: &Samples) -> &[f64] {
        samples.channel(Quantity::Lambda).expect("logged")
    }

    /// Tests of gates and intake would believe in faults that are not there.
    #[test]
    fn each_fault_is_the_one_it_says() {
        let mut faulty = samples();
        gap(&mut faulty, 1..3);
        assert_eq!(faulty.offset_s, [0.0, 0.3]);
        assert_eq!(lambda(&faulty), [0.8, 1.1]);

        let mut faulty = samples();
        stuck(&mut faulty, Quantity::Lambda, 1..4);
        assert_eq!(lambda(&faulty), [0.8, 0.9, 0.9, 0.9]);

        let mut faulty = samples();
        lambda_as_afr(&mut faulty, 14.0);
        assert!((lambda(&faulty)[2] - 14.0).abs() < 1e-12);

        let mut faulty = samples();
        late(&mut faulty, Quantity::Lambda, 1);
        assert!(lambda(&faulty)[0].is_nan());
        assert_eq!(lambda(&faulty)[1..], [0.8, 0.9, 1.0]);

        let mut faulty = samples();
        dropouts(&mut faulty, Quantity::Lambda, 1.0, 1);
        assert!(lambda(&faulty).iter().all(|value| value.is_nan()));
    }

    /// The faults that only a file can have must be in the file.
    #[test]
    fn files_carry_their_faults() {
        let times = |text: &str| -> Vec<String> {
            text.lines()
                .skip(1)
                .filter_map(|line| line.split(',').next().map(str::to_owned))
                .collect()
        };
        let coarse = csv_with_coarse_clock(&samples(), 0.2);
        assert_eq!(times(&coarse), ["0", "0", "0.2", "0.2"]);
        let back = csv_with_clock_going_back(&samples(), 2, 0.15);
        assert_eq!(times(&back), ["0", "0.1", "0.05", "0.15"]);
        assert!(!csv_cut_off(&samples()).ends_with('\n'));
        let commas = csv_with_decimal_commas(&samples());
        assert_eq!(commas.lines().nth(2), Some("0,1;2000;0,9"));
        let text = csv_with_text_in(&samples(), 1..2);
        assert_eq!(text.lines().nth(2), Some("0.1,2000,error"));
    }
}

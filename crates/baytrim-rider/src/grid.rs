//! A table on the steps that a control unit stores, with its limits still holding.
//!
//! Plain rounding of each value breaks a slope limit by up to two half steps. Here whole steps are counted from
//! row to row: each count stays between the least and the most that its limits allow, and from every place the end
//! can still be reached.

use crate::table::{GripTable, RulesError, TableRules};

/// How far a quotient may be from a whole number that is meant, in steps.
const DUST: f64 = 1e-9;

/// Steps between the rows of a table: the least and the most of each, and all together.
struct Steps {
    least: Vec<i64>,
    most: Vec<i64>,
    whole: i64,
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "a table has at most a few million steps, which the check of its resolution holds"
)]
impl Steps {
    fn of(rules: &TableRules, resolution_percent: f64) -> Result<Self, RulesError> {
        let refused = || RulesError::Resolution(resolution_percent);
        let whole = 100.0 / resolution_percent;
        if !(0.001..=10.0).contains(&resolution_percent) || (whole - whole.round()).abs() > 1e-6 {
            return Err(refused());
        }
        let grips = rules.grip_percent.windows(2).map(|pair| pair[1] - pair[0]);
        let limit = |slope: f64, grip: f64| slope.min(100.0) * grip / resolution_percent;
        let least = |grip| (limit(rules.slope_min, grip) - DUST).ceil() as i64;
        let most = |grip| (limit(rules.slope_max, grip) + DUST).floor() as i64;
        let steps = Self {
            least: grips.clone().map(least).collect(),
            most: grips.map(most).collect(),
            whole: whole.round() as i64,
        };
        let can_end = steps.least.iter().sum::<i64>() <= steps.whole
            && steps.most.iter().sum::<i64>() >= steps.whole;
        let can_step = steps.least.iter().zip(&steps.most).all(|(a, b)| a <= b);
        (can_end && can_step).then_some(steps).ok_or_else(refused)
    }

    /// Returns the counts of steps closest to `wanted` (in steps, from 0 on) that begin at 0 and end at `end`.
    fn along(&self, wanted: &[f64], least: &[i64], end: i64) -> Vec<i64> {
        // What can be where, so that the end stays in reach.
        let mut reach = vec![(end, end)];
        for (least, most) in least.iter().zip(&self.most).rev() {
            let (low, high) = reach[reach.len() - 1];
            reach.push((low - most, high - least));
        }
        reach.reverse();
        let mut counts = vec![0];
        for (place, (least, most)) in least.iter().zip(&self.most).enumerate() {
            let before = counts[place];
            let (low, high) = reach[place + 1];
            let (low, high) = (low.max(before + least), high.min(before + most));
            debug_assert!(low <= high, "the end is in reach from every place before");
            counts.push((wanted[place + 1].round() as i64).clamp(low, high));
        }
        counts
    }
}

/// Checks that a table can keep to `rules` on steps of `resolution_percent`.
///
/// # Errors
/// Where the rules cannot be kept, or not on such steps.
pub fn check(rules: &TableRules, resolution_percent: f64) -> Result<(), RulesError> {
    rules.check()?;
    Steps::of(rules, resolution_percent).map(|_| ())
}

/// Returns `table` on steps of `resolution_percent`, one row for each of `rpm`, one for all where there are none.
///
/// Every row rises throughout and goes no steeper than `slope_max`; rows that no roll-off touches also keep to
/// `slope_min` and end at 100. No row is further open than one of a lower engine speed.
///
/// # Errors
/// Where the limits cannot be kept on such steps.
pub fn on_grid(
    table: &GripTable,
    rules: &TableRules,
    rpm: &[f64],
    resolution_percent: f64,
) -> Result<Vec<Vec<f64>>, RulesError> {
    let steps = Steps::of(rules, resolution_percent)?;
    let flat = vec![0; steps.least.len()];
    let shares = rpm
        .iter()
        .map(|&rpm| rules.roll_off.map_or(1.0, |off| off.share_at(rpm)));
    let shares: Vec<f64> = if rpm.is_empty() {
        vec![1.0]
    } else {
        shares.collect()
    };
    let mut rows: Vec<Vec<i64>> = Vec::new();
    for share in shares {
        let scale = share * steps.whole as f64 / 100.0;
        let wanted: Vec<f64> = table
            .plate_percent
            .iter()
            .map(|plate| plate * scale)
            .collect();
        let mut row = if share < 1.0 {
            #[expect(clippy::cast_possible_truncation, reason = "a share of the whole")]
            let end = (share * steps.whole as f64).round() as i64;
            steps.along(&wanted, &flat, end)
        } else {
            steps.along(&wanted, &steps.least, steps.whole)
        };
        // The lesser of two rows that keep to a largest slope and rise keeps to it and rises.
        if let Some(slower) = rows.last() {
            for (count, slower) in row.iter_mut().zip(slower) {
                *count = (*count).min(*slower);
            }
        }
        rows.push(row);
    }
    let percent = |count: &i64| *count as f64 * 100.0 / steps.whole as f64;
    Ok(rows
        .iter()
        .map(|row| row.iter().map(percent).collect())
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::table::{RollOff, propose};

    /// A stream of numbers in 0 to 1 from a seed: xorshift64* (Vigna 2016).
    struct Numbers(u64);

    impl Numbers {
        fn next(&mut self) -> f64 {
            self.0 ^= self.0 >> 12;
            self.0 ^= self.0 << 25;
            self.0 ^= self.0 >> 27;
            (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
        }
        fn below(&mut self, count: usize) -> usize {
            usize::try_from(self.0 % count as u64).unwrap()
        }

        fn pick<T: Copy>(&mut self, from: &[T]) -> T {
            self.next();
            from[self.below(from.len())]
        }
    }

    /// Rules, wishes (grip, plate, error), speeds, resolution.
    type Case = (TableRules, Vec<(f64, f64, f64)>, Vec<f64>, f64);

    fn any(numbers: &mut Numbers) -> Case {
        let mut grip_percent = vec![0.0];
        while grip_percent[grip_percent.len() - 1] < 96.0 {
            let last = grip_percent[grip_percent.len() - 1];
            grip_percent.push(last + 0.5 + 12.0 * numbers.next());
        }
        grip_percent.pop();
        grip_percent.push(100.0);
        let rules = TableRules {
            grip_percent,
            slope_min: numbers.pick(&[0.0, 0.1, 0.3, 0.8]),
            slope_max: 1.0 + 3.0 * numbers.next(),
            smoothness: numbers.pick(&[0.0, 1.0, 20.0, 500.0]),
            roll_off: numbers.pick(&[
                None,
                Some(RollOff {
                    from_rpm: 7000.0,
                    to_rpm: 11_000.0,
                    share: 0.35,
                }),
            ]),
        };
        let count = numbers.below(12);
        let wishes = (0..count)
            .map(|_| {
                let place = 100.0 * numbers.next();
                (place, 100.0 * numbers.next(), 0.1 + 4.0 * numbers.next())
            })
            .collect();
        let rpm = numbers.pick(&[&[][..], &[2000.0, 6000.0, 9000.0, 9010.0, 12_000.0]]);
        let resolution = numbers.pick(&[0.1, 0.25, 0.5, 1.0]);
        (rules, wishes, rpm.to_vec(), resolution)
    }

    fn any_table(numbers: &mut Numbers, rules: &TableRules) -> GripTable {
        let mut plate_percent: Vec<f64> = rules.grip_percent.clone();
        for plate in &mut plate_percent {
            *plate = (*plate + 30.0 * (numbers.next() - 0.5)).clamp(0.0, 100.0);
        }
        plate_percent.sort_by(f64::total_cmp);
        GripTable::through(rules, plate_percent)
    }

    /// If this fails, rounding to what the control unit stores breaks a limit that the table was proposed within:
    /// whatever is wished, on whatever steps.
    #[test]
    fn every_limit_holds_after_rounding() {
        let mut numbers = Numbers(20_261_126);
        let (mut kept, mut refused) = (0, 0);
        for round in 0..400 {
            let (rules, wishes, rpm, resolution) = any(&mut numbers);
            // A dozen by the solver, which takes its time; the others are any table at all, even one that breaks limits.
            let table = if round < 12 {
                propose(&wishes, &rules).unwrap()
            } else {
                any_table(&mut numbers, &rules)
            };
            let Ok(rows) = on_grid(&table, &rules, &rpm, resolution) else {
                assert!(check(&rules, resolution).is_err());
                refused += 1;
                continue;
            };
            kept += 1;
            assert_eq!(rows.len(), rpm.len().max(1));
            for (index, row) in rows.iter().enumerate() {
                let rolls = rules
                    .roll_off
                    .filter(|off| rpm.get(index) > Some(&off.from_rpm));
                let least = if rolls.is_some() {
                    0.0
                } else {
                    rules.slope_min
                };
                for (plate, grip) in row.windows(2).zip(rules.grip_percent.windows(2)) {
                    let slope = (plate[1] - plate[0]) / (grip[1] - grip[0]);
                    let range = least - 1e-6..=rules.slope_max + 1e-6;
                    assert!(range.contains(&slope), "{slope} {rules:?} {row:?}");
                }
                for plate in row {
                    let steps = plate / resolution;
                    assert!((steps - steps.round()).abs() < 1e-6, "{plate}");
                    assert!((0.0..=100.0).contains(plate));
                }
                assert!(row[0].abs() < 1e-12);
                if rolls.is_none() {
                    assert!((row[row.len() - 1] - 100.0).abs() < 1e-12);
                    assert_eq!(row, &rows[0], "engine speed counts where nothing is stated");
                }
            }
            for pair in rows.windows(2) {
                assert!(
                    pair[0]
                        .iter()
                        .zip(&pair[1])
                        .all(|(slow, fast)| slow >= fast)
                );
            }
        }
        assert!(kept > 250 && refused > 5, "{kept} {refused}");
    }

    /// If this fails, rounding moves a table further than a step where no limit binds.
    #[test]
    fn a_table_within_its_limits_moves_by_half_a_step() {
        let rules = TableRules {
            grip_percent: vec![0.0, 13.0, 29.0, 55.0, 100.0],
            slope_min: 0.0,
            slope_max: 5.0,
            smoothness: 0.0,
            roll_off: None,
        };
        let wishes = [(13.0, 7.3, 1.0), (29.0, 20.1, 1.0), (55.0, 51.8, 1.0)];
        let table = propose(&wishes, &rules).unwrap();
        let rows = on_grid(&table, &rules, &[], 0.5).unwrap();
        assert_eq!(rows, [vec![0.0, 7.5, 20.0, 52.0, 100.0]]);
    }
}

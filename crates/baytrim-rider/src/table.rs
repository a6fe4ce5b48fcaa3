//! A table from grip to plate that is proposed for one riding mode.
//!
//! A plate that opens further than the hand asks can throw a rider: a table is tried on the roller first, and
//! whoever loads it answers for the limits and monitors of the control unit, which no table may work around.

pub use baytrim_model::grip::RollOff;

use crate::cubic::MonotoneCubic;
use crate::slopes::Wanted;

/// What a table must keep to.
#[derive(Debug, Clone, PartialEq)]
pub struct TableRules {
    /// Grip of each row, percent: rising from 0 to 100.
    pub grip_percent: Vec<f64>,
    /// Least plate for a percent of grip, between any two rows; not below 0.
    pub slope_min: f64,
    /// Most plate for a percent of grip, between any two rows.
    pub slope_max: f64,
    /// Weight of a change of slope beside that of a miss; 0 leaves the wishes as they are.
    pub smoothness: f64,
    /// The only way in which engine speed counts.
    pub roll_off: Option<RollOff>,
}

/// Why no table can keep to its rules.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RulesError {
    /// The rows do not go from 0 to 100.
    #[error(
        "grip_percent must rise from 0 to 100 over at least three rows; give each row a larger grip than the one above"
    )]
    Rows,
    /// The slopes cannot reach the full opening.
    #[error(
        "slopes of {slope_min} to {slope_max} cannot reach 100 % of plate over 100 % of grip; let slope_min be 0 to 1 and slope_max 1 or more"
    )]
    Slopes {
        /// The least.
        slope_min: f64,
        /// The largest.
        slope_max: f64,
    },
    /// The smoothness is no weight.
    #[error("a smoothness of {0} is no weight; give 0 or more")]
    Smoothness(f64),
    /// The roll-off is none.
    #[error(
        "a roll-off must go from a lower to a higher engine speed and leave a share above 0 and up to 1"
    )]
    RollOff,
    /// The limits cannot be kept on the steps that the table stores.
    #[error(
        "the slopes cannot be kept on steps of {0} %; let 100 be a whole number of steps, give rows further apart, slopes further apart or a finer resolution"
    )]
    Resolution(f64),
    /// A wish is not one.
    #[error("wish {place}: a grip and a plate of 0 to 100 percent and a weight above 0 are wanted")]
    Wish {
        /// Its place, from 0.
        place: usize,
    },
}

/// A table from grip to plate.
#[derive(Debug, Clone, PartialEq)]
pub struct GripTable {
    /// Grip of each row, percent.
    pub grip_percent: Vec<f64>,
    /// Plate of each row, percent.
    pub plate_percent: Vec<f64>,
    /// The only way in which engine speed counts.
    pub roll_off: Option<RollOff>,
    curve: MonotoneCubic,
}

impl TableRules {
    pub(crate) fn check(&self) -> Result<(), RulesError> {
        let grips = &self.grip_percent;
        let is_whole = grips.first() == Some(&0.0) && grips.last() == Some(&100.0);
        if grips.len() < 3 || !is_whole || !grips.windows(2).all(|pair| pair[0] < pair[1]) {
            return Err(RulesError::Rows);
        }
        let (slope_min, slope_max) = (self.slope_min, self.slope_max);
        if !((0.0..=1.0).contains(&slope_min) && slope_max >= 1.0 && slope_max.is_finite()) {
            return Err(RulesError::Slopes {
                slope_min,
                slope_max,
            });
        }
        if !(self.smoothness >= 0.0 && self.smoothness.is_finite()) {
            return Err(RulesError::Smoothness(self.smoothness));
        }
        let gives_way =
            |off: RollOff| off.from_rpm < off.to_rpm && off.share > 0.0 && off.share <= 1.0;
        if !self.roll_off.is_none_or(gives_way) {
            return Err(RulesError::RollOff);
        }
        Ok(())
    }

    fn check_wishes(wishes: &[(f64, f64, f64)]) -> Result<(), RulesError> {
        let is_percent = |value: f64| (0.0..=100.0).contains(&value);
        let is_wish = |&(grip, plate, weight): &(f64, f64, f64)| {
            is_percent(grip) && is_percent(plate) && weight > 0.0 && weight.is_finite()
        };
        match wishes.iter().position(|wish| !is_wish(wish)) {
            Some(place) => Err(RulesError::Wish { place }),
            None => Ok(()),
        }
    }
}

/// Returns the table closest to `wishes` (grip, plate and weight each: what was measured, or what the rider asks
/// for) that rises throughout, keeps to its slopes between rows, and is shut at 0 and open at 100.
///
/// # Errors
/// Where the rules cannot be kept, or a wish is none.
pub fn propose(wishes: &[(f64, f64, f64)], rules: &TableRules) -> Result<GripTable, RulesError> {
    rules.check()?;
    TableRules::check_wishes(wishes)?;
    let slopes = Wanted {
        grip_percent: &rules.grip_percent,
        wishes,
        smoothness: rules.smoothness,
        slope: (rules.slope_min, rules.slope_max),
        full_percent: 100.0,
    }
    .solve();
    let mut plate_percent = vec![0.0];
    for (slope, pair) in slopes.iter().zip(rules.grip_percent.windows(2)) {
        let before = plate_percent[plate_percent.len() - 1];
        plate_percent.push(before + slope * (pair[1] - pair[0]));
    }
    Ok(GripTable::through(rules, plate_percent))
}

impl GripTable {
    /// Returns the table of these plates.
    pub(crate) fn through(rules: &TableRules, plate_percent: Vec<f64>) -> Self {
        Self {
            curve: MonotoneCubic::through(&rules.grip_percent, &plate_percent),
            grip_percent: rules.grip_percent.clone(),
            plate_percent,
            roll_off: rules.roll_off,
        }
    }

    /// Returns the plate, percent, for a grip and an engine speed: on the monotone cubic through the rows.
    pub fn plate_percent_at(&self, grip_percent: f64, engine_speed_rpm: f64) -> f64 {
        let full = self.curve.at(grip_percent);
        full * self
            .roll_off
            .map_or(1.0, |off| off.share_at(engine_speed_rpm))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::oracle::shapes;

    fn rules() -> TableRules {
        TableRules {
            grip_percent: vec![0.0, 5.0, 10.0, 20.0, 35.0, 50.0, 75.0, 100.0],
            slope_min: 0.3,
            slope_max: 1.35,
            smoothness: 20.0,
            roll_off: None,
        }
    }

    const WISHES: [(f64, f64, f64); 7] = [
        (3.0, 0.5, 1.0),
        (8.0, 6.0, 1.0),
        (15.0, 5.0, 2.0),
        (30.0, 12.0, 1.0),
        (45.0, 40.0, 1.0),
        (60.0, 45.0, 0.5),
        (90.0, 95.0, 1.0),
    ];

    /// If this fails, a table that is proposed is not the best inside its limits: twenty-five programmes solved by
    /// `scipy.optimize.minimize` 1.17.1 (SLSQP).
    #[test]
    fn tables_are_those_of_an_independent_solver() {
        let tables = shapes().tables;
        assert_eq!(tables.len(), 25);
        for told in tables {
            let rules = TableRules {
                grip_percent: told.grip.clone(),
                slope_min: told.slope.0,
                slope_max: told.slope.1,
                smoothness: told.smoothness,
                roll_off: None,
            };
            let table = propose(&told.wishes, &rules).unwrap();
            for (found, expected) in table.plate_percent.iter().zip(&told.plate) {
                assert!(
                    (found - expected).abs() < 1e-3,
                    "{:?} for {:?} of {rules:?}",
                    table.plate_percent,
                    told.plate
                );
            }
        }
    }

    /// If this fails, a proposed table closes the plate while the hand opens, breaks its own slopes, or lets engine
    /// speed in where no roll-off is stated.
    #[test]
    fn a_table_keeps_to_its_rules() {
        let table = propose(&WISHES, &rules()).unwrap();
        let pairs = table
            .grip_percent
            .windows(2)
            .zip(table.plate_percent.windows(2));
        for (grip, plate) in pairs {
            let slope = (plate[1] - plate[0]) / (grip[1] - grip[0]);
            assert!((0.3 - 1e-9..=1.35 + 1e-9).contains(&slope), "{slope}");
        }
        assert!((table.plate_percent[7] - 100.0).abs() < 1e-6);
        let along: Vec<f64> = (0..=1000)
            .map(|step| table.plate_percent_at(f64::from(step) / 10.0, 3000.0))
            .collect();
        assert!(along.windows(2).all(|pair| pair[0] <= pair[1]));
        assert!(
            (table.plate_percent_at(40.0, 2000.0) - table.plate_percent_at(40.0, 12_000.0)).abs()
                < 1e-12
        );
    }

    /// If this fails, a roll-off is other than stated: half way along, half of what is taken.
    #[test]
    fn a_roll_off_is_as_stated() {
        let mut rules = rules();
        rules.roll_off = Some(RollOff {
            from_rpm: 9000.0,
            to_rpm: 11_000.0,
            share: 0.6,
        });
        let table = propose(&WISHES, &rules).unwrap();
        let at = |rpm: f64| table.plate_percent_at(100.0, rpm);
        assert!((at(9000.0) - 100.0).abs() < 1e-6 && (at(10_000.0) - 80.0).abs() < 1e-6);
        assert!((at(12_000.0) - 60.0).abs() < 1e-6);
    }

    /// If this fails, rules that nothing can keep to make a table all the same.
    #[test]
    fn rules_that_cannot_be_kept_are_refused() {
        let with = |change: fn(&mut TableRules)| {
            let mut rules = rules();
            change(&mut rules);
            propose(&WISHES, &rules).unwrap_err()
        };
        assert_eq!(with(|rules| rules.grip_percent[1] = 50.0), RulesError::Rows);
        assert!(matches!(
            with(|rules| rules.slope_max = 0.9),
            RulesError::Slopes { .. }
        ));
        assert_eq!(
            with(|rules| rules.smoothness = -1.0),
            RulesError::Smoothness(-1.0)
        );
        let wish = propose(&[(10.0, f64::NAN, 1.0)], &rules());
        assert_eq!(wish, Err(RulesError::Wish { place: 0 }));
    }
}

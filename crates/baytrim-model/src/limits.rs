//! How far a proposal may go.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::field::{FieldError, check_range};

/// A region of the table with its own leanest permitted lambda.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wall {
    /// Lowest engine speed of the region.
    #[serde(default)]
    pub rpm_min: f64,
    /// Highest engine speed of the region.
    #[serde(default = "no_upper_bound")]
    pub rpm_max: f64,
    /// Smallest plate opening of the region in percent.
    #[serde(default)]
    pub plate_percent_min: f64,
    /// Largest plate opening of the region in percent.
    #[serde(default = "no_upper_bound")]
    pub plate_percent_max: f64,
    /// Leanest lambda that the region may ever be predicted to reach, 0.5 to 2.
    pub lambda_max: f64,
}

/// A region without an upper edge ends here: beyond any rpm and any plate angle, and a JSON number.
fn no_upper_bound() -> f64 {
    1e9
}

/// How far one proposal, and all of them together, may go.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Limits {
    /// Largest fuel change of one proposal at a node in percent, 0.1 to 50. Common practice: 5 to 10, first pass to 20.
    pub step_percent: f64,
    /// Largest fuel change from the base table in percent, 0.1 to 100. Common practice: past 25 to 30 something else is wrong.
    pub total_percent: f64,
    /// Largest difference of the change from the base table between nodes next to each other in percent, 0.1 to 100.
    pub neighbour_percent: f64,
    /// Corrections smaller than this are left alone, percent, 0 to 10.
    pub deadband_percent: f64,
    /// Leanest lambda that any node may be predicted to reach where no wall says less, 0.5 to 2.
    pub leanest_lambda: f64,
    /// Regions with their own leanest lambda; where several hold, the richest counts.
    pub walls: Vec<Wall>,
    /// How sure it must be that fuel is not needed before it is taken away, 0.5 to 0.9999.
    pub lean_confidence: f64,
    /// A node with a larger standard error than this gets no change, percent, 0.1 to 50.
    pub standard_error_percent_max: f64,
    /// A node with fewer visits than this gets no change.
    pub visits_min: u32,
    /// Whether nodes that were never visited may follow their neighbours.
    pub borrowed_changes: bool,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            step_percent: 10.0,
            total_percent: 25.0,
            neighbour_percent: 12.0,
            deadband_percent: 1.0,
            leanest_lambda: 1.05,
            walls: Vec::new(),
            lean_confidence: 0.95,
            standard_error_percent_max: 3.0,
            visits_min: 2,
            borrowed_changes: false,
        }
    }
}

impl Limits {
    /// Returns what is wrong with these limits.
    pub fn problems(&self) -> Vec<FieldError> {
        let mut errors = Vec::new();
        let mut check = |field: &str, value: f64, range: (f64, f64), unit: &str| {
            check_range(&mut errors, field, &[value], range, unit);
        };
        check(
            "limits.step_percent",
            self.step_percent,
            (0.1, 50.0),
            "percent",
        );
        check(
            "limits.total_percent",
            self.total_percent,
            (0.1, 100.0),
            "percent",
        );
        check(
            "limits.neighbour_percent",
            self.neighbour_percent,
            (0.1, 100.0),
            "percent",
        );
        check(
            "limits.deadband_percent",
            self.deadband_percent,
            (0.0, 10.0),
            "percent",
        );
        check("limits.leanest_lambda", self.leanest_lambda, (0.5, 2.0), "");
        check(
            "limits.lean_confidence",
            self.lean_confidence,
            (0.5, 0.9999),
            "",
        );
        check(
            "limits.standard_error_percent_max",
            self.standard_error_percent_max,
            (0.1, 50.0),
            "percent",
        );
        for (index, wall) in self.walls.iter().enumerate() {
            check(
                &format!("limits.walls[{index}].lambda_max"),
                wall.lambda_max,
                (0.5, 2.0),
                "",
            );
        }
        errors
    }

    /// Returns the leanest lambda permitted at a node.
    pub fn leanest_lambda_at(&self, rpm: f64, plate_percent: f64) -> f64 {
        self.walls
            .iter()
            .filter(|wall| {
                (wall.rpm_min..=wall.rpm_max).contains(&rpm)
                    && (wall.plate_percent_min..=wall.plate_percent_max).contains(&plate_percent)
            })
            .map(|wall| wall.lambda_max)
            .fold(self.leanest_lambda, f64::min)
    }
}

/// What held a change back or changed it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LimitName {
    /// The largest change of one proposal.
    Step,
    /// The largest change from the base table.
    Total,
    /// The largest difference between neighbours.
    Neighbour,
    /// The leanest lambda permitted here.
    LeanestLambda,
    /// Fuel is taken away only as far as the evidence proves.
    LeanProof,
    /// Readings look lean for another reason than too little fuel: none is added.
    FalseLean,
    /// The correction is smaller than the tolerance.
    Deadband,
    /// The standard error is too large for a change.
    StandardError,
    /// Too few independent visits for a change.
    Visits,
    /// Never visited: the answer is borrowed from neighbours.
    Borrowed,
    /// Rounding to the step that the table stores.
    Resolution,
}

impl LimitName {
    /// Every limit, in the order in which reasons are listed.
    pub const ALL: [Self; 11] = [
        Self::Step,
        Self::Total,
        Self::Neighbour,
        Self::LeanestLambda,
        Self::LeanProof,
        Self::FalseLean,
        Self::Deadband,
        Self::StandardError,
        Self::Visits,
        Self::Borrowed,
        Self::Resolution,
    ];

    /// Returns the name as files, wire and command line write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Step => "step",
            Self::Total => "total",
            Self::Neighbour => "neighbour",
            Self::LeanestLambda => "leanest_lambda",
            Self::LeanProof => "lean_proof",
            Self::FalseLean => "false_lean",
            Self::Deadband => "deadband",
            Self::StandardError => "standard_error",
            Self::Visits => "visits",
            Self::Borrowed => "borrowed",
            Self::Resolution => "resolution",
        }
    }

    /// Returns the sentence that a reviewer reads.
    pub fn sentence(self) -> &'static str {
        match self {
            Self::Step => "held to the largest change of one proposal",
            Self::Total => "held to the largest change from the base table",
            Self::Neighbour => "held to the largest difference between neighbours",
            Self::LeanestLambda => "held by the leanest lambda permitted here",
            Self::LeanProof => "fuel is taken away only as far as the evidence proves",
            Self::FalseLean => "looks lean for another reason than too little fuel: none is added",
            Self::Deadband => "smaller than the tolerance: left alone",
            Self::StandardError => "too unsure for a change",
            Self::Visits => "too few independent visits for a change",
            Self::Borrowed => "never visited: the answer is borrowed from neighbours",
            Self::Resolution => "rounded to the step that the table stores",
        }
    }
}

impl fmt::Display for LimitName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

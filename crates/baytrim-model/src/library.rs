//! What earlier vehicles of a kind tell of the next one.

use serde::{Deserialize, Serialize};

use crate::field::FieldError;
use crate::ids::{JobId, ProposalId, PullId, RevisionId};

/// Longest name of a model, generation or part in bytes.
pub const VEHICLE_WORDS_BYTES_MAX: usize = 80;
/// Most parts of a vehicle.
pub const PARTS_MAX: usize = 24;

/// What a vehicle is and which parts are fitted, in the shop's own plain words; nothing of its owner.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Vehicle {
    /// The model, for example `demo twin 690`.
    pub model: String,
    /// Years or series within the model that share one engine and one table; empty where nothing differs.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub generation: String,
    /// Parts that are not as the vehicle left its maker, in any order, for example `slip-on silencer`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<String>,
}

impl Vehicle {
    /// Returns what is wrong with these words.
    pub fn problems(&self) -> Vec<FieldError> {
        let mut errors = Vec::new();
        let mut check = |field: String, text: &str, may_be_empty: bool| {
            let empty = plain(text).is_empty() && !(may_be_empty && text.is_empty());
            if empty || text.len() > VEHICLE_WORDS_BYTES_MAX {
                errors.push(FieldError::new(
                    field,
                    format!("is {} bytes long and must name something", text.len()),
                    format!("write 1 to {VEHICLE_WORDS_BYTES_MAX} bytes with a letter or digit"),
                ));
            }
        };
        check("vehicle.model".to_owned(), &self.model, false);
        check("vehicle.generation".to_owned(), &self.generation, true);
        for (index, part) in self.parts.iter().enumerate() {
            check(format!("vehicle.parts[{index}]"), part, false);
        }
        if self.parts.len() > PARTS_MAX {
            errors.push(FieldError::new(
                "vehicle.parts",
                format!("names {} parts", self.parts.len()),
                format!("name {PARTS_MAX} at the most: those that change the mixture"),
            ));
        }
        errors
    }

    /// Returns model and generation as they are compared: see [`plain`].
    pub fn kind(&self) -> String {
        match plain(&self.generation) {
            generation if generation.is_empty() => plain(&self.model),
            generation => format!("{}, {generation}", plain(&self.model)),
        }
    }

    /// Returns the parts as they are compared, in order, each once.
    pub fn plain_parts(&self) -> Vec<String> {
        let mut parts: Vec<String> = self.parts.iter().map(|part| plain(part)).collect();
        parts.sort();
        parts.dedup();
        parts
    }
}

/// Returns words as they are compared: lower case, and whatever is neither letter nor digit is one space.
pub fn plain(text: &str) -> String {
    let lower = text.to_lowercase();
    let words = lower.split(|c: char| !c.is_alphanumeric());
    let words: Vec<&str> = words.filter(|word| !word.is_empty()).collect();
    words.join(" ")
}

/// What vehicles of a kind tell of the next one: a normal distribution of what its base table needs.
///
/// It stands on a coarse grid of the next vehicle's own axes; between, the need is smooth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KindPrior {
    /// Engine speeds of the grid.
    pub rpm: Vec<f64>,
    /// Plate openings of the grid, percent.
    pub plate_percent: Vec<f64>,
    /// Mean of the log fuel multiplier that the base table needs, in node order of the grid.
    pub mean: Vec<f64>,
    /// Its covariance over the grid, lower triangle row by row: what vehicles differ in, and what is unknown of
    /// their mean. A sensor's usual bias is in it.
    pub covariance: Vec<f64>,
    /// What vehicles were found to differ in.
    pub spread: KindSpread,
    /// Vehicles that it is learnt from.
    pub vehicle_count: u32,
    /// Seconds of accepted footprint weight at each node of the table, over all vehicles.
    pub dwell_s: Vec<f64>,
    /// Vehicles that were measured at each node of the table.
    pub vehicles: Vec<u32>,
}

/// Standard deviations of what vehicles of one kind differ in, percent of fuel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KindSpread {
    /// All nodes alike.
    pub level_percent: f64,
    /// Over large parts of the table.
    pub shape_percent: f64,
    /// From node to node.
    pub rough_percent: f64,
}

/// An entry of the library that a starting table is learnt from, as it was then.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LibrarySource {
    /// The job.
    pub job: JobId,
    /// The revision in force.
    pub revision: RevisionId,
    /// The approved proposal that it came of.
    pub proposal: ProposalId,
    /// The pulls behind that.
    pub pulls: Vec<PullId>,
    /// Records of the job.
    pub record_count: u64,
    /// Hash of the last of them, hexadecimal.
    pub record_hash: String,
}

/// What makes a proposal a starting table: it was learnt from other vehicles, not from pulls.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StartingTable {
    /// The entries of the library behind it, by job.
    pub sources: Vec<LibrarySource>,
    /// What they tell together; later proposals of the job begin from it once this one is approved.
    pub prior: KindPrior,
}

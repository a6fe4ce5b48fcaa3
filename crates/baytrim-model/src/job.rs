//! One vehicle's work, as it was opened.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::axis::Axes;
use crate::bay::{BaySetup, DelayChoice};
use crate::engine::{Engine, Fuel};
use crate::field::{FieldError, check_range};
use crate::gate::GateSettings;
use crate::grip::GripTableSpec;
use crate::ids::{BayName, JobId, ModeName};
use crate::library::Vehicle;
use crate::limits::Limits;
use crate::power::PowerSettings;
use crate::table::{BaseTable, shape_error};
use crate::vehicle::{RecordedAir, RecordedOverrun};

/// Everything that a job is opened with; it does not change afterwards.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JobSpec {
    /// The job's name in the shop.
    pub id: JobId,
    /// What people call it.
    pub title: String,
    /// Free words: the vehicle, its parts, what the customer wants.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub notes: String,
    /// Which kind of vehicle it is and what is fitted; none: nobody said, and the job is in no library.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub vehicle: Option<Vehicle>,
    /// Engine facts.
    pub engine: Engine,
    /// What is in the tank.
    pub fuel: Fuel,
    /// The table's axes.
    pub axes: Axes,
    /// The table that came with the vehicle.
    pub table: BaseTable,
    /// Lambda wanted at each node, in node order, 0.5 to 2.
    pub target_lambda: Vec<f64>,
    /// How far proposals may go.
    #[serde(default)]
    pub limits: Limits,
    /// Parameters of the gates.
    #[serde(default)]
    pub gates: GateSettings,
    /// How power is stated.
    #[serde(default, skip_serializing_if = "PowerSettings::is_default")]
    pub power: PowerSettings,
    /// The cut on the overrun; none where nobody says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub overrun: Option<RecordedOverrun>,
    /// Secondary air; none where nobody says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub secondary_air: Option<RecordedAir>,
    /// The bays that may send pulls.
    pub bays: BTreeMap<BayName, BaySetup>,
    /// The tables from grip to plate that came with the vehicle, by riding mode; none where nobody gave any.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub grip: BTreeMap<ModeName, GripTableSpec>,
}

impl JobSpec {
    /// Returns all that is wrong with the job; empty when it can be opened.
    pub fn problems(&self) -> Vec<FieldError> {
        let mut errors = Vec::new();
        if self.title.trim().is_empty() || self.title.len() > 120 {
            errors.push(FieldError::new(
                "name",
                format!("is {} bytes long", self.title.len()),
                "give the job a name of 1 to 120 bytes",
            ));
        }
        errors.extend(self.vehicle.iter().flat_map(Vehicle::problems));
        errors.extend(self.engine.problems());
        errors.extend(self.fuel.problems());
        self.axis_problems(&mut errors);
        errors.extend(self.table.problems(&self.axes));
        if self.target_lambda.len() == self.axes.node_count() {
            check_range(
                &mut errors,
                "target.lambda",
                &self.target_lambda,
                (0.5, 2.0),
                "",
            );
        } else {
            let count = self.target_lambda.len();
            errors.push(shape_error("target.lambda", count, &self.axes));
        }
        errors.extend(self.limits.problems());
        errors.extend(self.gates.problems());
        errors.extend(self.power.problems());
        let overrun = self.overrun.iter();
        errors.extend(overrun.flat_map(|overrun| overrun.problems("overrun")));
        if self.bays.is_empty() {
            errors.push(FieldError::new(
                "bays",
                "there are none",
                "add a section such as [bays.east] with delay = \"identify\"",
            ));
        }
        for (name, bay) in &self.bays {
            if let DelayChoice::Given(delay) = &bay.delay {
                errors.extend(delay.problems(&format!("bays.{name}.delay")));
            }
            if let Some(roller) = &bay.roller {
                errors.extend(roller.problems(&format!("bays.{name}.roller")));
            }
        }
        for (mode, grip) in &self.grip {
            errors.extend(grip.problems(&format!("grip.{mode}")));
        }
        errors
    }

    fn axis_problems(&self, errors: &mut Vec<FieldError>) {
        let (rpm, plate) = (&self.axes.rpm, &self.axes.plate_percent);
        check_range(
            errors,
            "axes.rpm",
            rpm.breakpoints(),
            (100.0, 25_000.0),
            "rpm",
        );
        check_range(
            errors,
            "axes.plate_percent",
            plate.breakpoints(),
            (0.0, 100.0),
            "percent",
        );
    }
}

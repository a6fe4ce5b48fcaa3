//! What is known of an engine before its first pull.

use serde::{Deserialize, Serialize};

use crate::field::{FieldError, check_range};

/// The facts of an engine that the exhaust's transport delay depends on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Engine {
    /// Strokes of a working cycle: 2 or 4.
    pub strokes: u8,
    /// Swept volume of all cylinders in cubic centimetres, 20 to 20 000.
    pub displacement_cc: f64,
    /// Number of cylinders, 1 to 16.
    pub cylinders: u8,
}

impl Engine {
    /// Returns what is wrong with these facts.
    pub fn problems(&self) -> Vec<FieldError> {
        let mut errors = Vec::new();
        if ![2, 4].contains(&self.strokes) {
            errors.push(FieldError::new(
                "engine.strokes",
                format!("{} is not a working cycle", self.strokes),
                "write 2 or 4",
            ));
        }
        check_range(
            &mut errors,
            "engine.displacement_cc",
            &[self.displacement_cc],
            (20.0, 20_000.0),
            "cc",
        );
        check_range(
            &mut errors,
            "engine.cylinders",
            &[f64::from(self.cylinders)],
            (1.0, 16.0),
            "",
        );
        errors
    }

    /// Returns the seconds of one working cycle at `rpm`.
    pub fn cycle_s(&self, rpm: f64) -> f64 {
        30.0 * f64::from(self.strokes) / rpm
    }
}

/// The fuel in the tank, as far as reading a lambda meter needs it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fuel {
    /// What the pump says, for example `petrol E5`.
    pub name: String,
    /// Air mass per fuel mass of complete combustion, 4 to 20; turns a logged AFR into lambda.
    pub stoichiometric_afr: f64,
}

impl Fuel {
    /// Returns what is wrong with these facts.
    pub fn problems(&self) -> Vec<FieldError> {
        let mut errors = Vec::new();
        check_range(
            &mut errors,
            "fuel.stoichiometric_afr",
            &[self.stoichiometric_afr],
            (4.0, 20.0),
            "kg/kg",
        );
        errors
    }
}

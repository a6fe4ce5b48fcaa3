//! What the numbers of a fuel table mean and how a fuel change moves them.

use serde::{Deserialize, Serialize};

use crate::axis::Axes;
use crate::field::{FieldError, check_range};

/// What a fuel table holds, and so how its numbers follow a change of fuel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "content", rename_all = "snake_case", deny_unknown_fields)]
pub enum TableContent {
    /// Percent of fuel added to a map that is not seen: 0 leaves it as it is.
    Percent,
    /// Factor on a map that is not seen: 1 leaves it as it is.
    Factor,
    /// Volumetric efficiency, in percent or as a ratio; fuel is proportional to it.
    VolumetricEfficiency,
    /// Injector open time in milliseconds, dead time already taken off; fuel is proportional to it.
    EffectiveTimeMs,
    /// Injector pulse width in milliseconds; fuel is proportional to what exceeds the dead time.
    TotalTimeMs {
        /// Injector dead time in milliseconds; common practice has 0.5 to 1.2.
        dead_time_ms: f64,
    },
}

impl TableContent {
    /// Returns the fuel, in units that only ratios of matter, that the table value `value` asks for.
    pub fn fuel(self, value: f64) -> f64 {
        match self {
            Self::Percent => 1.0 + value / 100.0,
            Self::Factor | Self::VolumetricEfficiency | Self::EffectiveTimeMs => value,
            Self::TotalTimeMs { dead_time_ms } => value - dead_time_ms,
        }
    }

    /// Returns the table value that asks for `fuel`; the inverse of [`TableContent::fuel`].
    pub fn value(self, fuel: f64) -> f64 {
        match self {
            Self::Percent => (fuel - 1.0) * 100.0,
            Self::Factor | Self::VolumetricEfficiency | Self::EffectiveTimeMs => fuel,
            Self::TotalTimeMs { dead_time_ms } => fuel + dead_time_ms,
        }
    }

    /// Returns whether the numbers rise and fall with the air that the engine draws,
    /// so that the table itself says how load varies over it.
    pub fn follows_load(self) -> bool {
        matches!(
            self,
            Self::VolumetricEfficiency | Self::EffectiveTimeMs | Self::TotalTimeMs { .. }
        )
    }

    /// Returns the name as files, wire and command line write it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Percent => "percent",
            Self::Factor => "factor",
            Self::VolumetricEfficiency => "volumetric_efficiency",
            Self::EffectiveTimeMs => "effective_time_ms",
            Self::TotalTimeMs { .. } => "total_time_ms",
        }
    }

    /// Returns the finest step that such a table usually stores, for a table that does not say.
    pub fn usual_resolution(self) -> f64 {
        match self {
            Self::Percent | Self::VolumetricEfficiency => 0.1,
            Self::Factor | Self::EffectiveTimeMs | Self::TotalTimeMs { .. } => 0.001,
        }
    }
}

/// The table that came with the vehicle: what all corrections of a job are counted from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Flat")]
pub struct BaseTable {
    /// What the numbers mean.
    #[serde(flatten)]
    pub content: TableContent,
    /// Finest step that the table stores, in its own unit, above 0.
    pub resolution: f64,
    /// Values in node order, in the unit of `content`; each asks for some fuel.
    pub values: Vec<f64>,
}

/// A base table as it is written down: read from this, it refuses what it does not know, which a flattened part can't.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Flat {
    content: String,
    #[serde(default)]
    dead_time_ms: Option<f64>,
    resolution: f64,
    values: Vec<f64>,
}

impl TryFrom<Flat> for BaseTable {
    type Error = String;

    fn try_from(flat: Flat) -> Result<Self, String> {
        let contents = match flat.dead_time_ms {
            Some(dead_time_ms) => vec![TableContent::TotalTimeMs { dead_time_ms }],
            None => vec![
                TableContent::Percent,
                TableContent::Factor,
                TableContent::VolumetricEfficiency,
                TableContent::EffectiveTimeMs,
            ],
        };
        let mut contents = contents.into_iter();
        let content = contents.find(|content| content.as_str() == flat.content);
        Ok(Self {
            content: content
                .ok_or_else(|| format!("no such content of a table: {}", flat.content))?,
            resolution: flat.resolution,
            values: flat.values,
        })
    }
}

impl BaseTable {
    /// Returns what is wrong with the table for `axes`.
    pub fn problems(&self, axes: &Axes) -> Vec<FieldError> {
        let mut errors = Vec::new();
        check_range(
            &mut errors,
            "table.resolution",
            &[self.resolution],
            (1e-6, 10.0),
            "in the table's unit",
        );
        if let TableContent::TotalTimeMs { dead_time_ms } = self.content {
            let range = (0.0, 5.0);
            check_range(
                &mut errors,
                "table.dead_time_ms",
                &[dead_time_ms],
                range,
                "ms",
            );
        }
        if self.values.len() != axes.node_count() {
            errors.push(shape_error("table.values", self.values.len(), axes));
            return errors;
        }
        for (node, &value) in self.values.iter().enumerate() {
            let fuel = self.content.fuel(value);
            if !(fuel.is_finite() && fuel > 0.0 && value.abs() < 1e6) {
                let (rpm, plate) = axes.position(node);
                errors.push(FieldError::new(
                    format!("table.values at {rpm} rpm, {plate} %"),
                    format!("{value} asks for no or negative fuel"),
                    "check the value, and that table.content says what the numbers are",
                ));
            }
        }
        errors
    }
}

/// Returns the complaint that `field` has `count` values where `axes` want another number.
pub(crate) fn shape_error(field: &str, count: usize, axes: &Axes) -> FieldError {
    let (plates, speeds) = (axes.plate_percent.len(), axes.rpm.len());
    FieldError::new(
        field,
        format!("has {count} values where the axes have {plates} x {speeds} nodes"),
        format!("give {plates} rows (plate angles) of {speeds} values (rpm)"),
    )
}

#[cfg(test)]
mod tests {
    use super::TableContent;

    /// A total pulse width must change by its effective part only, or idle would overshoot.
    #[test]
    fn fuel_and_value_are_inverse() {
        let contents = [
            TableContent::Percent,
            TableContent::Factor,
            TableContent::VolumetricEfficiency,
            TableContent::EffectiveTimeMs,
            TableContent::TotalTimeMs { dead_time_ms: 0.9 },
        ];
        for content in contents {
            let value = content.value(content.fuel(2.5) * 1.1);
            let change = content.fuel(value) / content.fuel(2.5);
            assert!((change - 1.1).abs() < 1e-12, "{content:?}");
        }
        let total = TableContent::TotalTimeMs { dead_time_ms: 1.0 };
        assert!((total.value(total.fuel(2.0) * 1.1) - 2.1).abs() < 1e-12);
    }
}

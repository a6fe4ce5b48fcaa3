//! A job's facts, prepared once per pull for the work on its rows.

use baytrim_model::axis::Axes;
use baytrim_model::bay::DelayModel;
use baytrim_model::channel::EvidenceKind;
use baytrim_model::engine::Engine;
use baytrim_model::gate::GateSettings;

use crate::context::PullContext;
use crate::flow::{exhaust_l_per_s, plate_filling};
use crate::hat::Hat;
use crate::read::ReadError;
use crate::row::Row;

/// Share of the gas volume that mixes instead of flowing as a plug: bends, collectors and silencers stir.
/// The plug delays by its volume over the flow, the stirred part lags by it (ideal stirred vessel).
/// Common practice puts it at a tenth to a quarter.
pub(crate) const MIXING_SHARE: f64 = 0.15;
/// Longest lag that is believed, seconds.
pub(crate) const LAG_S_MAX: f64 = 2.0;

/// What the rows of a pull are read against.
#[derive(Debug, Clone)]
pub(crate) struct Frame {
    pub(crate) engine: Engine,
    pub(crate) axes: Axes,
    pub(crate) gates: GateSettings,
    pub(crate) evidence: EvidenceKind,
    /// exp(trim in force) / target at each node: fuel-air ratio wanted of a table that is right.
    pub(crate) richness: Vec<f64>,
    /// exp(trim in force) at each node.
    pub(crate) trim_factor: Vec<f64>,
    /// Fuel of the table in force at each node, where the table follows load.
    fuel: Option<Vec<f64>>,
    fuel_max: f64,
    rpm_max: f64,
}

impl Frame {
    /// Prepares `context`.
    pub(crate) fn new(context: &PullContext<'_>) -> Result<Self, ReadError> {
        let nodes = context.axes.node_count();
        let lists = [
            ("target_lambda", context.target_lambda),
            ("table.values", &context.table.values),
            ("trim_in_force", context.trim_in_force),
        ];
        for (list, values) in lists {
            if values.len() != nodes {
                let count = values.len();
                return Err(ReadError::Shape { list, count, nodes });
            }
            if let Some(node) = values.iter().position(|value| !value.is_finite()) {
                return Err(ReadError::NotFinite { list, node });
            }
        }
        if let Some(node) = context
            .target_lambda
            .iter()
            .position(|&target| target <= 0.0)
        {
            return Err(ReadError::NotFinite {
                list: "target_lambda",
                node,
            });
        }
        let trim_factor: Vec<f64> = context
            .trim_in_force
            .iter()
            .map(|trim| trim.clamp(-2.0, 2.0).exp())
            .collect();
        let richness = trim_factor
            .iter()
            .zip(context.target_lambda)
            .map(|(trim, target)| trim / target)
            .collect();
        let content = context.table.content;
        let fuel: Option<Vec<f64>> = content.follows_load().then(|| {
            context
                .table
                .values
                .iter()
                .map(|&value| content.fuel(value).max(1e-9))
                .collect()
        });
        let fuel_max = fuel
            .iter()
            .flatten()
            .fold(1e-9, |max: f64, &value| max.max(value));
        Ok(Self {
            engine: context.engine.clone(),
            axes: context.axes.clone(),
            gates: context.gates.clone(),
            evidence: context.evidence,
            richness,
            trim_factor,
            fuel,
            fuel_max,
            rpm_max: context.axes.rpm.last(),
        })
    }

    /// Returns the share of a full cylinder that the engine draws at a row.
    pub(crate) fn filling(&self, row: &Row, hat: &Hat) -> f64 {
        if row.pressure_ratio.is_finite() {
            return (row.pressure_ratio * 0.9).clamp(0.1, 3.0);
        }
        match &self.fuel {
            Some(fuel) => (hat.value(fuel) / self.fuel_max * 0.95).max(0.02),
            None => plate_filling(row.rpm, row.plate_percent, self.rpm_max),
        }
    }

    /// Returns the lag of what is read while the engine runs like this: sensor and stirred volume.
    pub(crate) fn lag_s(&self, model: &DelayModel, rpm: f64, filling: f64) -> f64 {
        let stirred_s =
            MIXING_SHARE * model.gas_volume_l / self.exhaust_l_per_s(rpm.max(200.0), filling);
        (model.lag_s + stirred_s).min(LAG_S_MAX)
    }

    /// Returns the log fuel need that a row shows at face value, without delay or lag.
    pub(crate) fn need(&self, row: &Row, hat: &Hat) -> f64 {
        match self.evidence {
            EvidenceKind::Lambda => (row.lambda * hat.value(&self.richness)).ln(),
            EvidenceKind::LambdaAndTrims => {
                (row.lambda * row.closed_loop_factor * hat.value(&self.richness)).ln()
            }
            EvidenceKind::Trims => (row.closed_loop_factor * hat.value(&self.trim_factor)).ln(),
        }
    }

    /// Returns the closed-loop factor that counts towards lambda evidence.
    pub(crate) fn loop_factor(&self, row: &Row) -> f64 {
        let counts =
            self.evidence == EvidenceKind::LambdaAndTrims && row.closed_loop_factor.is_finite();
        if counts {
            row.closed_loop_factor.clamp(0.1, 10.0)
        } else {
            1.0
        }
    }

    /// Returns the exhaust flow in litres a second, never below a thousandth.
    pub(crate) fn exhaust_l_per_s(&self, rpm: f64, filling: f64) -> f64 {
        exhaust_l_per_s(&self.engine, rpm, self.rpm_max, filling).max(1e-3)
    }

    /// Returns the transport delay while the engine keeps running like this, seconds.
    pub(crate) fn delay_s(&self, model: &DelayModel, rpm: f64, filling: f64) -> f64 {
        let rpm = rpm.max(200.0);
        let flow = self.exhaust_l_per_s(rpm, filling);
        model.cycles * self.engine.cycle_s(rpm) + pipe_l(model) / flow
    }
}

/// Returns the volume that flows as a plug from the valve to the sensor, litres.
pub(crate) fn pipe_l(model: &DelayModel) -> f64 {
    (1.0 - MIXING_SHARE) * model.gas_volume_l
}

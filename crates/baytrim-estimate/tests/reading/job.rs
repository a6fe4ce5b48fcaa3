//! A small job of plain facts, and holds made for it.

use std::collections::BTreeMap;

use baytrim_estimate::PullContext;
use baytrim_model::axis::{Axes, Axis};
use baytrim_model::bay::{DelayChoice, DelayModel};
use baytrim_model::channel::{EvidenceKind, Quantity};
use baytrim_model::engine::Engine;
use baytrim_model::gate::GateSettings;
use baytrim_model::samples::Samples;
use baytrim_model::table::{BaseTable, TableContent};

/// A small job of plain facts.
pub(crate) struct Job {
    pub(crate) engine: Engine,
    pub(crate) axes: Axes,
    pub(crate) target: Vec<f64>,
    pub(crate) table: BaseTable,
    pub(crate) trim: Vec<f64>,
    pub(crate) gates: GateSettings,
}

impl Job {
    pub(crate) fn new() -> Self {
        let axes = Axes {
            rpm: Axis::new("rpm", vec![1000.0, 2500.0, 4000.0, 6000.0, 9000.0]).expect("sorted"),
            plate_percent: Axis::new("plate", vec![0.0, 5.0, 20.0, 50.0, 100.0]).expect("sorted"),
        };
        let nodes = axes.node_count();
        Self {
            engine: Engine {
                strokes: 4,
                displacement_cc: 650.0,
                cylinders: 2,
            },
            axes,
            target: vec![0.9; nodes],
            table: BaseTable {
                content: TableContent::Factor,
                resolution: 0.001,
                values: vec![1.0; nodes],
            },
            trim: vec![0.0; nodes],
            gates: GateSettings::default(),
        }
    }

    pub(crate) fn context(&self, evidence: EvidenceKind) -> PullContext<'_> {
        PullContext {
            engine: &self.engine,
            axes: &self.axes,
            target_lambda: &self.target,
            table: &self.table,
            trim_in_force: &self.trim,
            gates: &self.gates,
            delay: DelayChoice::Given(DelayModel {
                cycles: 1.0,
                gas_volume_l: 1.0,
                lag_s: 0.08,
            }),
            evidence,
        }
    }
}

pub(crate) fn samples(offset_s: Vec<f64>, channels: Vec<(Quantity, Vec<f64>)>) -> Samples {
    Samples {
        offset_s,
        channels: channels.into_iter().collect::<BTreeMap<_, _>>(),
    }
}

/// A hold at a node: `rows` rows at 50 Hz with one lambda.
pub(crate) fn hold(rows: usize, lambda: f64) -> Samples {
    samples(
        (0..rows).map(|row| row as f64 * 0.02).collect(),
        vec![
            (Quantity::EngineSpeed, vec![4000.0; rows]),
            (Quantity::PlateAngle, vec![20.0; rows]),
            (Quantity::Lambda, vec![lambda; rows]),
        ],
    )
}

//! Tables, fits and limits of every kind, wild ones included.

use baytrim_model::axis::{Axes, Axis};
use baytrim_model::limits::{Limits, Wall};
use baytrim_model::proposal::NodeChange;
use baytrim_model::table::{BaseTable, TableContent};
use proptest::prelude::*;

use super::super::{NodeEstimates, propose_nodes};

/// One question to the limiter.
#[derive(Debug, Clone)]
pub(super) struct Case {
    pub(super) axes: Axes,
    pub(super) table: BaseTable,
    pub(super) target_lambda: Vec<f64>,
    pub(super) limits: Limits,
    pub(super) head: Vec<f64>,
    pub(super) theta: Vec<f64>,
    pub(super) standard_error: Vec<f64>,
    pub(super) sensor_error: f64,
    pub(super) dwell_s: Vec<f64>,
    pub(super) visits: Vec<u32>,
    /// By node, whether it looks lean for another reason.
    pub(super) false_lean: Vec<bool>,
    /// One-sided normal quantile of the limits' lean confidence.
    pub(super) quantile: f64,
}

impl Case {
    pub(super) fn propose(&self) -> Vec<NodeChange> {
        self.try_propose().expect("the case is in range")
    }

    pub(super) fn try_propose(&self) -> Result<Vec<NodeChange>, super::super::LimitError> {
        let measured_fraction = vec![0.5; self.theta.len()];
        let estimates = NodeEstimates {
            theta: &self.theta,
            standard_error: &self.standard_error,
            sensor_error: self.sensor_error,
            dwell_s: &self.dwell_s,
            visits: &self.visits,
            measured_fraction: &measured_fraction,
            false_lean: &self.false_lean,
            least_fuel: &[],
        };
        propose_nodes(
            &self.axes,
            &self.table,
            &self.target_lambda,
            &self.limits,
            &self.head,
            &estimates,
        )
    }

    pub(super) fn node_count(&self) -> usize {
        self.head.len()
    }

    /// Returns the fuel of a table value over the base table's, at a node.
    pub(super) fn factor(&self, node: usize, value: f64) -> f64 {
        self.table.content.fuel(value) / self.table.content.fuel(self.table.values[node])
    }
}

/// Returns axes of `speeds` x `plates` nodes.
pub(super) fn axes(speeds: usize, plates: usize) -> Axes {
    let axis = |name, count: usize, step: f64| {
        let points = (1..=count).map(|index| index as f64 * step).collect();
        Axis::new(name, points).expect("the points increase")
    };
    Axes {
        rpm: axis("rpm", speeds, 1000.0),
        plate_percent: axis("plate", plates, 5.0),
    }
}

/// Lean confidences and their quantiles (Wichura's AS 241, as Python's `statistics` has it).
const QUANTILES: [(f64, f64); 4] = [
    (0.5, 0.0),
    (0.9, 1.281_551_565_544_600_8),
    (0.95, 1.644_853_626_951_471_5),
    (0.999, 3.090_232_306_167_813),
];

fn content() -> impl Strategy<Value = TableContent> {
    prop_oneof![
        Just(TableContent::Percent),
        Just(TableContent::Factor),
        Just(TableContent::VolumetricEfficiency),
        Just(TableContent::EffectiveTimeMs),
        Just(TableContent::TotalTimeMs { dead_time_ms: 0.9 }),
    ]
}

fn limits() -> impl Strategy<Value = (Limits, f64)> {
    let walls = prop::collection::vec((0.0..9000.0, 0.0..40.0, 0.8..1.3), 0..3);
    (
        (0.1..50.0, 0.1..100.0, 0.1..60.0),
        prop_oneof![Just(0.0), 0.0..3.0],
        (0.8..1.6, walls),
        0..QUANTILES.len(),
        (0.5..20.0, 0..3_u32, any::<bool>()),
    )
        .prop_map(|(ranges, deadband, (leanest, walls), quantile, gates)| {
            let (lean_confidence, z) = QUANTILES[quantile];
            let walls = walls.into_iter().map(|(rpm_min, plate, lambda_max)| Wall {
                rpm_min,
                rpm_max: 1e9,
                plate_percent_min: plate,
                plate_percent_max: 1e9,
                lambda_max,
            });
            let limits = Limits {
                step_percent: ranges.0,
                total_percent: ranges.1,
                neighbour_percent: ranges.2,
                deadband_percent: deadband,
                leanest_lambda: leanest,
                walls: walls.collect(),
                lean_confidence,
                standard_error_percent_max: gates.0,
                visits_min: gates.1,
                borrowed_changes: gates.2,
            };
            (limits, z)
        })
}

#[derive(Debug, Clone)]
struct NodeCase {
    base_fuel: f64,
    head_change: f64,
    off_step: bool,
    theta: f64,
    standard_error: f64,
    dwell_s: f64,
    visits: u32,
    false_lean: bool,
    target_lambda: f64,
}

fn node_case() -> impl Strategy<Value = NodeCase> {
    let base_fuel = 0.3..3.0;
    let head = (
        prop_oneof![3 => Just(0.0), 3 => -0.1..0.1, 1 => -0.7..0.7],
        any::<bool>(),
    );
    let theta = prop_oneof![
        8 => -0.4..0.4,
        2 => -0.03..0.03,
        1 => Just(0.0),
        1 => prop_oneof![Just(1e6), Just(-1e6), Just(1e-300), -50.0..50.0],
    ];
    let error = prop_oneof![1 => Just(0.0), 8 => 0.0..0.04, 1 => 0.0..2.0, 1 => Just(1e6)];
    let visited = (
        prop_oneof![1 => Just(0.0), 5 => 0.01..30.0],
        0..6_u32,
        prop::bool::weighted(0.1),
    );
    (base_fuel, head, theta, error, visited, 0.75..1.1).prop_map(
        |(base_fuel, head, theta, standard_error, visited, target_lambda)| NodeCase {
            base_fuel,
            head_change: head.0,
            off_step: head.1,
            theta,
            standard_error,
            dwell_s: visited.0,
            visits: visited.1,
            false_lean: visited.2,
            target_lambda,
        },
    )
}

fn build(
    (content, steps_per_unit): (TableContent, f64),
    (speeds, plates): (usize, usize),
    (limits, quantile): (Limits, f64),
    sensor_error: f64,
    nodes: &[NodeCase],
) -> Case {
    let axes = axes(speeds, plates);
    let nodes = &nodes[..axes.node_count()];
    // A resolution of one hundredth, say, is one percent of fuel where the base asks for 1.
    let scale = (content.value(1.5) - content.value(0.5)).abs();
    let resolution = (scale / steps_per_unit).min(10.0);
    let list = |of: &dyn Fn(&NodeCase) -> f64| nodes.iter().map(of).collect::<Vec<f64>>();
    let head = list(&|node| {
        let value = content.value(node.base_fuel * node.head_change.exp());
        let rounded = (value / resolution).round() * resolution;
        if node.off_step || content.fuel(rounded) < 0.05 {
            value
        } else {
            rounded
        }
    });
    Case {
        table: BaseTable {
            content,
            resolution,
            values: list(&|node| content.value(node.base_fuel)),
        },
        target_lambda: list(&|node| node.target_lambda),
        limits,
        head,
        theta: list(&|node| node.theta),
        standard_error: list(&|node| node.standard_error),
        sensor_error,
        dwell_s: list(&|node| node.dwell_s),
        visits: nodes.iter().map(|node| node.visits).collect(),
        false_lean: nodes.iter().map(|node| node.false_lean).collect(),
        quantile,
        axes,
    }
}

/// Returns cases on tables of up to `most` x `most` nodes.
pub(super) fn any_case(most: usize) -> impl Strategy<Value = Case> {
    sized_case(most, &[10_000.0, 1000.0, 64.0, 8.0, 0.7])
}

/// Returns cases whose tables store one of `steps` steps in a unit of fuel.
pub(super) fn sized_case(most: usize, steps: &'static [f64]) -> impl Strategy<Value = Case> {
    (
        (content(), prop::sample::select(steps)),
        (2..=most, 2..=most),
        limits(),
        prop_oneof![Just(0.0), Just(0.01), 0.0..0.2],
        prop::collection::vec(node_case(), most * most),
    )
        .prop_map(|(table, size, limits, sensor, nodes)| build(table, size, limits, sensor, &nodes))
}

/// Returns cases of 3 x 2 nodes with few rungs each, all nodes of which may be tried exhaustively.
pub(super) fn small_case() -> impl Strategy<Value = Case> {
    let nodes = prop::collection::vec(node_case(), 6);
    let steps = prop_oneof![Just(20.0), Just(16.0)];
    (content(), steps, limits(), 0.3..12.0, nodes).prop_map(
        |(content, steps, (mut limits, z), neighbour, mut nodes)| {
            limits.step_percent = limits.step_percent.min(15.0);
            limits.neighbour_percent = neighbour;
            limits.visits_min = 0;
            limits.leanest_lambda = 1.6;
            for node in &mut nodes {
                node.standard_error = node.standard_error.min(0.02);
                node.base_fuel = 0.9 + node.base_fuel / 15.0;
            }
            build((content, steps), (3, 2), (limits, z), 0.0, &nodes)
        },
    )
}

//! An engine whose truth is known.

mod draw;

use std::collections::BTreeMap;

use baytrim_model::axis::Axes;
use baytrim_model::bay::{BaySetup, DelayModel};
use baytrim_model::engine::{Engine, Fuel};
use baytrim_model::gate::GateSettings;
use baytrim_model::ids::JobId;
use baytrim_model::job::JobSpec;
use baytrim_model::limits::{Limits, Wall};
use baytrim_model::power::PowerSettings;
use baytrim_model::table::{BaseTable, TableContent};

use crate::air::AirModel;
use crate::bay::{BayOptions, SensorPlace};
use crate::ecu::EcuHabits;
use crate::grid::{hat_weights, read};
use crate::noise::NoiseSizes;
use crate::surface::NeedSurface;

/// What may be fixed of an engine; everything else comes from its seed.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TruthOptions {
    /// What the table holds; drawn when none.
    pub content: Option<TableContent>,
    /// Root mean square of the fuel need in percent; 6 to 12 drawn when none.
    pub surface_rms_percent: Option<f64>,
    /// Number of cylinders; drawn when none.
    pub cylinders: Option<u8>,
    /// Swept volume in cubic centimetres; drawn when none.
    pub displacement_cc: Option<f64>,
    /// Axes; 14 speeds by 12 plates drawn when none.
    pub axes: Option<Axes>,
    /// Wall film; X of 0.1 to 0.35 and tau of 0.2 to 0.7 s drawn when none.
    pub film: Option<FilmFacts>,
    /// Share of the wall film's error that the controller removes; 0.3 to 0.8 drawn when none.
    pub film_compensation: Option<f64>,
    /// Whether the controller trims lambda to target by its own sensor at light load, and logs its trims.
    pub closed_loop: bool,
    /// How much of what a bilinear table gets wrong of the engine's breathing between its nodes
    /// comes on top of the need there, 0 (none: the controller knows better) to 1 (all).
    /// Nodes are not touched by it.
    pub between_nodes: f64,
}

/// Wall film of a warm engine.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FilmFacts {
    /// Share X of the injected fuel that lands on the wall, warm.
    pub wall_share: f64,
    /// Time constant tau of the film, warm, seconds.
    pub tau_s: f64,
}

/// Gas volumes from valve to sensor in litres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PipeFacts {
    /// To the header's sensor, 0.3 to 1.5.
    pub header_l: f64,
    /// To the tailpipe's sensor, 2 to 6.
    pub tailpipe_l: f64,
    /// Share of the volume that mixes instead of flowing as a plug.
    pub mixing_share: f64,
    /// Working cycles from drawing the charge to letting its exhaust out.
    pub cycles: f64,
}

/// An engine whose truth is known.
#[derive(Debug, Clone, PartialEq)]
pub struct EngineTruth {
    /// Engine facts.
    pub engine: Engine,
    /// Fuel in the tank.
    pub fuel: Fuel,
    /// The table's axes.
    pub axes: Axes,
    /// The table that came with the vehicle.
    pub table: BaseTable,
    /// Lambda wanted at each node, in node order.
    pub target_lambda: Vec<f64>,
    /// The true fuel need.
    pub surface: NeedSurface,
    /// How the engine breathes.
    pub air: AirModel,
    /// What its controller does.
    pub ecu: EcuHabits,
    /// Its wall film.
    pub film: FilmFacts,
    /// Its exhaust.
    pub pipe: PipeFacts,
    /// Its noise.
    pub noise: NoiseSizes,
    /// Factor on phi of each cylinder; their mean is 1.
    pub cylinder_phi: Vec<f64>,
    /// Idle speed, rpm.
    pub idle_rpm: f64,
    /// See [`TruthOptions::between_nodes`].
    pub between_nodes: f64,
    /// Volumetric efficiency at each node, ratio, in node order.
    pub node_filling: Vec<f64>,
}

impl EngineTruth {
    /// Returns the engine of `seed`.
    ///
    /// # Panics
    /// When zero cylinders are asked for.
    pub fn from_seed(seed: u64, options: &TruthOptions) -> Self {
        draw::engine(seed, options)
    }

    /// Returns the table's axes.
    pub fn axes(&self) -> &Axes {
        &self.axes
    }

    /// Returns, per node, the log of the fuel multiplier that the base table needs there.
    pub fn theta_at_nodes(&self) -> Vec<f64> {
        (0..self.axes.node_count())
            .map(|node| {
                let (rpm, plate_percent) = self.axes.position(node);
                self.need_at(rpm, plate_percent)
            })
            .collect()
    }

    /// Returns the log of the fuel multiplier that the base table needs at a point.
    pub fn need_at(&self, rpm: f64, plate_percent: f64) -> f64 {
        let need = self.surface.at(rpm, plate_percent);
        if self.between_nodes == 0.0 {
            return need;
        }
        let corner = hat_weights(&self.axes, rpm, plate_percent);
        let known = read(&self.node_filling, &corner);
        // At a table's edge the table holds, so the breathing is taken there as well.
        let (speeds, plates) = (&self.axes.rpm, &self.axes.plate_percent);
        let breathed = self.air.filling(
            rpm.clamp(speeds.first(), speeds.last()),
            plate_percent.clamp(plates.first(), plates.last()),
        );
        need + self.between_nodes * libm::log(breathed / known)
    }

    /// Returns root mean square and largest difference, in log units, between the true need in the
    /// middle of each cell and what its four nodes say there: what no table of these axes can do right.
    pub fn curvature_between_nodes(&self) -> (f64, f64) {
        let theta = self.theta_at_nodes();
        let middles = |breakpoints: &[f64]| -> Vec<f64> {
            breakpoints
                .windows(2)
                .map(|pair| 0.5 * (pair[0] + pair[1]))
                .collect()
        };
        let speeds = middles(self.axes.rpm.breakpoints());
        let differences: Vec<f64> = middles(self.axes.plate_percent.breakpoints())
            .into_iter()
            .flat_map(|plate| speeds.iter().map(move |&rpm| (rpm, plate)))
            .map(|(rpm, plate)| {
                let between = read(&theta, &hat_weights(&self.axes, rpm, plate));
                self.need_at(rpm, plate) - between
            })
            .collect();
        let square = differences.iter().map(|x| x * x).sum::<f64>();
        let largest = differences.iter().map(|x| x.abs()).fold(0.0, f64::max);
        (libm::sqrt(square / differences.len() as f64), largest)
    }

    /// Returns the base table with the fuel of every node multiplied by `exp(log_trim)`, unrounded.
    pub fn trimmed_values(&self, log_trim: &[f64]) -> Vec<f64> {
        let content = self.table.content;
        self.table
            .values
            .iter()
            .zip(log_trim)
            .map(|(&value, &trim)| content.value(content.fuel(value) * libm::exp(trim)))
            .collect()
    }

    /// Returns the delay that a perfect identification would come near to. Cycles count from the
    /// reading of the table, with half a firing interval for the step that each firing makes; plug and
    /// mixing volume are one volume, cover and cell one lag.
    pub fn delay_model(&self, bay: &BayOptions) -> DelayModel {
        DelayModel {
            cycles: self.pipe.cycles
                + self.ecu.lead_cycles
                + 0.5 / f64::from(self.engine.cylinders),
            gas_volume_l: self.gas_volume_l(bay.place),
            lag_s: bay.lag_s + bay.cover_s,
        }
    }

    /// Returns the gas volume from valve to sensor in litres.
    pub fn gas_volume_l(&self, place: SensorPlace) -> f64 {
        match place {
            SensorPlace::Header => self.pipe.header_l,
            SensorPlace::Tailpipe => self.pipe.tailpipe_l,
        }
    }

    /// Returns a complete, valid job for this engine with the bays `east` and `west`, which identify their delay.
    pub fn job_spec(&self, id: JobId) -> JobSpec {
        let bays = ["east", "west"]
            .into_iter()
            .filter_map(|name| Some((name.parse().ok()?, BaySetup::default())))
            .collect::<BTreeMap<_, _>>();
        JobSpec {
            title: format!("Simulated engine {id}"),
            id,
            notes: "Invented: made by a simulator.".to_owned(),
            vehicle: None,
            engine: self.engine.clone(),
            fuel: self.fuel.clone(),
            axes: self.axes.clone(),
            table: self.table.clone(),
            target_lambda: self.target_lambda.clone(),
            limits: Limits {
                walls: vec![Wall {
                    rpm_min: 0.0,
                    rpm_max: 1e9,
                    plate_percent_min: 60.0,
                    plate_percent_max: 1e9,
                    lambda_max: 0.95,
                }],
                ..Limits::default()
            },
            gates: GateSettings::default(),
            power: PowerSettings::default(),
            overrun: None,
            secondary_air: None,
            bays,
            grip: BTreeMap::new(),
        }
    }
}

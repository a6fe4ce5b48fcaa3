//! An engine whose truth is known.

use std::collections::BTreeMap;

use baytrim_model::axis::{Axes, Axis};
use baytrim_model::bay::{BaySetup, DelayModel};
use baytrim_model::engine::{Engine, Fuel};
use baytrim_model::gate::GateSettings;
use baytrim_model::ids::JobId;
use baytrim_model::job::JobSpec;
use baytrim_model::limits::{Limits, Wall};
use baytrim_model::table::{BaseTable, TableContent};

use crate::air::AirModel;
use crate::bay::{BayOptions, SensorPlace};
use crate::ecu::EcuHabits;
use crate::grid::{hat_weights, read};
use crate::noise::NoiseSizes;
use crate::random::{Dice, Purpose};
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
    /// Share of the wall film's error that the controller removes; 0.3 to 0.8 drawn when none.
    pub film_compensation: Option<f64>,
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
}

impl EngineTruth {
    /// Returns the engine of `seed`.
    ///
    /// # Panics
    /// When `options.axes` has a plate axis outside 0 to 100 percent or zero cylinders are asked for.
    pub fn from_seed(seed: u64, options: &TruthOptions) -> Self {
        let mut dice = Dice::new(seed, Purpose::Engine);
        let drawn_cylinders = [1, 2, 2, 3, 4, 4][dice.index(6)];
        let cylinders = options.cylinders.unwrap_or(drawn_cylinders);
        assert!(cylinders > 0, "an engine has cylinders");
        let drawn_cc = libm::round(dice.uniform(300.0, 1300.0));
        let displacement_cc = options.displacement_cc.unwrap_or(drawn_cc);
        let axes = draw_axes(&mut dice, displacement_cc / f64::from(cylinders));
        let axes = options.axes.clone().unwrap_or(axes);
        let (rpm_first, rpm_last) = (axes.rpm.first(), axes.rpm.last());
        let air = AirModel::draw(&mut dice, displacement_cc / 1000.0, rpm_last);
        let idle_rpm = rpm_first * dice.uniform(1.05, 1.2);
        let mut ecu = EcuHabits::draw(&mut dice, idle_rpm, rpm_last);
        if let Some(compensation) = options.film_compensation {
            ecu.film_compensation = compensation;
        }
        let film = FilmFacts {
            wall_share: dice.uniform(0.10, 0.35),
            tau_s: dice.uniform(0.2, 0.7),
        };
        let pipe = PipeFacts {
            header_l: dice.uniform(0.3, 1.5),
            tailpipe_l: dice.uniform(2.0, 6.0),
            mixing_share: dice.uniform(0.1, 0.25),
            cycles: dice.uniform(1.0, 1.5),
        };
        let noise = NoiseSizes::draw(&mut dice);
        let cylinder_phi = draw_cylinders(&mut dice, cylinders);
        let drawn_content = [
            TableContent::Factor,
            TableContent::Percent,
            TableContent::VolumetricEfficiency,
            TableContent::EffectiveTimeMs,
            TableContent::TotalTimeMs { dead_time_ms: 0.9 },
        ][dice.index(5)];
        let target_lambda = target(&axes);
        let mut surface_dice = Dice::new(seed, Purpose::Surface);
        let drawn_rms = surface_dice.uniform(6.0, 12.0);
        let rms = options.surface_rms_percent.unwrap_or(drawn_rms) / 100.0;
        let surface = NeedSurface::draw(&mut surface_dice, (rpm_first, rpm_last), rms);
        let content = options.content.unwrap_or(drawn_content);
        let table = base_table(content, &axes, &air, &surface, &target_lambda);
        Self {
            engine: Engine {
                strokes: 4,
                displacement_cc,
                cylinders,
            },
            fuel: Fuel {
                name: "petrol E5".to_owned(),
                stoichiometric_afr: 14.29,
            },
            axes,
            table,
            target_lambda,
            surface,
            air,
            ecu,
            film,
            pipe,
            noise,
            cylinder_phi,
            idle_rpm,
        }
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
                self.surface.at(rpm, plate_percent)
            })
            .collect()
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
                self.surface.at(rpm, plate) - between
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

    /// Returns the delay that a perfect identification would come near to: plug and mixing volume
    /// as one volume, cover and cell as one lag.
    pub fn delay_model(&self, bay: &BayOptions) -> DelayModel {
        DelayModel {
            cycles: self.pipe.cycles,
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
            bays,
        }
    }
}

/// Returns 14 speeds up to what cylinders of this size turn, by 12 plates that lie dense below 15 %.
fn draw_axes(dice: &mut Dice, cylinder_cc: f64) -> Axes {
    // Small cylinders turn faster; about 14 000 rpm at 150 cc and 8 000 at 650 cc.
    let top = (17_500.0 - 1_350.0 * libm::cbrt(cylinder_cc) + dice.uniform(-700.0, 700.0))
        .clamp(6_000.0, 14_500.0);
    let top = libm::round(top / 250.0) * 250.0;
    let first = [1000.0, 1250.0, 1500.0][dice.index(3)];
    let rpm = (0..14)
        .map(|index| first + (top - first) * f64::from(index) / 13.0)
        .map(|value| libm::round(value / 50.0) * 50.0)
        .collect();
    let plate = vec![
        0.0, 2.0, 4.0, 7.0, 10.0, 15.0, 20.0, 30.0, 40.0, 60.0, 80.0, 100.0,
    ];
    Axes {
        rpm: Axis::new("rpm", rpm).expect("spread breakpoints increase"),
        plate_percent: Axis::new("plate", plate).expect("listed breakpoints increase"),
    }
}

fn draw_cylinders(dice: &mut Dice, cylinders: u8) -> Vec<f64> {
    let spread: Vec<f64> = (0..cylinders)
        .map(|_| 1.0 + 0.012 * dice.normal())
        .collect();
    let mean = spread.iter().sum::<f64>() / f64::from(cylinders);
    spread.iter().map(|factor| factor / mean).collect()
}

/// Returns lambda wanted per node: 0.94 at idle, 0.98 at part load, 0.88 wide open, in steps of 0.005.
fn target(axes: &Axes) -> Vec<f64> {
    (0..axes.node_count())
        .map(|node| {
            let (rpm, plate) = axes.position(node);
            let speed = rpm / axes.rpm.last();
            let load = ((plate - 12.0) / 55.0).clamp(0.0, 1.0);
            let idle = (1.0 - plate / 6.0).clamp(0.0, 1.0);
            let lambda = 0.985 - 0.095 * load - 0.045 * idle - 0.015 * speed * load;
            libm::round(lambda / 0.005) * 0.005
        })
        .collect()
}

/// Returns the table as it came: what the engine needs, less its error.
fn base_table(
    content: TableContent,
    axes: &Axes,
    air: &AirModel,
    surface: &NeedSurface,
    target: &[f64],
) -> BaseTable {
    let resolution = content.usual_resolution();
    let values = (0..axes.node_count())
        .map(|node| {
            let (rpm, plate) = axes.position(node);
            let needed = air.filling(rpm, plate) * libm::exp(-surface.at(rpm, plate));
            let fuel = match content {
                TableContent::Percent | TableContent::Factor => 1.0,
                TableContent::VolumetricEfficiency => 100.0 * needed,
                // Injectors that need 9 ms for full filling at lambda 0.88.
                TableContent::EffectiveTimeMs | TableContent::TotalTimeMs { .. } => {
                    9.0 * 0.88 * needed / target[node]
                }
            };
            libm::round(content.value(fuel) / resolution) * resolution
        })
        .collect();
    BaseTable {
        content,
        resolution,
        values,
    }
}

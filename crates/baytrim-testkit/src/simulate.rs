//! One pull of a known engine, firing by firing.

use std::collections::BTreeMap;

use baytrim_model::channel::Quantity;
use baytrim_model::samples::Samples;

use crate::bay::{BayOptions, SensorPlace};
use crate::drive::{self, Path, PullKind};
use crate::ecu::CutState;
use crate::exhaust::Pipe;
use crate::film::WallFilm;
use crate::grid::{hat_weights, read};
use crate::noise::PullNoise;
use crate::random::{Dice, Purpose};
use crate::sensor::{Meter, Sensor};
use crate::truth::EngineTruth;

/// Time step between firings in seconds.
const STEP_S: f64 = 0.0025;
/// Seconds driven before the log begins, so that film and pipe are settled.
const RUN_IN_S: f64 = 4.0;
/// Share of a spark-cut or misfired charge that the sensor still sees as burnt.
const UNBURNT_SEEN: f64 = 0.0;

/// What is true at each logged row; all lists have one length.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RowTruth {
    /// Log fuel need at the speed and plate of the row.
    pub need_log: Vec<f64>,
    /// Seconds since the charge was drawn whose gas arrives at the end of the plug flow.
    pub delay_s: Vec<f64>,
    /// Whether fuel or spark was cut at the row's time.
    pub cut: Vec<bool>,
    /// Log of the deliberate fuel factor in force.
    pub fuel_step_log: Vec<f64>,
}

/// A pull with its truth.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedPull {
    /// What the logger wrote.
    pub samples: Samples,
    /// What was true meanwhile.
    pub rows: RowTruth,
    /// Seconds of hat weight that the engine spent on each node while fuel burnt, in node order.
    pub visited_s: Vec<f64>,
    /// Offset of this pull in log units of lambda.
    pub pull_offset: f64,
}

/// Simulates one pull with `values_in_force` in the controller's table, in node order and table unit.
///
/// # Panics
/// When `values_in_force` has not one value per node.
pub fn simulate(
    truth: &EngineTruth,
    values_in_force: &[f64],
    kind: PullKind,
    seed: u64,
    bay: &BayOptions,
) -> SimulatedPull {
    let path = drive::path(truth, kind, seed);
    simulate_path(truth, values_in_force, &path, seed, bay)
}

/// Simulates one pull along a given path.
///
/// # Panics
/// When `values_in_force` has not one value per node, or the path is empty.
pub fn simulate_path(
    truth: &EngineTruth,
    values_in_force: &[f64],
    path: &Path,
    seed: u64,
    bay: &BayOptions,
) -> SimulatedPull {
    assert_eq!(
        values_in_force.len(),
        truth.axes.node_count(),
        "one table value per node"
    );
    assert!(!path.is_empty(), "a pull is driven somewhere");
    let mut run = Run::new(truth, values_in_force, path, seed, bay);
    let mut logger = Logger::new(truth, path, seed, bay);
    let steps = (path.duration_s() + RUN_IN_S) / STEP_S;
    let mut step = 0.0;
    while step <= steps {
        let now_s = step * STEP_S - RUN_IN_S;
        run.step(now_s);
        logger.follow(now_s, &mut run);
        step += 1.0;
    }
    SimulatedPull {
        samples: logger.samples,
        rows: logger.rows,
        visited_s: run.visited_s,
        pull_offset: run.noise.pull_offset(),
    }
}

/// The running engine.
struct Run<'a> {
    truth: &'a EngineTruth,
    values: &'a [f64],
    path: &'a Path,
    bay: &'a BayOptions,
    noise: PullNoise,
    films: Vec<WallFilm>,
    cuts: CutState,
    pipe: Pipe,
    sensor: Sensor,
    cycle: f64,
    firing_count: u64,
    sensor_phi: f64,
    flow_l_per_s: f64,
    coolant_c: f64,
    slow_offset: f64,
    misfire_until_s: f64,
    misfire_share: f64,
    visited_s: Vec<f64>,
}

impl<'a> Run<'a> {
    fn new(
        truth: &'a EngineTruth,
        values: &'a [f64],
        path: &'a Path,
        seed: u64,
        bay: &'a BayOptions,
    ) -> Self {
        let cylinders = truth.cylinder_phi.len();
        let (rpm, plate) = path.at(0.0);
        let gas_l = truth.gas_volume_l(bay.place);
        let mixing_l = gas_l * truth.pipe.mixing_share;
        let air = truth.air.air_g_per_cycle(rpm, plate) / cylinders as f64;
        let film = WallFilm::settled(
            air,
            truth.engine.cycle_s(rpm),
            truth.film.wall_share,
            truth.film.tau_s,
        );
        Self {
            truth,
            values,
            path,
            bay,
            noise: PullNoise::new(truth.noise.scaled(bay.noise_scale), cylinders, seed),
            films: vec![film; cylinders],
            cuts: CutState::default(),
            pipe: Pipe::new(gas_l - mixing_l, mixing_l, 1.0),
            sensor: Sensor::settled(1.0),
            cycle: 0.0,
            firing_count: 0,
            sensor_phi: 1.0,
            flow_l_per_s: 1.0,
            coolant_c: bay.coolant_start_c,
            slow_offset: 0.0,
            misfire_until_s: f64::NEG_INFINITY,
            misfire_share: 0.0,
            visited_s: vec![0.0; truth.axes.node_count()],
        }
    }

    fn step(&mut self, now_s: f64) {
        let truth = self.truth;
        let (rpm, plate) = self.path.at(now_s);
        self.cuts.follow(&truth.ecu, rpm, plate, STEP_S);
        if now_s > 0.0 {
            // The thermostat lets the coolant settle a little under 90 degrees.
            self.coolant_c += STEP_S / 110.0 * (89.0 - self.coolant_c);
        }
        self.slow_offset = self.noise.slow(now_s, STEP_S, rpm, plate);
        let filling = truth.air.filling(rpm, plate);
        self.misfire(now_s, filling);
        self.cycle += STEP_S * rpm / 120.0;
        let cylinders = truth.cylinder_phi.len() as f64;
        while self.firing_count as f64 <= self.cycle * cylinders {
            self.fire(now_s, rpm, filling);
            self.firing_count += 1;
        }
        let fired = !self.cuts.fuel_cut();
        let exhaust_k = truth.air.exhaust_k(rpm, filling, fired);
        let air_g = truth.air.air_g(filling);
        self.flow_l_per_s = truth.air.exhaust_l_per_s(rpm, air_g, exhaust_k);
        let gas_phi = self.pipe.advance(self.cycle, self.flow_l_per_s * STEP_S);
        self.sense(gas_phi, exhaust_k);
        if now_s >= 0.0 && fired {
            for (node, weight) in hat_weights(&truth.axes, rpm, plate) {
                self.visited_s[node] += weight * STEP_S;
            }
        }
    }

    /// Begins and ends bursts of misfire, about one in forty seconds of light load.
    fn misfire(&mut self, now_s: f64, filling: f64) {
        if now_s >= self.misfire_until_s {
            self.misfire_share = 0.0;
            let rate = if filling < 0.22 { 1.0 / 40.0 } else { 0.0 };
            if self.noise.chance(self.bay.misfire_scale * rate * STEP_S) {
                self.misfire_share = self.noise.uniform(0.1, 0.35);
                self.misfire_until_s = now_s + self.noise.uniform(0.3, 1.2);
            }
        }
    }

    /// Draws, fuels and burns one cylinder's charge.
    fn fire(&mut self, now_s: f64, rpm: f64, filling: f64) {
        let truth = self.truth;
        let cylinders = truth.cylinder_phi.len();
        let cylinder = usize::try_from(self.firing_count % cylinders as u64).unwrap_or(0);
        let cycle_s = truth.engine.cycle_s(rpm);
        let air_g = truth.air.air_g(filling) / cylinders as f64;
        let (wall_share, tau_s) = self.film_now(filling);
        let injected =
            if self.cuts.fuel_cut() || (self.shifting(now_s) && !truth.ecu.shift_cuts_spark) {
                0.0
            } else {
                let wanted = self.wanted_fuel(now_s - truth.ecu.lead_cycles * cycle_s, cylinder);
                self.films[cylinder].compensated(
                    wanted,
                    cycle_s,
                    wall_share,
                    tau_s,
                    truth.ecu.film_compensation,
                )
            };
        let reached = self.films[cylinder].cycle(injected, cycle_s, wall_share, tau_s);
        let noise = self.noise.firing(cylinder, filling) + self.slow_offset;
        let mut phi = reached / air_g * libm::exp(-noise);
        let spark_cut = self.shifting(now_s) && truth.ecu.shift_cuts_spark;
        if spark_cut || self.noise.chance(self.misfire_share) {
            phi *= UNBURNT_SEEN;
        }
        self.pipe.charge(now_s, self.cycle + truth.pipe.cycles, phi);
    }

    /// Returns wall share and time constant at this load and temperature.
    fn film_now(&self, filling: f64) -> (f64, f64) {
        let cold = ((80.0 - self.coolant_c) / 60.0).clamp(0.0, 1.2);
        let load = 0.85 + 0.3 * filling.min(1.0);
        let film = self.truth.film;
        (
            (film.wall_share * load * (1.0 + cold)).min(0.8),
            film.tau_s * load * (1.0 + 1.5 * cold),
        )
    }

    fn shifting(&self, now_s: f64) -> bool {
        now_s >= 0.0 && self.path.shift[self.path.index(now_s)]
    }

    /// Returns the fuel per charge that the controller asks for, in grams of air burnt at lambda 1.
    fn wanted_fuel(&self, at_s: f64, cylinder: usize) -> f64 {
        let truth = self.truth;
        let (rpm, plate) = self.path.at(at_s);
        let corner = hat_weights(&truth.axes, rpm, plate);
        let content = truth.table.content;
        let base = content.fuel(read(&truth.table.values, &corner));
        let in_force = content.fuel(read(self.values, &corner));
        let target = read(&truth.target_lambda, &corner);
        let air_g = truth.air.air_g_per_cycle(rpm, plate) / truth.cylinder_phi.len() as f64;
        let step = self.path.fuel_step_log[self.path.index(at_s)];
        let log = step + truth.ecu.warm_up(self.coolant_c) - truth.surface.at(rpm, plate);
        air_g / target * in_force / base * libm::exp(log) * truth.cylinder_phi[cylinder]
    }

    fn sense(&mut self, gas_phi: f64, exhaust_k: f64) {
        // False air dilutes: its share of the flow falls as 1 / flow.
        let air_share = (self.bay.leak_at_1_l_per_s / self.flow_l_per_s.max(0.2)).min(0.5);
        let diluted = gas_phi * (1.0 - air_share);
        // Pressure pushes readings away from 1; open pipes build up little of it.
        let gain = match self.bay.place {
            SensorPlace::Header => 0.0004,
            SensorPlace::Tailpipe => 0.0001,
        };
        let pressed = 1.0 + (diluted - 1.0) * (1.0 + gain * self.flow_l_per_s.min(60.0));
        let cold = ((850.0 - exhaust_k) / 1000.0).clamp(-0.25, 0.3);
        let lag_s = self.bay.lag_s * (1.0 + cold);
        self.sensor_phi = self.sensor.follow(pressed, STEP_S, self.bay.cover_s, lag_s);
    }
}

/// The logger of a bay.
struct Logger<'a> {
    truth: &'a EngineTruth,
    path: &'a Path,
    bay: &'a BayOptions,
    dice: Dice,
    meter: Meter,
    next_s: f64,
    samples: Samples,
    rows: RowTruth,
    steps_logged: bool,
}

impl<'a> Logger<'a> {
    fn new(truth: &'a EngineTruth, path: &'a Path, seed: u64, bay: &'a BayOptions) -> Self {
        let steps_logged = path.fuel_step_log.iter().any(|&step| step != 0.0);
        Self {
            truth,
            path,
            bay,
            dice: Dice::new(seed, Purpose::Logger),
            meter: Meter {
                lambda_min: bay.lambda_range.0,
                lambda_max: bay.lambda_range.1,
                step: bay.reading_step,
            },
            next_s: 0.0,
            samples: Samples {
                offset_s: Vec::new(),
                channels: BTreeMap::new(),
            },
            rows: RowTruth::default(),
            steps_logged,
        }
    }

    fn follow(&mut self, now_s: f64, run: &mut Run<'_>) {
        if now_s < self.next_s {
            return;
        }
        let interval_s = 1.0 / self.bay.rate_hz;
        let shake = (self.bay.jitter * self.dice.normal()).clamp(-0.4, 0.4);
        let offset_s = libm::round(now_s.max(0.0) * 1000.0) / 1000.0;
        self.next_s += interval_s;
        if self
            .samples
            .offset_s
            .last()
            .is_some_and(|&last| offset_s <= last)
        {
            return;
        }
        self.write(offset_s, now_s, run);
        // Shakes have mean 0: rows wander, the rate stays.
        self.next_s += shake * interval_s;
    }

    fn write(&mut self, offset_s: f64, now_s: f64, run: &mut Run<'_>) {
        let (rpm, plate) = self.path.at(now_s);
        let noise_on = self.bay.noise_scale;
        let rpm_read = rpm * (1.0 + 0.001 * noise_on * self.dice.normal());
        let plate_read = plate + 0.04 * noise_on * self.dice.normal();
        let lambda = self.lambda(offset_s, run);
        let shifting = run.shifting(now_s);
        self.samples.offset_s.push(offset_s);
        let mut put = |quantity, value: f64| {
            self.samples
                .channels
                .entry(quantity)
                .or_default()
                .push(value);
        };
        put(Quantity::EngineSpeed, libm::round(rpm_read));
        let plate_held = plate_read.clamp(0.0, 100.0);
        put(Quantity::PlateAngle, libm::round(plate_held * 10.0) / 10.0);
        put(Quantity::Lambda, lambda);
        let coolant = libm::round(run.coolant_c * 10.0) / 10.0;
        put(Quantity::CoolantTemperature, coolant);
        if self.bay.log_flags {
            put(Quantity::FuelCut, flag(run.cuts.fuel_cut()));
            put(Quantity::ShiftCut, flag(shifting));
            if self.bay.heating_s > 0.0 {
                put(Quantity::SensorReady, flag(offset_s >= self.bay.heating_s));
            }
        }
        let step_log = self.path.fuel_step_log[self.path.index(now_s)];
        if self.steps_logged {
            let percent = 100.0 * (libm::exp(step_log) - 1.0);
            put(Quantity::ShortTermTrim, libm::round(percent * 10.0) / 10.0);
        }
        self.rows.need_log.push(self.truth.surface.at(rpm, plate));
        self.rows.delay_s.push(now_s - run.pipe.arriving_drawn_s());
        self.rows.cut.push(run.cuts.fuel_cut() || shifting);
        self.rows.fuel_step_log.push(step_log);
    }

    /// Returns the lambda cell of a row; NaN while the sensor heats.
    fn lambda(&mut self, offset_s: f64, run: &mut Run<'_>) -> f64 {
        if offset_s < self.bay.heating_s {
            return f64::NAN;
        }
        let last = self
            .samples
            .channel(Quantity::Lambda)
            .and_then(<[f64]>::last);
        if self.dice.chance(self.bay.held_chance)
            && let Some(&held) = last
        {
            return held;
        }
        let bias = self.bay.bias_percent / 100.0;
        let drift = self.bay.drift_percent / 100.0 * offset_s / 600.0;
        self.meter
            .read(run.sensor_phi, bias + drift + run.noise.meter())
    }
}

fn flag(on: bool) -> f64 {
    f64::from(u8::from(on))
}

#[cfg(test)]
mod tests {
    use baytrim_model::channel::Quantity;

    use super::simulate_path;
    use crate::bay::BayOptions;
    use crate::drive::Path;
    use crate::grid::{hat_weights, read};
    use crate::truth::{EngineTruth, TruthOptions};

    /// The stated truth would not be the truth: a settled reading is target times exp(need).
    #[test]
    fn settled_lambda_is_target_times_need_over_trim() {
        for seed in 0..10 {
            let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
            let node = truth.axes.node(6, 6);
            let (rpm, plate) = truth.axes.position(node);
            let trim: Vec<f64> = (0..truth.axes.node_count()).map(|_| 0.05).collect();
            let mut path = Path::default();
            path.hold(rpm, plate, 6.0);
            let bay = BayOptions::default().silent();
            let pull = simulate_path(&truth, &truth.trimmed_values(&trim), &path, seed, &bay);
            let lambda = pull.samples.channel(Quantity::Lambda).expect("logged");
            let target = read(&truth.target_lambda, &hat_weights(&truth.axes, rpm, plate));
            let expected = target * libm::exp(truth.surface.at(rpm, plate) - 0.05);
            let got = lambda[lambda.len() - 1];
            // Cylinders differ: the sensor sees their ripple, a few parts in a thousand.
            assert!(
                (got / expected - 1.0).abs() < 0.006,
                "seed {seed}: {got} for {expected}"
            );
        }
    }
}

//! The running engine: from plate and speed to the sensor's current.

use super::STEP_S;
use crate::bay::{BayOptions, SensorPlace};
use crate::closed_loop::{FuelTrims, LoopInput};
use crate::drive::Path;
use crate::ecu::CutState;
use crate::exhaust::Pipe;
use crate::film::WallFilm;
use crate::grid::{hat_weights, read};
use crate::noise::PullNoise;
use crate::sensor::{Sensor, diluted_phi};
use crate::truth::EngineTruth;

/// A plate that moves no faster counts as quiet.
const QUIET_PERCENT_PER_S: f64 = 10.0;
/// Seconds of quiet plate, uncut, after which the engine counts as settled.
const SETTLE_S: f64 = 1.5;

/// The running engine.
pub(super) struct Run<'a> {
    truth: &'a EngineTruth,
    values: &'a [f64],
    path: &'a Path,
    bay: &'a BayOptions,
    pub(super) noise: PullNoise,
    films: Vec<WallFilm>,
    pub(super) cuts: CutState,
    pub(super) trims: FuelTrims,
    pub(super) pipe: Pipe,
    sensor: Sensor,
    cycle: f64,
    firing_count: u64,
    pub(super) sensor_phi: f64,
    flow_l_per_s: f64,
    pub(super) coolant_c: f64,
    slow_offset: f64,
    misfire_until_s: f64,
    misfire_share: f64,
    pub(super) visited_s: Vec<f64>,
    pub(super) settled_s: Vec<f64>,
    settled_since_s: f64,
}

impl<'a> Run<'a> {
    pub(super) fn new(
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
            trims: FuelTrims::default(),
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
            settled_s: vec![0.0; truth.axes.node_count()],
            settled_since_s: f64::INFINITY,
        }
    }

    pub(super) fn step(&mut self, now_s: f64) {
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
        self.sense(now_s, gas_phi, exhaust_k);
        if truth.ecu.closed_loop && now_s > 0.0 {
            self.trim(rpm, plate);
        }
        let quiet = fired && !self.shifting(now_s) && self.plate_rate(now_s) <= QUIET_PERCENT_PER_S;
        self.settled_since_s = if quiet {
            self.settled_since_s.min(now_s)
        } else {
            f64::INFINITY
        };
        if now_s >= 0.0 && fired {
            let settled = now_s - self.settled_since_s >= SETTLE_S;
            for (node, weight) in hat_weights(&truth.axes, rpm, plate) {
                self.visited_s[node] += weight * STEP_S;
                self.settled_s[node] += f64::from(u8::from(settled)) * weight * STEP_S;
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
        let read_s = now_s - truth.ecu.lead_cycles * cycle_s;
        let air_g = truth.air.air_g(filling) / cylinders as f64;
        let (wall_share, tau_s) = self.film_now(filling);
        let lost = cylinder == 0 && now_s >= self.bay.lost_cylinder_from_s;
        let injected = if lost
            || self.cuts.fuel_cut()
            || (self.shifting(now_s) && !truth.ecu.shift_cuts_spark)
        {
            0.0
        } else {
            let wanted = self.wanted_fuel(read_s, cylinder);
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
        if self.bay.purges(now_s) {
            phi *= 1.0 + self.bay.purge_fuel_share;
        }
        let spark_cut = self.shifting(now_s) && truth.ecu.shift_cuts_spark;
        if spark_cut || self.noise.chance(self.misfire_share) {
            phi *= self.bay.unburnt_seen;
        }
        self.pipe
            .charge(read_s, self.cycle + truth.pipe.cycles, phi);
    }

    /// Returns wall share and time constant at this load and temperature.
    fn film_now(&self, filling: f64) -> (f64, f64) {
        let cold = ((80.0 - self.coolant_c) / 60.0).clamp(0.0, 1.2);
        // Less sticks to the wall, and it leaves sooner, the lower the pressure behind the plate.
        let load = 0.7 + 0.5 * filling.min(1.0);
        let film = self.truth.film;
        (
            (film.wall_share * load * (1.0 + cold)).min(0.8),
            film.tau_s * load * (1.0 + 1.5 * cold),
        )
    }

    /// Returns how fast the plate moved over the last 0.2 s, percent a second.
    fn plate_rate(&self, now_s: f64) -> f64 {
        let window_s = 0.2;
        (self.path.at(now_s).1 - self.path.at(now_s - window_s).1).abs() / window_s
    }

    pub(super) fn shifting(&self, now_s: f64) -> bool {
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
        let log = step + truth.ecu.warm_up(self.coolant_c) - truth.need_at(rpm, plate);
        air_g / target * in_force / base
            * libm::exp(log)
            * self.trims.factor()
            * truth.cylinder_phi[cylinder]
    }

    /// Follows the vehicle's own sensor, which sits where the bay's does and is as quick.
    fn trim(&mut self, rpm: f64, plate: f64) {
        let corner = hat_weights(&self.truth.axes, rpm, plate);
        let input = LoopInput {
            plate_percent: plate,
            coolant_c: self.coolant_c,
            cut: self.cuts.fuel_cut(),
            phi: self.sensor_phi,
            target: read(&self.truth.target_lambda, &corner),
        };
        self.trims.follow(input, STEP_S);
    }

    fn sense(&mut self, now_s: f64, gas_phi: f64, exhaust_k: f64) {
        // False air comes in at an even rate: its share of the flow falls as 1 / flow.
        let leak_share = self.bay.leak_at_1_l_per_s / self.flow_l_per_s.max(0.2);
        let blown_share = if self.bay.blows_air(now_s) {
            self.bay.secondary_air_share
        } else {
            0.0
        };
        let air_share = (leak_share + blown_share).min(0.5);
        let diluted = diluted_phi(gas_phi, air_share);
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

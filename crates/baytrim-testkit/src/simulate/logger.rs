//! The logger of a bay: rows at its own pace, with its own faults.

use std::collections::BTreeMap;

use baytrim_model::channel::Quantity;
use baytrim_model::samples::Samples;

use super::RowTruth;
use super::run::Run;
use crate::bay::BayOptions;
use crate::drive::Path;
use crate::random::{Dice, Purpose};
use crate::sensor::Meter;
use crate::truth::EngineTruth;

/// The logger of a bay.
pub(super) struct Logger<'a> {
    truth: &'a EngineTruth,
    path: &'a Path,
    bay: &'a BayOptions,
    dice: Dice,
    meter: Meter,
    next_s: f64,
    pub(super) samples: Samples,
    pub(super) rows: RowTruth,
    steps_logged: bool,
}

impl<'a> Logger<'a> {
    pub(super) fn new(
        truth: &'a EngineTruth,
        path: &'a Path,
        seed: u64,
        bay: &'a BayOptions,
    ) -> Self {
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

    pub(super) fn follow(&mut self, now_s: f64, run: &mut Run<'_>) {
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
        if self.bay.log_mixture_flags {
            put(Quantity::SecondaryAir, flag(self.bay.blows_air(now_s)));
            put(Quantity::ClosedLoop, flag(run.trims.closed));
            put(
                Quantity::Purge,
                40.0 * flag(self.bay.purges(now_s.max(0.0))),
            );
        }
        if self.bay.log_surroundings {
            let share = plate_held / 100.0;
            put(
                Quantity::GripAngle,
                libm::round(1000.0 * libm::sqrt(share)) / 10.0,
            );
            put(
                Quantity::IntakeTemperature,
                24.0 + libm::round(offset_s / 120.0),
            );
            put(Quantity::AmbientPressure, 99.2);
        }
        let step_log = self.path.fuel_step_log[self.path.index(now_s)];
        let percent = |share: f64| libm::round(share * 1000.0) / 10.0;
        if self.steps_logged || self.truth.ecu.closed_loop {
            let short = libm::exp(step_log) * (1.0 + run.trims.short) - 1.0;
            put(Quantity::ShortTermTrim, percent(short));
        }
        if self.truth.ecu.closed_loop {
            put(Quantity::LongTermTrim, percent(run.trims.long));
        }
        self.rows.need_log.push(self.truth.need_at(rpm, plate));
        self.rows.delay_s.push(now_s - run.pipe.arriving_read_s());
        self.rows.cut.push(run.cuts.fuel_cut() || shifting);
        self.rows.fuel_step_log.push(step_log);
    }

    /// Returns the lambda cell of a row; what the meter shows then while the sensor heats.
    fn lambda(&mut self, offset_s: f64, run: &mut Run<'_>) -> f64 {
        if offset_s < self.bay.heating_s {
            return self.bay.heating_reads.unwrap_or(f64::NAN);
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

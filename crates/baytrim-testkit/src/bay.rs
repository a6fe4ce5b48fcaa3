//! A simulated bay: where its sensor sits and how it logs.

use crate::random::{Dice, Purpose};

/// Where the lambda sensor sits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SensorPlace {
    /// In the header, close to the valves.
    Header,
    /// In the tailpipe, litres of gas behind.
    Tailpipe,
}

/// A simulated bay with its sensor and logger.
#[derive(Debug, Clone, PartialEq)]
pub struct BayOptions {
    /// Where the sensor sits; the gas volume comes from the engine's exhaust.
    pub place: SensorPlace,
    /// Time constant of cell and meter at 850 K, seconds; 0.05 to 0.15 is usual.
    pub lag_s: f64,
    /// Time constant of the sensor's cover, seconds.
    pub cover_s: f64,
    /// Static error of the sensor, percent of lambda; no pull can see it.
    pub bias_percent: f64,
    /// Slow drift over ten minutes, percent of lambda.
    pub drift_percent: f64,
    /// Step of the lambda reading; 0 for none.
    pub reading_step: f64,
    /// Richest and leanest reading.
    pub lambda_range: (f64, f64),
    /// Factor on all noise: combustion, dwell episodes, pull offset, electronics; 0 for none.
    pub noise_scale: f64,
    /// Rows a second.
    pub rate_hz: f64,
    /// Standard deviation of the logging interval as a share of it.
    pub jitter: f64,
    /// Chance that a row repeats the lambda of the row before it.
    pub held_chance: f64,
    /// Whether fuel cut, shift cut and sensor readiness are logged.
    pub log_flags: bool,
    /// Coolant temperature at the start of the pull, degrees Celsius.
    pub coolant_start_c: f64,
    /// Seconds that the sensor still heats at the start of the pull.
    pub heating_s: f64,
    /// What the meter shows while the sensor heats; none for nothing.
    pub heating_reads: Option<f64>,
    /// Whether secondary air, closed loop and purge are logged.
    pub log_mixture_flags: bool,
    /// Seconds at the start of the pull for which fresh air is blown into the exhaust.
    pub secondary_air_until_s: f64,
    /// Volume share of that air in the exhaust.
    pub secondary_air_share: f64,
    /// Seconds from one purge of the canister to the next, each a third of it long; 0 for none.
    pub purge_every_s: f64,
    /// Fuel that the vapour adds, as a share of the engine's own.
    pub purge_fuel_share: f64,
    /// Factor on the rate of misfire bursts; 0 for none.
    pub misfire_scale: f64,
    /// Share of a misfired or spark-cut charge that the sensor sees as if it had burnt, 0 to 1.
    /// At 0 a misfire fraction f reads lambda / (1 - f); the truth lies between that and no error.
    pub unburnt_seen: f64,
    /// From when on the first cylinder gets no fuel, seconds into the pull; infinite for never.
    pub lost_cylinder_from_s: f64,
    /// Whether grip, intake temperature and ambient pressure are logged as well.
    pub log_surroundings: bool,
    /// Volume share of false air in the exhaust at a flow of 1 l/s; it falls as 1 / flow. 0 for a tight pipe.
    pub leak_at_1_l_per_s: f64,
}

impl Default for BayOptions {
    /// A good header sensor without bias at 20 Hz, warm engine, flags logged.
    fn default() -> Self {
        Self {
            place: SensorPlace::Header,
            lag_s: 0.09,
            cover_s: 0.015,
            bias_percent: 0.0,
            drift_percent: 0.1,
            reading_step: 0.001,
            lambda_range: (0.65, 1.8),
            noise_scale: 1.0,
            rate_hz: 20.0,
            jitter: 0.05,
            held_chance: 0.02,
            log_flags: true,
            coolant_start_c: 86.0,
            heating_s: 0.0,
            heating_reads: None,
            log_mixture_flags: false,
            secondary_air_until_s: 0.0,
            secondary_air_share: 0.06,
            purge_every_s: 0.0,
            purge_fuel_share: 0.08,
            misfire_scale: 1.0,
            unburnt_seen: 0.2,
            lost_cylinder_from_s: f64::INFINITY,
            log_surroundings: false,
            leak_at_1_l_per_s: 0.0,
        }
    }
}

impl BayOptions {
    /// Returns a bay drawn from `seed`: place, lag, rate, reading step, flags and a bias of about 1 %.
    pub fn from_seed(seed: u64) -> Self {
        let mut dice = Dice::new(seed, Purpose::Bay);
        Self {
            place: if dice.chance(0.5) {
                SensorPlace::Header
            } else {
                SensorPlace::Tailpipe
            },
            lag_s: dice.uniform(0.05, 0.15),
            cover_s: dice.uniform(0.008, 0.025),
            bias_percent: dice.normal(),
            drift_percent: 0.2 * dice.normal(),
            reading_step: [0.001, 0.0045, 0.01][dice.index(3)],
            rate_hz: [10.0, 20.0, 50.0, 100.0][dice.index(4)],
            jitter: dice.uniform(0.0, 0.1),
            held_chance: dice.uniform(0.0, 0.05),
            log_flags: dice.chance(0.7),
            ..Self::default()
        }
    }

    /// Returns whether fresh air is blown into the exhaust.
    pub fn blows_air(&self, now_s: f64) -> bool {
        (0.0..self.secondary_air_until_s).contains(&now_s)
    }

    /// Returns whether the canister is purged.
    pub fn purges(&self, now_s: f64) -> bool {
        self.purge_every_s > 0.0 && now_s.rem_euclid(self.purge_every_s) * 3.0 < self.purge_every_s
    }

    /// Returns the bay without any noise, drift, bias, misfire or logger's fault, for exact tests.
    #[must_use]
    pub fn silent(mut self) -> Self {
        self.noise_scale = 0.0;
        self.bias_percent = 0.0;
        self.drift_percent = 0.0;
        self.reading_step = 0.0;
        self.jitter = 0.0;
        self.held_chance = 0.0;
        self.misfire_scale = 0.0;
        self
    }
}

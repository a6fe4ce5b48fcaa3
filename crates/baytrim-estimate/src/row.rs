//! One row of a log, with every channel that the estimator reads.

use baytrim_model::channel::{EvidenceKind, Quantity};
use baytrim_model::samples::Samples;

/// One row; a channel without a reading is NaN.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// Seconds since the pull began.
    pub offset_s: f64,
    /// Engine speed.
    pub rpm: f64,
    /// Throttle plate opening in percent.
    pub plate_percent: f64,
    /// Lambda as read; of several sensors the mean, in phi, which is what their joined gas would read. NaN unless
    /// all of them read: a mean of fewer would jump where one falls out.
    pub lambda: f64,
    /// (1 + short-term trim) (1 + long-term trim), where trims were logged.
    pub closed_loop_factor: f64,
    /// Coolant temperature in degrees Celsius.
    pub coolant_c: f64,
    /// Fuel cut flag.
    pub fuel_cut: f64,
    /// Shift flag.
    pub shift_cut: f64,
    /// Sensor ready flag.
    pub sensor_ready: f64,
    /// Manifold over ambient pressure.
    pub pressure_ratio: f64,
    /// Flag of limiter, launch or traction control.
    pub torque_cut: f64,
    /// Secondary air flag.
    pub secondary_air: f64,
    /// Closed loop flag.
    pub closed_loop: f64,
    /// Purge in percent.
    pub purge_percent: f64,
    /// Grip opening in percent.
    pub grip_percent: f64,
}

/// The columns of a batch of samples, looked up once.
#[derive(Debug, Clone, Copy)]
pub struct Columns<'a> {
    offset_s: &'a [f64],
    rpm: Option<&'a [f64]>,
    plate: Option<&'a [f64]>,
    lambda: Option<&'a [f64]>,
    other_lambdas: [Option<&'a [f64]>; 3],
    short_trim: Option<&'a [f64]>,
    long_trim: Option<&'a [f64]>,
    coolant: Option<&'a [f64]>,
    fuel_cut: Option<&'a [f64]>,
    shift_cut: Option<&'a [f64]>,
    ready: Option<&'a [f64]>,
    manifold: Option<&'a [f64]>,
    ambient: Option<&'a [f64]>,
    torque_cut: Option<&'a [f64]>,
    secondary_air: Option<&'a [f64]>,
    closed_loop: Option<&'a [f64]>,
    purge: Option<&'a [f64]>,
    grip: Option<&'a [f64]>,
}

fn at(column: Option<&[f64]>, row: usize) -> f64 {
    column
        .and_then(|values| values.get(row))
        .copied()
        .unwrap_or(f64::NAN)
}

/// Returns the lambda of equal parts of gas: the inverse of their mean phi, NaN where one is no reading.
pub(crate) fn mean_lambda(lambdas: impl Iterator<Item = f64>) -> f64 {
    let (mut phi, mut count) = (0.0, 0.0);
    for lambda in lambdas {
        if !(lambda > 0.0 && lambda.is_finite()) {
            return f64::NAN;
        }
        phi += 1.0 / lambda;
        count += 1.0;
    }
    count / phi
}

impl<'a> Columns<'a> {
    /// Looks the columns of `samples` up.
    pub fn new(samples: &'a Samples) -> Self {
        Self {
            offset_s: &samples.offset_s,
            rpm: samples.channel(Quantity::EngineSpeed),
            plate: samples.channel(Quantity::PlateAngle),
            lambda: samples.channel(Quantity::Lambda),
            other_lambdas: [Quantity::Lambda2, Quantity::Lambda3, Quantity::Lambda4]
                .map(|quantity| samples.channel(quantity)),
            short_trim: samples.channel(Quantity::ShortTermTrim),
            long_trim: samples.channel(Quantity::LongTermTrim),
            coolant: samples.channel(Quantity::CoolantTemperature),
            fuel_cut: samples.channel(Quantity::FuelCut),
            shift_cut: samples.channel(Quantity::ShiftCut),
            ready: samples.channel(Quantity::SensorReady),
            manifold: samples.channel(Quantity::ManifoldPressure),
            ambient: samples.channel(Quantity::AmbientPressure),
            torque_cut: samples.channel(Quantity::TorqueCut),
            secondary_air: samples.channel(Quantity::SecondaryAir),
            closed_loop: samples.channel(Quantity::ClosedLoop),
            purge: samples.channel(Quantity::Purge),
            grip: samples.channel(Quantity::GripAngle),
        }
    }

    /// Returns the number of rows.
    pub fn len(&self) -> usize {
        self.offset_s.len()
    }

    /// Returns whether there are none.
    pub fn is_empty(&self) -> bool {
        self.offset_s.is_empty()
    }

    /// Returns what each lambda sensor reads in a row, NaN where one does not; none where it was not logged.
    pub fn lambdas(&self, row: usize) -> [Option<f64>; 4] {
        let [second, third, fourth] = self.other_lambdas;
        [self.lambda, second, third, fourth].map(|column| column.map(|_| at(column, row)))
    }

    fn lambda(&self, row: usize) -> f64 {
        if self.other_lambdas.iter().all(Option::is_none) {
            return at(self.lambda, row);
        }
        mean_lambda(self.lambdas(row).into_iter().flatten())
    }

    /// Returns row number `row`.
    pub fn row(&self, row: usize) -> Row {
        let factor = match (self.short_trim, self.long_trim) {
            (None, None) => f64::NAN,
            (short, long) => {
                let part = |column: Option<&[f64]>| match column {
                    Some(_) => 1.0 + at(column, row) / 100.0,
                    None => 1.0,
                };
                part(short) * part(long)
            }
        };
        let ambient = self.ambient.map_or(101.3, |_| at(self.ambient, row));
        Row {
            offset_s: self.offset_s[row],
            rpm: at(self.rpm, row),
            plate_percent: at(self.plate, row),
            lambda: self.lambda(row),
            closed_loop_factor: factor,
            coolant_c: at(self.coolant, row),
            fuel_cut: at(self.fuel_cut, row),
            shift_cut: at(self.shift_cut, row),
            sensor_ready: at(self.ready, row),
            pressure_ratio: at(self.manifold, row) / ambient,
            torque_cut: at(self.torque_cut, row),
            secondary_air: at(self.secondary_air, row),
            closed_loop: at(self.closed_loop, row),
            purge_percent: at(self.purge, row),
            grip_percent: at(self.grip, row),
        }
    }
}

impl Row {
    /// A row at time 0 without any reading.
    pub const EMPTY: Self = Self {
        offset_s: 0.0,
        rpm: f64::NAN,
        plate_percent: f64::NAN,
        lambda: f64::NAN,
        closed_loop_factor: f64::NAN,
        coolant_c: f64::NAN,
        fuel_cut: f64::NAN,
        shift_cut: f64::NAN,
        sensor_ready: f64::NAN,
        pressure_ratio: f64::NAN,
        torque_cut: f64::NAN,
        secondary_air: f64::NAN,
        closed_loop: f64::NAN,
        purge_percent: f64::NAN,
        grip_percent: f64::NAN,
    };

    /// Returns whether the row lacks a value that the evidence needs.
    pub fn lacks_reading(&self, evidence: EvidenceKind) -> bool {
        let usable = |value: f64| value.is_finite() && value > 0.0;
        let response = match evidence {
            EvidenceKind::Lambda => usable(self.lambda),
            EvidenceKind::Trims => usable(self.closed_loop_factor),
            EvidenceKind::LambdaAndTrims => usable(self.lambda) && usable(self.closed_loop_factor),
        };
        !(response && self.makes_exhaust())
    }

    /// Returns whether the row says where the engine ran.
    pub fn makes_exhaust(&self) -> bool {
        self.rpm.is_finite() && self.rpm > 0.0 && self.plate_percent.is_finite()
    }
}

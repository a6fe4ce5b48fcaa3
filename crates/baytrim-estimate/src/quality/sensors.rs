//! How far several lambda sensors of one engine are apart.

use baytrim_model::channel::Quantity;
use baytrim_model::pull::{PullWarning, SensorBand, SensorReading};

use crate::frame::Frame;
use crate::row::{Columns, Row, mean_lambda};

/// Bands of equal width that the table's speeds are divided into.
const BANDS: usize = 3;
/// Seconds in a band below which nothing is said of it.
const READ_S_MIN: f64 = 2.0;
/// Longest step between two rows that counts as time, seconds.
const STEP_S_MAX: f64 = 1.0;
/// Most rows of a band that are looked at: an hour at 25 Hz.
const ROWS_MAX: usize = 90_000;
/// Share of a sensor's range near whose ends it tells nothing of the mixture.
const END_SHARE: f64 = 0.98;
/// Distance of a sensor from the mean of all from which a shared table is worth a warning, percent: three times the
/// error of a new sensor.
const APART_PERCENT: f64 = 3.0;
/// A sensor that moves by less than this share of what the liveliest moves by is taken for stuck.
const FLAT_SHARE: f64 = 0.2;
/// Least movement of the liveliest sensor for that, 10th to 90th percentile, ln units.
const LIVELY_MIN: f64 = 0.04;

/// How far the sensors are apart, and what is to be said of it.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Apart {
    pub(crate) bands: Vec<SensorBand>,
    pub(crate) warnings: Vec<PullWarning>,
}

/// Returns how far the sensors of a log are apart; nothing for a log of one.
pub(crate) fn apart(frame: &Frame, columns: &Columns<'_>) -> Apart {
    let sensors = Quantity::LAMBDAS.into_iter().zip(columns.lambdas(0));
    let sensors: Vec<Quantity> = sensors
        .filter_map(|(sensor, reading)| reading.map(|_| sensor))
        .collect();
    if sensors.len() < 2 {
        return Apart::default();
    }
    let survey = Survey::new(frame, columns, sensors.len());
    let mut warnings = Vec::new();
    warnings.extend(flat(&sensors, &survey));
    let bands = survey.bands(&sensors);
    warnings.extend(wide(&bands));
    Apart { bands, warnings }
}

/// What was gathered of one band.
#[derive(Debug, Clone)]
struct Band {
    read_s: f64,
    /// ln of each sensor's lambda, row by row.
    readings: Vec<Vec<f64>>,
    /// ln of their mean.
    mean: Vec<f64>,
}

struct Survey {
    low_rpm: f64,
    width_rpm: f64,
    bands: Vec<Band>,
}

impl Survey {
    fn new(frame: &Frame, columns: &Columns<'_>, sensors: usize) -> Self {
        let (low_rpm, high_rpm) = (frame.axes.rpm.breakpoints()[0], frame.axes.rpm.last());
        let empty = Band {
            read_s: 0.0,
            readings: vec![Vec::new(); sensors],
            mean: Vec::new(),
        };
        let mut survey = Self {
            low_rpm,
            width_rpm: (high_rpm - low_rpm) / BANDS as f64,
            bands: vec![empty; BANDS],
        };
        let mut last_s = f64::NAN;
        for index in 0..columns.len() {
            let row = columns.row(index);
            let step_s = (row.offset_s - last_s).clamp(0.0, STEP_S_MAX);
            last_s = row.offset_s;
            let lambdas: Vec<f64> = columns.lambdas(index).into_iter().flatten().collect();
            if tells(frame, &row, &lambdas) {
                survey.add(&row, &lambdas, if step_s.is_nan() { 0.0 } else { step_s });
            }
        }
        survey
    }

    fn add(&mut self, row: &Row, lambdas: &[f64], step_s: f64) {
        let from = |place: usize| self.low_rpm + self.width_rpm * place as f64;
        let Some(place) = (0..BANDS).rev().find(|&place| row.rpm >= from(place)) else {
            return;
        };
        let band = &mut self.bands[place];
        band.read_s += step_s;
        if band.mean.len() < ROWS_MAX {
            band.mean.push(mean_lambda(lambdas.iter().copied()).ln());
            for (readings, lambda) in band.readings.iter_mut().zip(lambdas) {
                readings.push(lambda.ln());
            }
        }
    }

    fn bands(&self, sensors: &[Quantity]) -> Vec<SensorBand> {
        let reading = |band: &Band, place: usize| {
            let pairs = band.readings[place].iter().zip(&band.mean);
            let away = pairs.map(|(own, mean)| own - mean).collect();
            SensorReading {
                sensor: sensors[place],
                percent: 100.0 * quantile(away, 5).exp_m1(),
            }
        };
        let read = |(_, band): &(usize, &Band)| band.read_s >= READ_S_MIN && !band.mean.is_empty();
        self.bands
            .iter()
            .enumerate()
            .filter(read)
            .map(|(place, band)| SensorBand {
                from_rpm: self.low_rpm + self.width_rpm * place as f64,
                to_rpm: self.low_rpm + self.width_rpm * (place + 1) as f64,
                read_s: band.read_s,
                leaner: (0..sensors.len())
                    .map(|place| reading(band, place))
                    .collect(),
            })
            .collect()
    }
}

/// Returns whether all sensors of a row tell the mixture of a working engine.
fn tells(frame: &Frame, row: &Row, lambdas: &[f64]) -> bool {
    let (low, high) = (frame.gates.sensor_lambda_min, frame.gates.sensor_lambda_max);
    let inside = |lambda: &f64| (low / END_SHARE..high * END_SHARE).contains(lambda);
    row.makes_exhaust()
        && (row.fuel_cut.is_nan() || row.fuel_cut < 0.5)
        && lambdas.iter().all(inside)
}

fn quantile(mut values: Vec<f64>, tenths: usize) -> f64 {
    let place = (values.len() - 1) * tenths / 10;
    *values.select_nth_unstable_by(place, f64::total_cmp).1
}

/// A sensor that stands still while another follows the mixture.
fn flat(sensors: &[Quantity], survey: &Survey) -> Option<PullWarning> {
    let moves = |place: usize| {
        let bands = survey.bands.iter();
        let all: Vec<f64> = bands
            .flat_map(|band| band.readings[place].iter().copied())
            .collect();
        let span = !all.is_empty();
        span.then(|| quantile(all.clone(), 9) - quantile(all, 1))
    };
    let moves: Option<Vec<f64>> = (0..sensors.len()).map(moves).collect();
    let moves = moves?;
    let liveliest = moves.iter().copied().fold(0.0, f64::max);
    let stuck = moves.iter().position(|&own| own < FLAT_SHARE * liveliest)?;
    (liveliest > LIVELY_MIN).then(|| PullWarning {
        code: "lambda_sensor_flat".to_owned(),
        message: format!(
            "{} hardly moves while another lambda sensor does; check it, its heater and its wiring, or leave it out of the channel map",
            sensors[stuck]
        ),
    })
}

/// Sensors that are too far apart for one table to suit what each of them sees.
fn wide(bands: &[SensorBand]) -> Option<PullWarning> {
    let all = bands
        .iter()
        .flat_map(|band| band.leaner.iter().map(move |reading| (band, reading)));
    let (band, widest) =
        all.max_by(|(_, a), (_, b)| a.percent.abs().total_cmp(&b.percent.abs()))?;
    let direction = if widest.percent > 0.0 {
        "leaner"
    } else {
        "richer"
    };
    (widest.percent.abs() > APART_PERCENT).then(|| PullWarning {
        code: "lambda_sensors_apart".to_owned(),
        message: format!(
            "{} reads {:.1} % {direction} than the mean of the lambda sensors between {:.0} and {:.0} rpm; exchange two sensors to see whether sensors or cylinders differ; where cylinders do, give each bank a job of its own",
            widest.sensor,
            widest.percent.abs(),
            band.from_rpm,
            band.to_rpm
        ),
    })
}

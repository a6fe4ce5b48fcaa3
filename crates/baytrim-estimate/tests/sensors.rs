//! Logs with several lambda sensors of one engine.

use baytrim_estimate::{FitSettings, PullContext, PullReading, fit, read_pull};
use baytrim_model::bay::DelayChoice;
use baytrim_model::channel::Quantity;
use baytrim_model::samples::Samples;
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::simulate;
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

struct House {
    truth: EngineTruth,
    bay: BayOptions,
    one: Samples,
}

impl House {
    fn new() -> Self {
        let truth = EngineTruth::from_seed(11, &TruthOptions::default());
        let bay = BayOptions::default();
        let one = simulate(&truth, &truth.table.values, PullKind::Mixed, 1, &bay).samples;
        Self { truth, bay, one }
    }

    /// The log as two sensors would have it, each in half of the gas, `apart` in phi from their mean.
    fn two(&self, apart: impl Fn(f64) -> f64) -> Samples {
        let mut two = self.one.clone();
        let rpm = self.one.channel(Quantity::EngineSpeed).expect("logged");
        let lambda = self.one.channel(Quantity::Lambda).expect("logged");
        let bank = |sign: f64| -> Vec<f64> {
            let pairs = lambda.iter().zip(rpm);
            pairs
                .map(|(lambda, rpm)| lambda / (1.0 + sign * apart(*rpm)))
                .collect()
        };
        two.channels.insert(Quantity::Lambda, bank(1.0));
        two.channels.insert(Quantity::Lambda2, bank(-1.0));
        two
    }

    fn read(&self, samples: &Samples) -> PullReading {
        let zeros = vec![0.0; self.truth.axes.node_count()];
        let spec = self.truth.job_spec("two".parse().expect("a name"));
        let context = PullContext {
            delay: DelayChoice::Given(self.truth.delay_model(&self.bay)),
            ..PullContext::of_job(&spec, &zeros)
        };
        read_pull(samples, &context).expect("shapes fit")
    }

    fn theta(&self, reading: &PullReading) -> Vec<f64> {
        let pulls = [&reading.evidence];
        let found = fit(&self.truth.axes, &pulls, &FitSettings::default());
        found.expect("solvable").theta
    }
}

/// If this fails, a shared table is fitted to something else than the gas of all cylinders: halves of the gas average
/// in phi, so two sensors either side of it must give the correction that one sensor behind both gives.
#[test]
fn two_sensors_give_the_correction_of_their_mean() {
    let house = House::new();
    let one = house.read(&house.one);
    let two = house.read(&house.two(|_| 0.02));
    let accepted = [&one, &two].map(|read| read.summary.accepted_s.to_bits());
    assert_eq!(accepted[0], accepted[1]);
    let pairs = house.theta(&one).into_iter().zip(house.theta(&two));
    let off = pairs.map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    assert!(off < 1e-6, "{off}");
    assert!(one.summary.sensors.is_empty() && one.summary.warnings == two.summary.warnings);
}

/// If this fails, nobody is told that a shared table suits neither bank, where, and which bank is lean.
#[test]
fn sensors_that_are_apart_are_told_by_band_of_speed() {
    let house = House::new();
    let (low, high) = (
        house.truth.axes.rpm.breakpoints()[0],
        house.truth.axes.rpm.last(),
    );
    let upper = low + (high - low) * 2.0 / 3.0;
    let read = house.read(&house.two(|rpm| if rpm < upper { 0.01 } else { -0.05 }));
    let bands = &read.summary.sensors;
    assert_eq!(bands.len(), 3, "{bands:?}");
    for band in bands {
        let wanted = if band.from_rpm < upper - 1.0 {
            0.01
        } else {
            -0.05
        };
        for (reading, sign) in band.leaner.iter().zip([1.0, -1.0]) {
            let leaner = 100.0 * (1.0 / (1.0 + sign * wanted) - 1.0);
            assert!((reading.percent - leaner).abs() < 1e-6, "{band:?}");
        }
    }
    let told = read.summary.warnings.iter();
    let told: Vec<_> = told
        .filter(|warning| warning.code == "lambda_sensors_apart")
        .collect();
    let [told] = told[..] else {
        panic!("{:?}", read.summary.warnings)
    };
    assert!(
        told.message.starts_with("lambda reads 5.3 % leaner"),
        "{}",
        told.message
    );
}

/// If this fails, a mean jumps to one bank where the other sensor falls out, or a sensor that has died counts.
#[test]
fn a_row_counts_only_when_all_sensors_read() {
    let house = House::new();
    let mut holed = house.two(|_| 0.02);
    let rows = holed.len();
    let second = holed.channels.get_mut(&Quantity::Lambda2).expect("logged");
    second[..rows / 2].fill(f64::NAN);
    let whole = house.read(&house.one).summary.accepted_s;
    let half = house.read(&holed).summary.accepted_s;
    assert!(half < 0.7 * whole, "{half} of {whole} s");

    let mut dead = house.two(|_| 0.0);
    let second = dead.channels.get_mut(&Quantity::Lambda2).expect("logged");
    for (row, value) in second.iter_mut().enumerate() {
        *value = 0.9 + 0.001 * (row % 3) as f64;
    }
    let told = house.read(&dead).summary.warnings;
    assert!(
        told.iter()
            .any(|warning| warning.code == "lambda_sensor_flat"
                && warning.message.starts_with("lambda_2 hardly moves")),
        "{told:?}"
    );
}

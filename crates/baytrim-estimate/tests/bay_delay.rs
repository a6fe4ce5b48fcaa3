//! What earlier pulls in a bay told of the delay.
#![expect(clippy::print_stdout, reason = "prints the figures that it judges")]

use baytrim_estimate::{PullContext, PullReading, delay, read_pull};
use baytrim_model::bay::{DelayBelief, DelayChoice, DelayModel};
use baytrim_model::channel::Quantity;
use baytrim_model::pull::DelaySource;
use baytrim_testkit::bay::{BayOptions, SensorPlace};
use baytrim_testkit::drive::PullKind;
use baytrim_testkit::simulate::{SimulatedPull, simulate};
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

struct Cell {
    truth: EngineTruth,
    bay: BayOptions,
    trim: Vec<f64>,
}

impl Cell {
    fn new(seed: u64, place: SensorPlace) -> Self {
        let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
        let trim = vec![0.0; truth.axes.node_count()];
        let bay = BayOptions {
            place,
            ..BayOptions::from_seed(seed)
        };
        Self { truth, bay, trim }
    }

    fn pull(&self, kind: PullKind, seed: u64) -> SimulatedPull {
        let (truth, bay) = (&self.truth, &self.bay);
        simulate(truth, &truth.table.values, kind, seed, bay)
    }

    fn read(&self, pull: &SimulatedPull, delay: DelayChoice) -> PullReading {
        let truth = &self.truth;
        let spec = truth.job_spec("cell".parse().expect("a name"));
        let context = PullContext {
            delay,
            ..PullContext::of_job(&spec, &self.trim)
        };
        let mut reading = read_pull(&pull.samples, &context).expect("shapes fit");
        let model = reading.summary.delay.model;
        let rpm = pull.samples.channel(Quantity::EngineSpeed).expect("logged");
        let plate = pull.samples.channel(Quantity::PlateAngle).expect("logged");
        let open: Vec<usize> = (0..rpm.len())
            .step_by(7)
            .filter(|&row| plate[row] > 2.0 && !pull.rows.cut[row])
            .collect();
        let points: Vec<(f64, f64)> = open.iter().map(|&row| (rpm[row], plate[row])).collect();
        let found = delay::transport_s(&context, &model, &points).expect("shapes fit");
        let squares = open.iter().zip(found);
        let squares = squares.map(|(&row, found)| (found - pull.rows.delay_s[row]).powi(2));
        // The error of the delay stands in for the duration, which nobody here asks for.
        reading.summary.duration_s = (squares.sum::<f64>() / open.len() as f64).sqrt();
        reading
    }
}

fn belief_of(reading: &PullReading) -> DelayBelief {
    let found = &reading.summary.delay;
    DelayBelief {
        model: found.model,
        standard_error: found.standard_error,
    }
}

/// If this fails, a pull that cannot tell its delay is read no better for what the pull before it told. Sensors in
/// headers, cells that nothing was tuned on; through a tailpipe nothing is gained (`docs/math.md`).
#[test]
fn a_pull_of_holds_leans_on_what_a_mixed_pull_told() {
    let (mut alone_s, mut leaning_s, mut count) = (0.0, 0.0, 0.0_f64);
    for seed in 731..745 {
        let cell = Cell::new(seed, SensorPlace::Header);
        let first = cell.read(&cell.pull(PullKind::Mixed, seed), DelayChoice::Identify);
        if first.summary.delay.source != DelaySource::Identified {
            continue;
        }
        let holds = cell.pull(PullKind::Holds, seed + 50);
        let alone = cell.read(&holds, DelayChoice::Identify).summary;
        let leaning = DelayChoice::Expect(belief_of(&first));
        let leaning = cell.read(&holds, leaning).summary;
        assert_ne!(leaning.delay.source, DelaySource::Prior, "seed {seed}");
        println!(
            "seed {seed}: {:?} {:.0} ms alone, {:?} {:.0} ms leaning; {}",
            alone.delay.source,
            1000.0 * alone.duration_s,
            leaning.delay.source,
            1000.0 * leaning.duration_s,
            leaning.delay.remark
        );
        alone_s += alone.duration_s.powi(2);
        leaning_s += leaning.duration_s.powi(2);
        count += 1.0;
    }
    let rms = |sum: f64| 1000.0 * (sum / count).sqrt();
    println!(
        "{count} cells: {:.0} ms alone, {:.0} ms leaning",
        rms(alone_s),
        rms(leaning_s)
    );
    assert!(count >= 6.0 && leaning_s < alone_s);
}

/// If this fails, a bay whose sensor was moved reads with the delay of the old place.
#[test]
fn a_pull_that_tells_its_delay_does_not_believe_another_one() {
    let mut told = 0;
    for seed in 721..727 {
        let cell = Cell::new(seed, SensorPlace::Tailpipe);
        let pull = cell.pull(PullKind::Mixed, seed);
        let own = cell.read(&pull, DelayChoice::Identify).summary.delay;
        if own.source != DelaySource::Identified {
            continue;
        }
        let moved = DelayModel {
            gas_volume_l: 0.05 * own.model.gas_volume_l,
            ..own.model
        };
        let belief = DelayBelief {
            model: moved,
            standard_error: DelayModel {
                cycles: 0.1,
                gas_volume_l: 0.1 * moved.gas_volume_l,
                lag_s: 0.01,
            },
        };
        let found = cell.read(&pull, DelayChoice::Expect(belief)).summary.delay;
        assert_eq!(found.source, DelaySource::Identified);
        assert!(found.remark.contains("was moved or changed"), "{found:?}");
        let ratio = found.model.gas_volume_l / own.model.gas_volume_l;
        assert!((0.7..1.4).contains(&ratio), "{found:?} for {own:?}");
        told += 1;
    }
    assert!(told >= 3, "{told}");
}

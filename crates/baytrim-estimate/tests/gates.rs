//! Gates against simulated faults: each must help where its fault is, beside the same log without it.
#![expect(clippy::print_stdout, reason = "prints the figures that it judges")]

use baytrim_estimate::{FitSettings, PullContext, fit, read_pull};
use baytrim_model::bay::DelayChoice;
use baytrim_model::channel::{EvidenceKind, Quantity};
use baytrim_model::gate::{GateName, GateSettings};
use baytrim_model::pull::PullSummary;
use baytrim_model::samples::Samples;
use baytrim_testkit::bay::BayOptions;
use baytrim_testkit::drive::{Path, PullKind};
use baytrim_testkit::faults;
use baytrim_testkit::simulate::{SimulatedPull, simulate, simulate_path};
use baytrim_testkit::truth::{EngineTruth, TruthOptions};

const SEEDS: std::ops::Range<u64> = 401..407;

/// Root mean square error over visited nodes, in percent of fuel, with the pull's summary.
fn error(truth: &EngineTruth, samples: &Samples, gates: &GateSettings) -> (f64, PullSummary) {
    let zeros = vec![0.0; truth.axes.node_count()];
    let context = PullContext {
        engine: &truth.engine,
        axes: &truth.axes,
        target_lambda: &truth.target_lambda,
        table: &truth.table,
        trim_in_force: &zeros,
        gates,
        delay: DelayChoice::Identify,
        evidence: EvidenceKind::Lambda,
    };
    let reading = read_pull(samples, &context).expect("reads");
    let found = fit(&truth.axes, &[&reading.evidence], &FitSettings::default()).expect("fits");
    let (mut sum, mut count) = (0.0, 0.0_f64);
    for (node, need) in truth.theta_at_nodes().iter().enumerate() {
        if found.visits[node] > 0 {
            sum += (found.theta[node] - need).powi(2);
            count += 1.0;
        }
    }
    (100.0 * (sum / count.max(1.0)).sqrt(), reading.summary)
}

fn seconds(summary: &PullSummary, gates: &[GateName]) -> f64 {
    let counts = summary.refused.iter();
    counts
        .filter(|count| gates.contains(&count.gate))
        .map(|count| count.refused_s)
        .sum()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Mean errors over engines with and without a gate, and mean seconds that the gate refuses.
///
/// `make` gives engine, log with the gate's means and log without them.
fn compare(
    name: &str,
    gates: &[GateName],
    settings: [&GateSettings; 2],
    make: impl Fn(u64) -> (EngineTruth, Samples, Samples),
) -> (f64, f64, f64) {
    let mut errors = [Vec::new(), Vec::new()];
    let mut refused = Vec::new();
    for seed in SEEDS {
        let (truth, with, without) = make(seed);
        let (ours, summary) = error(&truth, &with, settings[0]);
        errors[0].push(ours);
        errors[1].push(error(&truth, &without, settings[1]).0);
        refused.push(seconds(&summary, gates));
    }
    let found = (mean(&errors[0]), mean(&errors[1]), mean(&refused));
    println!(
        "{name:24} with {:.2} %  without {:.2} %  refused {:.1} s",
        found.0, found.1, found.2
    );
    found
}

fn pull(seed: u64, kind: PullKind, bay: &BayOptions) -> (EngineTruth, SimulatedPull) {
    let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
    let pull = simulate(&truth, &truth.table.values, kind, seed, bay);
    (truth, pull)
}

/// A log, and the same without one of its channels.
fn forgetting(seed: u64, bay: &BayOptions, quantity: Quantity) -> (EngineTruth, Samples, Samples) {
    let (truth, pull) = pull(seed, PullKind::Mixed, bay);
    let mut without = pull.samples.clone();
    faults::forget(&mut without, quantity);
    (truth, pull.samples, without)
}

fn spoil(seed: u64, spoil: impl Fn(&mut Samples)) -> (EngineTruth, Samples) {
    let (truth, mut pull) = pull(seed, PullKind::Mixed, &BayOptions::default());
    spoil(&mut pull.samples);
    (truth, pull.samples)
}

/// Air in the exhaust, vapour in the inlet and a closed loop would be written into the table.
#[test]
fn mixtures_that_are_not_the_tables_own_are_refused() {
    let usual = GateSettings::default();
    let air = BayOptions {
        log_mixture_flags: true,
        secondary_air_until_s: 90.0,
        ..BayOptions::default()
    };
    let (with, without, refused) = compare(
        "secondary air, flag",
        &[GateName::SecondaryAir],
        [&usual; 2],
        |seed| forgetting(seed, &air, Quantity::SecondaryAir),
    );
    assert!(with < 0.6 * without && (30.0..92.0).contains(&refused));
    let purge = BayOptions {
        log_mixture_flags: true,
        purge_every_s: 30.0,
        ..BayOptions::default()
    };
    let (with, without, refused) = compare("purge", &[GateName::Purge], [&usual; 2], |seed| {
        forgetting(seed, &purge, Quantity::Purge)
    });
    assert!(with < 0.7 * without && refused > 20.0);
    let flagged = BayOptions {
        log_mixture_flags: true,
        ..BayOptions::default()
    };
    let (with, without, refused) = compare(
        "closed loop, flag",
        &[GateName::ClosedLoop],
        [&usual; 2],
        |seed| {
            let mut truth = EngineTruth::from_seed(seed, &TruthOptions::default());
            truth.ecu.closed_loop = true;
            let kind = PullKind::Mixed;
            let pull = simulate(&truth, &truth.table.values, kind, seed, &flagged);
            let mut without = pull.samples.clone();
            faults::forget(&mut without, Quantity::ClosedLoop);
            (truth, pull.samples, without)
        },
    );
    assert!(with < 0.9 * without && refused > 20.0);
}

/// A region stands in for the flag where secondary air is not logged.
#[test]
fn secondary_air_goes_by_region_too() {
    let region = GateSettings {
        secondary_air_rpm_max: 3500.0,
        secondary_air_plate_percent_max: 10.0,
        ..GateSettings::default()
    };
    let (truth, pull) = pull(401, PullKind::Mixed, &BayOptions::default());
    let (_, refused) = error(&truth, &pull.samples, &region);
    assert!(seconds(&refused, &[GateName::SecondaryAir]) > 1.0);
    let (_, usual) = error(&truth, &pull.samples, &GateSettings::default());
    assert!(seconds(&usual, &[GateName::SecondaryAir]) < 1e-9);
}

/// A sensor that heats without saying so, or dies on the way, would be believed.
#[test]
fn sensors_that_stand_are_refused() {
    let usual = GateSettings::default();
    let blind = GateSettings {
        stuck_s: 600.0,
        sensor_settle_s: 0.0,
        ..GateSettings::default()
    };
    let heats = BayOptions {
        heating_s: 40.0,
        heating_reads: Some(1.0),
        log_flags: false,
        ..BayOptions::default()
    };
    let (with, without, refused) = compare(
        "sensor heating, no flag",
        &[GateName::SensorNotReady],
        [&usual, &blind],
        |seed| {
            let (truth, pull) = pull(seed, PullKind::Mixed, &heats);
            (truth, pull.samples.clone(), pull.samples)
        },
    );
    assert!(with < without && refused > 20.0);
    let (with, without, refused) = compare(
        "lambda stuck for 120 s",
        &[GateName::ChannelFault],
        [&usual, &blind],
        |seed| {
            let (truth, samples) = spoil(seed, |samples| {
                faults::stuck(samples, Quantity::Lambda, 1000..3400);
            });
            (truth, samples.clone(), samples)
        },
    );
    // A stay of 40 s robust weights carry as well; one of 120 s they cannot.
    assert!(with < 0.6 * without && refused > 100.0);
}

/// A plate that its channel holds would have readings of many openings written into one.
#[test]
fn a_stuck_plate_is_refused_where_grip_is_logged() {
    let usual = GateSettings::default();
    let logged = BayOptions {
        log_surroundings: true,
        ..BayOptions::default()
    };
    let (with, without, refused) = compare(
        "plate stuck for 60 s",
        &[GateName::ChannelFault],
        [&usual; 2],
        |seed| {
            let (truth, mut pull) = pull(seed, PullKind::Ride, &logged);
            faults::stuck(&mut pull.samples, Quantity::PlateAngle, 2000..3200);
            let mut without = pull.samples.clone();
            faults::forget(&mut without, Quantity::GripAngle);
            (truth, pull.samples, without)
        },
    );
    assert!(with < without && refused > 30.0);
    let (with, without, refused) = compare(
        "grip logged, no fault",
        &[GateName::ChannelFault],
        [&usual; 2],
        |seed| {
            let (truth, pull) = pull(seed, PullKind::Mixed, &logged);
            let mut without = pull.samples.clone();
            faults::forget(&mut without, Quantity::GripAngle);
            (truth, pull.samples, without)
        },
    );
    assert!(with < 1.02 * without && refused < 1.0);
}

/// Lost bus messages put the engine where it never was.
#[test]
fn dropouts_of_speed_and_plate_do_little_harm() {
    let usual = GateSettings::default();
    let (with, clean, refused) = compare(
        "dropouts, clean beside",
        &[GateName::ChannelFault],
        [&usual; 2],
        |seed| {
            let (truth, clean) = spoil(seed, |_| {});
            let (_, spoilt) = spoil(seed, |samples| {
                faults::spikes(samples, Quantity::EngineSpeed, 300.0, 0.004, seed);
                faults::spikes(samples, Quantity::PlateAngle, 0.0, 0.004, seed + 1);
                faults::spikes(samples, Quantity::Lambda, 0.7, 0.004, seed + 2);
            });
            (truth, spoilt, clean)
        },
    );
    assert!(with < 1.25 * clean && refused > 0.5);
}

/// Cuts that nobody flags must be found where they are, and little else be called a cut.
#[test]
fn unflagged_cuts_are_found() {
    let off = GateSettings {
        shift_rpm_drop_percent: 100.0,
        cut_plate_percent_min: 100.0,
        ..GateSettings::default()
    };
    let usual = GateSettings::default();
    let cuts = [
        GateName::ShiftCut,
        GateName::RevLimiter,
        GateName::TorqueCut,
    ];
    let unflagged = BayOptions {
        log_flags: false,
        ..BayOptions::default()
    };
    let (with, without, _) = compare("ride, unflagged cuts", &cuts, [&usual, &off], |seed| {
        let (truth, pull) = pull(seed, PullKind::Ride, &unflagged);
        (truth, pull.samples.clone(), pull.samples)
    });
    assert!(with < 1.05 * without);
    // Traction control: pulses without any change of speed.
    let (with, without, refused) = compare("traction pulses", &cuts, [&usual, &off], |seed| {
        let truth = EngineTruth::from_seed(seed, &TruthOptions::default());
        let mut path = Path::default();
        for share in [0.35, 0.5, 0.65, 0.5] {
            path.move_to(share * truth.ecu.limiter_rpm, 60.0, 1.0);
            path.hold(share * truth.ecu.limiter_rpm, 60.0, 12.0);
        }
        let steps = path.len();
        for begin in (400..steps).step_by(350) {
            path.shift[begin..(begin + 25).min(steps)].fill(true);
        }
        let pull = simulate_path(&truth, &truth.table.values, &path, seed, &unflagged);
        (truth, pull.samples.clone(), pull.samples)
    });
    assert!(with < 0.8 * without && refused > 3.0);
    // Holds and sweeps have no cut under load but at the limiter.
    let (_, _, refused) = compare("holds: false alarms", &cuts, [&usual, &off], |seed| {
        let (truth, pull) = pull(seed, PullKind::Holds, &unflagged);
        (truth, pull.samples.clone(), pull.samples)
    });
    assert!(refused < 3.0, "{refused} s of about 480");
}

/// The speed of the limiter, once stated, must keep the last column clean and cost nothing elsewhere.
#[test]
fn a_stated_limiter_does_no_harm() {
    let usual = GateSettings::default();
    let mut errors = [Vec::new(), Vec::new()];
    for seed in SEEDS {
        let (truth, pull) = pull(seed, PullKind::Ride, &BayOptions::default());
        let stated = GateSettings {
            rev_limit_rpm: truth.ecu.limiter_rpm,
            ..GateSettings::default()
        };
        errors[0].push(error(&truth, &pull.samples, &stated).0);
        errors[1].push(error(&truth, &pull.samples, &usual).0);
    }
    let (with, without) = (mean(&errors[0]), mean(&errors[1]));
    println!("limiter stated           with {with:.2} %  without {without:.2} %");
    assert!(with < 1.05 * without);
}

/// An engine that still warms would write its wet walls into the table; a warm one must not notice.
#[test]
fn warm_up_by_rate_helps_cold_engines() {
    let usual = GateSettings::default();
    let off = GateSettings {
        coolant_rise_c_per_min_max: 1000.0,
        ..GateSettings::default()
    };
    let early = GateSettings {
        coolant_c_min: 50.0,
        ..GateSettings::default()
    };
    let early_off = GateSettings {
        coolant_c_min: 50.0,
        ..off.clone()
    };
    for (name, ours, theirs) in [
        ("cold start", &usual, &off),
        ("cold start, 50 C said", &early, &early_off),
    ] {
        let (with, without, refused) = compare(name, &[GateName::WarmUp], [ours, theirs], |seed| {
            let bay = BayOptions {
                coolant_start_c: 40.0,
                ..BayOptions::default()
            };
            let (truth, pull) = pull(seed, PullKind::Mixed, &bay);
            (truth, pull.samples.clone(), pull.samples)
        });
        assert!(with < 1.05 * without && refused > 30.0);
    }
}

/// The rule is off because footprints follow speed: it must be shown to cost more than it gives.
#[test]
fn refusing_unsteady_speed_costs_accuracy() {
    let usual = GateSettings::default();
    let steady = GateSettings {
        rpm_rate_rpm_per_s_max: 400.0,
        ..GateSettings::default()
    };
    let (with, without, refused) = compare(
        "unsteady speed refused",
        &[GateName::RpmRate],
        [&steady, &usual],
        |seed| {
            let (truth, pull) = pull(seed, PullKind::Ride, &BayOptions::default());
            (truth, pull.samples.clone(), pull.samples)
        },
    );
    assert!(refused > 20.0 && with > 0.95 * without);
}

//! How an engine is drawn from its seed.

use baytrim_model::axis::{Axes, Axis};
use baytrim_model::engine::{Engine, Fuel};
use baytrim_model::table::{BaseTable, TableContent};

use super::{EngineTruth, FilmFacts, PipeFacts, TruthOptions};
use crate::air::AirModel;
use crate::ecu::EcuHabits;
use crate::noise::NoiseSizes;
use crate::random::{Dice, Purpose};
use crate::surface::NeedSurface;

/// Returns the engine of `seed`. The order of the draws is part of what a seed means.
pub(super) fn engine(seed: u64, options: &TruthOptions) -> EngineTruth {
    let mut dice = Dice::new(seed, Purpose::Engine);
    let drawn_cylinders = [1, 2, 2, 3, 4, 4][dice.index(6)];
    let cylinders = options.cylinders.unwrap_or(drawn_cylinders);
    assert!(cylinders > 0, "an engine has cylinders");
    let drawn_cc = libm::round(dice.uniform(300.0, 1300.0));
    let displacement_cc = options.displacement_cc.unwrap_or(drawn_cc);
    let drawn_axes = draw_axes(&mut dice, displacement_cc / f64::from(cylinders));
    let axes = options.axes.clone().unwrap_or(drawn_axes);
    let air = AirModel::draw(&mut dice, displacement_cc / 1000.0, axes.rpm.last());
    let idle_rpm = axes.rpm.first() * dice.uniform(1.05, 1.2);
    let ecu = draw_habits(&mut dice, idle_rpm, axes.rpm.last(), options);
    let drawn_film = FilmFacts {
        wall_share: dice.uniform(0.10, 0.35),
        tau_s: dice.uniform(0.2, 0.7),
    };
    let pipe = draw_pipe(&mut dice);
    let noise = NoiseSizes::draw(&mut dice);
    let cylinder_phi = draw_cylinders(&mut dice, cylinders);
    let drawn_content = draw_content(&mut dice);
    let surface = draw_surface(seed, &axes, options);
    let target_lambda = target(&axes);
    let content = options.content.unwrap_or(drawn_content);
    let filling = |node| {
        let (rpm, plate_percent) = axes.position(node);
        air.filling(rpm, plate_percent)
    };
    EngineTruth {
        engine: Engine {
            strokes: 4,
            displacement_cc,
            cylinders,
        },
        fuel: Fuel {
            name: "petrol E5".to_owned(),
            stoichiometric_afr: 14.29,
        },
        table: base_table(content, &axes, &air, &surface, &target_lambda),
        node_filling: (0..axes.node_count()).map(filling).collect(),
        axes,
        target_lambda,
        surface,
        air,
        ecu,
        film: options.film.unwrap_or(drawn_film),
        pipe,
        noise,
        cylinder_phi,
        idle_rpm,
        between_nodes: options.between_nodes,
    }
}

fn draw_habits(
    dice: &mut Dice,
    idle_rpm: f64,
    limiter_rpm: f64,
    options: &TruthOptions,
) -> EcuHabits {
    let drawn = EcuHabits::draw(dice, idle_rpm, limiter_rpm);
    EcuHabits {
        film_compensation: options.film_compensation.unwrap_or(drawn.film_compensation),
        closed_loop: options.closed_loop,
        ..drawn
    }
}

fn draw_pipe(dice: &mut Dice) -> PipeFacts {
    PipeFacts {
        header_l: dice.uniform(0.3, 1.5),
        tailpipe_l: dice.uniform(2.0, 6.0),
        mixing_share: dice.uniform(0.1, 0.25),
        // Induction to exhaust takes one and a half revolutions, 0.75 of a cycle.
        cycles: dice.uniform(0.7, 1.0),
    }
}

fn draw_content(dice: &mut Dice) -> TableContent {
    [
        TableContent::Factor,
        TableContent::Percent,
        TableContent::VolumetricEfficiency,
        TableContent::EffectiveTimeMs,
        TableContent::TotalTimeMs { dead_time_ms: 0.9 },
    ][dice.index(5)]
}

fn draw_surface(seed: u64, axes: &Axes, options: &TruthOptions) -> NeedSurface {
    let mut dice = Dice::new(seed, Purpose::Surface);
    let drawn_rms_percent = dice.uniform(6.0, 12.0);
    let rms = options.surface_rms_percent.unwrap_or(drawn_rms_percent) / 100.0;
    NeedSurface::draw(&mut dice, (axes.rpm.first(), axes.rpm.last()), rms)
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

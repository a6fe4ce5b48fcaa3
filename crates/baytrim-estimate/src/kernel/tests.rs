use super::{Kernel, Parcel};
use crate::film::FILM_TERMS;
use crate::surface::Spread;

fn parcel(made_s: f64, node: u32, richness: f64, refused: f64) -> Parcel {
    Parcel {
        made_s,
        cycles_per_s: 10.0,
        flow_l_per_s: 10.0,
        spread: Spread {
            node: [node; 16],
            weight: std::array::from_fn(|corner| f64::from(u8::from(corner == 0))),
        },
        richness,
        film: [0.0; FILM_TERMS],
        refused,
    }
}

/// A footprint that left the closed form of delay and lag would credit the wrong nodes.
#[test]
fn a_step_arrives_after_the_delay_and_with_the_lag() {
    let (lag_s, step_s) = (0.08, 0.005);
    let mut kernel = Kernel::new(lag_s, 0.4, 0.6, 2);
    for row in 0..400 {
        let time = f64::from(row) * step_s;
        kernel.make(parcel(time, u32::from(time > 0.9999), 1.0, 0.0));
        let read = kernel.read(time);
        let weight: f64 = kernel
            .footprint()
            .filter(|&(node, _)| node == 1)
            .map(|(_, w)| w)
            .sum();
        // The step lies between two rows: half a row before the first row that has it.
        let since = time - (1.0 - step_s / 2.0) - 0.1;
        let wanted = if since <= 0.0 {
            0.0
        } else {
            1.0 - (-since / lag_s).exp()
        };
        if read.is_some() && (since.abs() > step_s) {
            assert!(
                (weight - wanted).abs() < 2e-3,
                "{time}: {weight} for {wanted}"
            );
        }
    }
}

/// Exhaust that lies in the pipe when the flow falls must stay there: V litres at 20 l/s, then at 2 l/s.
#[test]
fn a_falling_flow_leaves_exhaust_in_the_pipe() {
    let (pipe_l, step_s) = (1.0, 0.01);
    let mut kernel = Kernel::new(0.0, 0.0, pipe_l, 1);
    for row in 0..300 {
        let time = f64::from(row) * step_s;
        let flow_l_per_s = if time < 0.995 { 20.0 } else { 2.0 };
        kernel.make(Parcel {
            flow_l_per_s,
            ..parcel(time, 0, 1.0, 0.0)
        });
        let Some(mixture) = kernel.read(time) else {
            continue;
        };
        // The flow changes half way between two rows, at 0.995 s.
        let slow_s = (time - 0.995).max(0.0);
        let wanted = if slow_s == 0.0 {
            pipe_l / 20.0
        } else {
            let flowed_l = slow_s * 2.0;
            if flowed_l < pipe_l {
                slow_s + (pipe_l - flowed_l) / 20.0
            } else {
                pipe_l / 2.0
            }
        };
        assert!(
            (mixture.transport_s - wanted).abs() < 6e-3,
            "{time}: {} for {wanted}",
            mixture.transport_s
        );
    }
}

/// Mixed gas averages in 1/lambda: equal parts of 0.8 and 1.2 read 0.96.
#[test]
fn gas_mixes_by_equivalence_ratio() {
    let mut kernel = Kernel::new(0.0, 0.0, 0.0, 2);
    kernel.make(parcel(0.0, 0, 1.0 / 0.8, 0.0));
    kernel.make(parcel(2.0, 1, 1.0 / 1.2, 0.0));
    kernel.read(0.5);
    let mixture = kernel.read(1.0).expect("arrived");
    assert!(((-mixture.ln_richness).exp() - 0.96).abs() < 1e-12);
}

/// Exhaust made while a gate refused must spoil what is read later, and only as long as it lasts.
#[test]
fn refusals_travel_with_the_exhaust() {
    let mut kernel = Kernel::new(0.05, 1.0, 0.0, 1);
    for row in 0..200 {
        let time = f64::from(row) * 0.01;
        let refused = f64::from(u8::from((0.995..1.195).contains(&time)));
        kernel.make(parcel(time, 0, 1.0, refused));
        let Some(mixture) = kernel.read(time) else {
            continue;
        };
        if (0.6..1.08).contains(&time) || time > 1.7 {
            assert!(mixture.refused < 0.01, "{time}: {}", mixture.refused);
        }
        if (1.25..1.29).contains(&time) {
            assert!(mixture.refused > 0.9, "{time}: {}", mixture.refused);
        }
    }
}

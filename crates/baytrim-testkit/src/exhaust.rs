//! The way of exhaust from the valve to the sensor: parcels, plug flow, mixing.

use std::collections::VecDeque;

/// Exhaust of one firing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parcel {
    /// When the controller read its table for this charge, seconds.
    pub read_s: f64,
    /// Working cycles since the start at which it leaves the cylinder.
    pub leaves_at_cycle: f64,
    /// Equivalence ratio 1/lambda that a sensor would see in it.
    pub phi: f64,
    /// Exhaust volume that had passed the valve when it left it, litres; set on leaving.
    entered_at_l: f64,
}

/// A pipe with plug flow over `plug_l` litres and a well-stirred `mixing_l` at its end.
///
/// Gas averages in phi = 1/lambda, weighted by volume.
#[derive(Debug, Clone)]
pub struct Pipe {
    plug_l: f64,
    mixing_l: f64,
    unexhausted: VecDeque<Parcel>,
    travelling: VecDeque<Parcel>,
    passed_l: f64,
    at_sensor: Parcel,
    mixed_phi: f64,
}

impl Pipe {
    /// Returns a pipe full of gas of equivalence ratio `phi`.
    pub fn new(plug_l: f64, mixing_l: f64, phi: f64) -> Self {
        Self {
            plug_l,
            mixing_l,
            unexhausted: VecDeque::new(),
            travelling: VecDeque::new(),
            passed_l: 0.0,
            at_sensor: Parcel {
                read_s: f64::NEG_INFINITY,
                leaves_at_cycle: 0.0,
                phi,
                entered_at_l: 0.0,
            },
            mixed_phi: phi,
        }
    }

    /// Takes a firing's charge, fuelled by what the table said at `read_s`; it leaves at `leaves_at_cycle`.
    pub fn charge(&mut self, read_s: f64, leaves_at_cycle: f64, phi: f64) {
        self.unexhausted.push_back(Parcel {
            read_s,
            leaves_at_cycle,
            phi,
            entered_at_l: 0.0,
        });
    }

    /// Lets `flow_l` litres flow while the engine reaches `cycle`, and returns phi after the mixing.
    pub fn advance(&mut self, cycle: f64, flow_l: f64) -> f64 {
        while let Some(&parcel) = self.unexhausted.front() {
            if parcel.leaves_at_cycle > cycle {
                break;
            }
            self.unexhausted.pop_front();
            self.travelling.push_back(Parcel {
                entered_at_l: self.passed_l,
                ..parcel
            });
        }
        let until_l = self.passed_l + flow_l - self.plug_l;
        while let Some(&next) = self.travelling.front() {
            if next.entered_at_l > until_l {
                break;
            }
            let begin_l = (self.passed_l - self.plug_l).max(self.at_sensor.entered_at_l);
            self.mix((next.entered_at_l - begin_l).max(0.0));
            self.at_sensor = next;
            self.travelling.pop_front();
        }
        let begin_l = (self.passed_l - self.plug_l).max(self.at_sensor.entered_at_l);
        self.mix((until_l - begin_l).clamp(0.0, flow_l));
        self.passed_l += flow_l;
        self.mixed_phi
    }

    /// Stirs `volume_l` of the gas at the sensor into the mixing volume.
    fn mix(&mut self, volume_l: f64) {
        let share = if self.mixing_l > 0.0 {
            1.0 - libm::exp(-volume_l / self.mixing_l)
        } else {
            f64::from(u8::from(volume_l > 0.0))
        };
        self.mixed_phi += share * (self.at_sensor.phi - self.mixed_phi);
    }

    /// Returns when the table was read for the charge whose gas now arrives at the end of the plug flow.
    pub fn arriving_read_s(&self) -> f64 {
        self.at_sensor.read_s
    }
}

#[cfg(test)]
mod tests {
    use super::Pipe;

    /// Readings would be booked to the wrong place: plug flow takes V / Q.
    #[test]
    fn a_front_arrives_after_volume_over_flow() {
        let (volume_l, flow_l_per_s, step_s) = (1.5, 10.0, 0.001);
        let mut pipe = Pipe::new(volume_l, 0.0, 1.0);
        let mut arrived_s = f64::NAN;
        for step in 0..400 {
            let now_s = f64::from(step) * step_s;
            let phi = if step >= 100 { 0.5 } else { 1.0 };
            pipe.charge(now_s, now_s, phi);
            if pipe.advance(now_s, flow_l_per_s * step_s) < 0.75 && arrived_s.is_nan() {
                arrived_s = now_s;
            }
        }
        assert!(
            (arrived_s - 0.1 - volume_l / flow_l_per_s).abs() <= 2.0 * step_s,
            "{arrived_s}"
        );
    }

    /// Mixed gas must average in 1/lambda: equal parts of 0.8 and 1.2 read 0.96, not 1.00.
    #[test]
    fn equal_parts_of_rich_and_lean_read_0_96() {
        let mut pipe = Pipe::new(0.2, 1.0, 1.0);
        let mut sum = 0.0;
        for step in 0..40_000_i32 {
            let lambda = if (step / 5) % 2 == 0 { 0.8 } else { 1.2 };
            let now = f64::from(step);
            pipe.charge(now, now, 1.0 / lambda);
            let phi = pipe.advance(now, 0.004);
            if step >= 20_000 {
                sum += phi;
            }
        }
        let lambda = 20_000.0 / sum;
        assert!((lambda - 0.96).abs() < 1e-3, "{lambda}");
    }

    /// A stirred volume is a first-order lag of V / Q; another form would smear differently.
    #[test]
    fn a_mixing_volume_answers_a_step_exponentially() {
        let mut pipe = Pipe::new(0.0, 0.5, 1.0);
        for step in 0..100 {
            pipe.charge(f64::from(step), f64::from(step), 0.0);
            let phi = pipe.advance(f64::from(step), 0.01);
            let passed_l = f64::from(step + 1) * 0.01;
            assert!(
                (phi - libm::exp(-passed_l / 0.5)).abs() < 1e-9,
                "{step}: {phi}"
            );
        }
    }
}

//! Random numbers that come out the same on every machine.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};

/// What a stream of random numbers is for: one seed gives each purpose a stream of its own,
/// so that drawing more numbers for one thing changes nothing else.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u64)]
pub enum Purpose {
    /// The engine itself.
    Engine = 1,
    /// The true fuel need.
    Surface = 2,
    /// Where a pull is driven.
    Drive = 3,
    /// Combustion noise and offsets.
    Noise = 4,
    /// The logger.
    Logger = 5,
    /// Faults put into a log.
    Fault = 6,
    /// A bay's own sensor.
    Bay = 7,
}

/// A seeded source of random numbers.
#[derive(Debug, Clone)]
pub struct Dice {
    source: ChaCha8Rng,
    spare: Option<f64>,
}

impl Dice {
    /// Returns the stream of `seed` for `purpose`.
    pub fn new(seed: u64, purpose: Purpose) -> Self {
        let mut source = ChaCha8Rng::seed_from_u64(seed);
        source.set_stream(purpose as u64);
        Self {
            source,
            spare: None,
        }
    }

    /// Returns a number of `low..high`, all equally likely.
    pub fn uniform(&mut self, low: f64, high: f64) -> f64 {
        // 53 bits are what a double holds.
        let unit = (self.source.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
        low + (high - low) * unit
    }

    /// Returns a normal number of mean 0 and standard deviation 1 (Marsaglia's polar method).
    pub fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let (a, b) = (self.uniform(-1.0, 1.0), self.uniform(-1.0, 1.0));
            let square = a * a + b * b;
            if square > 0.0 && square < 1.0 {
                let factor = libm::sqrt(-2.0 * libm::log(square) / square);
                self.spare = Some(b * factor);
                return a * factor;
            }
        }
    }

    /// Returns true with the given chance, 0 to 1.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.uniform(0.0, 1.0) < probability
    }

    /// Returns an index below `count`, which is above 0.
    pub fn index(&mut self, count: usize) -> usize {
        let drawn = self.uniform(0.0, count as f64);
        (1..count)
            .take_while(|&index| index as f64 <= drawn)
            .count()
    }

    /// Puts `items` in random order.
    pub fn shuffle<T>(&mut self, items: &mut [T]) {
        for last in (1..items.len()).rev() {
            let other = self.index(last + 1);
            items.swap(last, other);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Dice, Purpose};

    /// Drawing more for one purpose would change another, or one seed would not repeat itself.
    #[test]
    fn a_seed_repeats_itself_and_purposes_differ() {
        let mut dice = Dice::new(1, Purpose::Engine);
        let drawn: Vec<u64> = (0..3).map(|_| dice.uniform(0.0, 1.0).to_bits()).collect();
        let mut again = Dice::new(1, Purpose::Engine);
        let repeated: Vec<u64> = (0..3).map(|_| again.uniform(0.0, 1.0).to_bits()).collect();
        assert_eq!(drawn, repeated);
        let mut other = Dice::new(1, Purpose::Drive);
        assert_ne!(drawn[0], other.uniform(0.0, 1.0).to_bits());
    }

    /// Noise of another size than asked for would make every score meaningless.
    #[test]
    fn normal_numbers_have_mean_0_and_deviation_1() {
        let mut dice = Dice::new(7, Purpose::Noise);
        let count = 100_000;
        let drawn: Vec<f64> = (0..count).map(|_| dice.normal()).collect();
        let mean = drawn.iter().sum::<f64>() / f64::from(count);
        let variance = drawn.iter().map(|x| x * x).sum::<f64>() / f64::from(count);
        // Four standard errors: 4/sqrt(n) and 4 sqrt(2/n).
        assert!(mean.abs() < 0.0127, "{mean}");
        assert!((variance - 1.0).abs() < 0.0179, "{variance}");
    }
}

//! Whether lambda follows speed and plate at all, and how late.
//!
//! The share of lambda's variance that speed and plate explain, cell by cell (the correlation ratio;
//! Pearson 1905, Fisher 1925), at the best of several lags, beside the same share for the log against
//! itself turned round by long times. The second is what chance gives in a log that lingers like this one.

/// Spacing of the points, seconds.
const STEP_S: f64 = 0.1;
/// Most points that are looked at: ten minutes.
const POINTS_MAX: usize = 6000;
/// Fewest points that say anything: thirty seconds.
const POINTS_MIN: usize = 300;
/// Cells along the root of the plate opening.
const PLATE_CELLS: usize = 8;
/// Cells along engine speed.
const RPM_CELLS: usize = 6;
/// Fewest cells that the engine must have been in.
const CELLS_MIN: f64 = 6.0;
/// Lags that are tried, in steps: as far as exhaust and sensor can be late, and beyond.
const LAGS: [usize; 14] = [0, 2, 4, 6, 8, 10, 13, 16, 20, 30, 40, 50, 60, 80];
/// The lags up to two seconds.
const BELIEVED_LAGS: usize = 9;
/// Turns of the log against itself.
const TURNS: usize = 12;

/// What lambda has to do with speed and plate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Relation {
    /// Standard deviation of ln lambda.
    pub(super) spread: f64,
    /// Share of its variance that speed and plate explain, at the best lag up to two seconds.
    pub(super) explained: f64,
    /// The same at the best of all lags, and that lag in seconds.
    pub(super) late: (f64, f64),
    /// The largest share that turned logs give.
    pub(super) by_chance: f64,
}

/// Points at even steps: cell of speed and plate, and ln lambda.
#[derive(Debug, Default)]
pub(super) struct Points {
    cells: Vec<Option<usize>>,
    logs: Vec<f64>,
    first_s: f64,
}

impl Points {
    /// Takes a row in; rows closer than the step are passed over.
    pub(super) fn add(&mut self, offset_s: f64, rpm_share: f64, plate_percent: f64, lambda: f64) {
        if self.cells.is_empty() {
            self.first_s = offset_s;
        }
        let due_s = self.first_s + STEP_S * self.cells.len() as f64;
        if self.cells.len() >= POINTS_MAX || offset_s < due_s - 1e-6 || !offset_s.is_finite() {
            return;
        }
        // Holes in the log stay holes, so that lags are times.
        while self.cells.len() < POINTS_MAX
            && offset_s > self.first_s + STEP_S * (self.cells.len() as f64 + 5.0)
        {
            self.push(None, f64::NAN);
        }
        let cell = |share: f64, count: usize| whole(share.clamp(0.0, 0.999) * count as f64);
        let place = (rpm_share.is_finite() && plate_percent.is_finite()).then(|| {
            let plate = cell((plate_percent.max(0.0) / 100.0).sqrt(), PLATE_CELLS);
            plate * RPM_CELLS + cell(rpm_share, RPM_CELLS)
        });
        self.push(place, lambda.clamp(0.6, 1.4).ln());
    }

    fn push(&mut self, cell: Option<usize>, log: f64) {
        self.cells.push(cell);
        self.logs.push(log);
    }

    /// Returns the relation; none where the log is too short or stays in one place.
    pub(super) fn relation(&self) -> Option<Relation> {
        let count = self.cells.len();
        if count < POINTS_MIN {
            return None;
        }
        let shares: Vec<f64> = LAGS
            .iter()
            .map(|&lag| self.explained(lag))
            .collect::<Option<_>>()?;
        let best = |shares: &[f64]| {
            shares
                .iter()
                .fold(f64::NEG_INFINITY, |max: f64, &x| max.max(x))
        };
        let late = (0..LAGS.len()).max_by(|&a, &b| shares[a].total_cmp(&shares[b]))?;
        let turned: Vec<f64> = (1..=TURNS)
            .filter_map(|turn| self.explained(turn * count / (TURNS + 1)))
            .collect();
        Some(Relation {
            spread: self.spread(),
            explained: best(&shares[..BELIEVED_LAGS]),
            late: (shares[late], LAGS[late] as f64 * STEP_S),
            by_chance: best(&turned),
        })
    }

    fn spread(&self) -> f64 {
        let logs: Vec<f64> = self
            .logs
            .iter()
            .copied()
            .filter(|x| x.is_finite())
            .collect();
        let mean = logs.iter().sum::<f64>() / logs.len() as f64;
        let sum: f64 = logs.iter().map(|x| (x - mean).powi(2)).sum();
        (sum / logs.len() as f64).sqrt()
    }

    /// Returns the share of variance, freed of what cells explain by their number, with lambda read
    /// `lag` points later; what runs over the end comes round.
    fn explained(&self, lag: usize) -> Option<f64> {
        let count = self.cells.len();
        let mut cells = [(0.0_f64, 0.0_f64, 0.0_f64); PLATE_CELLS * RPM_CELLS];
        for (index, cell) in self.cells.iter().enumerate() {
            let log = self.logs[(index + lag) % count];
            if let (Some(cell), true) = (*cell, log.is_finite()) {
                let (n, sum, square) = cells[cell];
                cells[cell] = (n + 1.0, sum + log, square + log * log);
            }
        }
        let used = cells.iter().filter(|cell| cell.0 > 0.0);
        let (mut n, mut sum, mut square, mut within, mut used_count) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for cell in used {
            n += cell.0;
            sum += cell.1;
            square += cell.2;
            within += cell.2 - cell.1 * cell.1 / cell.0;
            used_count += 1.0;
        }
        let total = square - sum * sum / n;
        if used_count < CELLS_MIN || n < POINTS_MIN as f64 || total <= 0.0 {
            return None;
        }
        Some(1.0 - within / (n - used_count) / (total / (n - 1.0)))
    }
}

/// Returns a non-negative number's whole part.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the number is clamped to a small count"
)]
fn whole(value: f64) -> usize {
    value as usize
}

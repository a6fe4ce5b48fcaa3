//! Dropouts: one row in which a channel is somewhere else altogether, and back in the next.

use crate::row::Row;

/// Longest time between the rows on both sides, seconds.
const AROUND_S_MAX: f64 = 0.3;
/// The same for lambda: the lag of no sensor lets it go there and back so soon.
const LAMBDA_AROUND_S_MAX: f64 = 0.15;
/// Jump of engine speed, as a share, and how near it must come back.
const RPM_SHARES: (f64, f64) = (0.15, 0.05);
/// Jump of the plate, in percent, and how near it must come back.
const PLATE_PERCENTS: (f64, f64) = (15.0, 3.0);
/// Jump of lambda, as a share, and how near it must come back.
const LAMBDA_SHARES: (f64, f64) = (0.2, 0.05);

/// What dropped out of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Dropout {
    /// Nothing.
    None,
    /// The reading only.
    Reading,
    /// Where the engine ran.
    Place,
}

fn jumps(before: f64, at: f64, after: f64, (away, back): (f64, f64)) -> bool {
    (at - before).abs() > away && (at - after).abs() > away && (after - before).abs() < back
}

/// Returns what dropped out of the row between two others.
pub(super) fn of(before: &Row, at: &Row, after: &Row) -> Dropout {
    let around_s = after.offset_s - before.offset_s;
    if !(0.0..=AROUND_S_MAX).contains(&around_s) {
        return Dropout::None;
    }
    let rpm = jumps(before.rpm.ln(), at.rpm.ln(), after.rpm.ln(), RPM_SHARES);
    let plate = jumps(
        before.plate_percent,
        at.plate_percent,
        after.plate_percent,
        PLATE_PERCENTS,
    );
    let logs = [before, at, after].map(|row| row.lambda.ln());
    if rpm || plate {
        Dropout::Place
    } else if around_s <= LAMBDA_AROUND_S_MAX && jumps(logs[0], logs[1], logs[2], LAMBDA_SHARES) {
        Dropout::Reading
    } else {
        Dropout::None
    }
}

#[cfg(test)]
mod tests {
    use super::{Dropout, of};

    use crate::row::Row;

    fn row(offset_s: f64) -> Row {
        Row {
            offset_s,
            rpm: 5000.0,
            plate_percent: 40.0,
            lambda: 0.9,
            ..Row::EMPTY
        }
    }

    /// A row with a lost bus message would be read at a place where the engine never ran.
    #[test]
    fn single_rows_that_jump_are_found() {
        let between = |at: Row| of(&row(0.0), &at, &row(0.1));
        assert_eq!(
            between(Row {
                rpm: 2000.0,
                ..row(0.05)
            }),
            Dropout::Place
        );
        assert_eq!(
            between(Row {
                plate_percent: 0.0,
                ..row(0.05)
            }),
            Dropout::Place
        );
        assert_eq!(
            between(Row {
                lambda: 1.4,
                ..row(0.05)
            }),
            Dropout::Reading
        );
        assert_eq!(between(row(0.05)), Dropout::None);
        assert_eq!(
            between(Row {
                lambda: f64::NAN,
                ..row(0.05)
            }),
            Dropout::None
        );
    }

    /// Real movement would be called a fault.
    #[test]
    fn movement_is_no_dropout() {
        let moved = Row {
            plate_percent: 80.0,
            rpm: 5600.0,
            ..row(0.1)
        };
        let half = Row {
            plate_percent: 60.0,
            rpm: 5300.0,
            ..row(0.05)
        };
        assert_eq!(of(&row(0.0), &half, &moved), Dropout::None);
        let slow = Row {
            offset_s: 1.0,
            ..row(1.0)
        };
        assert_eq!(
            of(
                &row(0.0),
                &Row {
                    lambda: 1.4,
                    ..row(0.5)
                },
                &slow
            ),
            Dropout::None
        );
    }
}

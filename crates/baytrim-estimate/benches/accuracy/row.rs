//! What is measured.

use baytrim_testkit::bay::SensorPlace;
use baytrim_testkit::drive::PullKind;

/// What is measured on each engine of a row.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Row {
    pub(crate) kind: PullKind,
    pub(crate) place: SensorPlace,
    pub(crate) pulls: u64,
    pub(crate) noise: f64,
    /// Whether the delay is told.
    pub(crate) given: bool,
}

impl Row {
    pub(crate) fn name(&self) -> String {
        let Self {
            kind, place, pulls, ..
        } = self;
        let noise = match self.noise {
            1.0 => String::new(),
            noise => format!(" noise {noise}"),
        };
        let given = if self.given { " given" } else { "" };
        format!("{kind:?} {place:?} x{pulls}{noise}{given}")
    }
}
pub(crate) fn rows() -> Vec<Row> {
    let places = [SensorPlace::Header, SensorPlace::Tailpipe];
    let kinds = [
        (PullKind::Mixed, 1),
        (PullKind::Mixed, 2),
        (PullKind::Mixed, 3),
        (PullKind::Mixed, 4),
        (PullKind::Mixed, 5),
        (PullKind::Ride, 1),
        (PullKind::Ride, 3),
        (PullKind::Sweeps, 1),
        (PullKind::Sweeps, 3),
        (PullKind::SweepsUpDown, 1),
        (PullKind::SweepsUpDown, 3),
        (PullKind::Holds, 1),
        (PullKind::Holds, 3),
        (PullKind::FuelStep, 1),
    ];
    let mut rows = Vec::new();
    for (kind, pulls) in kinds {
        rows.extend(places.map(|place| Row {
            kind,
            place,
            pulls,
            noise: 1.0,
            given: false,
        }));
    }
    for (kind, noise, given) in [
        (PullKind::Mixed, 0.5, false),
        (PullKind::Mixed, 2.0, false),
        (PullKind::Ride, 0.5, false),
        (PullKind::Ride, 2.0, false),
        (PullKind::Mixed, 1.0, true),
        (PullKind::Ride, 1.0, true),
        (PullKind::Sweeps, 1.0, true),
        (PullKind::Holds, 1.0, true),
    ] {
        rows.extend(places.map(|place| Row {
            kind,
            place,
            pulls: 1,
            noise,
            given,
        }));
    }
    rows
}

//! Where the log says other than the job's record.

use std::fmt;

use crate::overrun::OverrunCut;
use crate::secondary_air::SecondaryAir;

/// What the record says of the cut on the overrun.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RecordedCut {
    /// Fuel is cut.
    On,
    /// Fuel is cut only above this engine speed, rpm.
    Above(f64),
    /// The cut is taken out.
    Off,
}

/// What the record says of secondary air.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RecordedAir {
    /// It is fitted and works.
    Active,
    /// It is fitted and blanked off.
    Blocked,
    /// There is none.
    NotFitted,
}

/// What the record says; none where it says nothing.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Recorded {
    /// Of the cut on the overrun.
    pub overrun_cut: Option<RecordedCut>,
    /// Of secondary air.
    pub secondary_air: Option<RecordedAir>,
}

/// One thing that log and record disagree about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Contradiction {
    /// The cut on the overrun.
    OverrunCut {
        /// By the record.
        recorded: RecordedCut,
        /// By the log.
        found: OverrunCut,
    },
    /// Secondary air.
    SecondaryAir {
        /// By the record.
        recorded: RecordedAir,
        /// By the log.
        found: SecondaryAir,
    },
}

/// Engine speeds this near are one, rpm: the sensor follows late while the engine slows.
const SAME_RPM: f64 = 500.0;

/// Returns what log and record disagree about; a log that does not tell contradicts nothing.
pub fn contradictions(
    recorded: &Recorded,
    cut: OverrunCut,
    air: SecondaryAir,
) -> Vec<Contradiction> {
    let cut = recorded
        .overrun_cut
        .filter(|recorded| is_other_cut(*recorded, cut))
        .map(|recorded| Contradiction::OverrunCut {
            recorded,
            found: cut,
        });
    let air = recorded
        .secondary_air
        .filter(|recorded| is_other_air(*recorded, air))
        .map(|recorded| Contradiction::SecondaryAir {
            recorded,
            found: air,
        });
    cut.into_iter().chain(air).collect()
}

fn is_other_cut(recorded: RecordedCut, found: OverrunCut) -> bool {
    match (recorded, found) {
        (_, OverrunCut::NotSeen | OverrunCut::Unclear)
        | (RecordedCut::On, OverrunCut::On { .. })
        | (RecordedCut::Off, OverrunCut::Off)
        // A log that stays above the speed, or below it, cannot tell the kinds apart.
        | (RecordedCut::Above(_), OverrunCut::On { resumes_rpm: None } | OverrunCut::Off) => false,
        (RecordedCut::Above(rpm), OverrunCut::Above { between_rpm: (low, high) }) => {
            rpm < low - SAME_RPM || rpm > high + SAME_RPM
        }
        _ => true,
    }
}

fn is_other_air(recorded: RecordedAir, found: SecondaryAir) -> bool {
    match found {
        SecondaryAir::NotSeen => false,
        SecondaryAir::Active { .. } => recorded != RecordedAir::Active,
        SecondaryAir::DrivenWithoutAir | SecondaryAir::NotActive => recorded == RecordedAir::Active,
    }
}

impl fmt::Display for Contradiction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OverrunCut { recorded, found } => write!(
                f,
                "the record says that fuel {}, the log that it {}; correct the record, or look for a map that was not loaded",
                recorded_cut(*recorded),
                found_cut(*found)
            ),
            Self::SecondaryAir { recorded, found } => write!(
                f,
                "the record says that secondary air is {}, the log that {}; {}",
                match recorded {
                    RecordedAir::Active => "active",
                    RecordedAir::Blocked => "blocked",
                    RecordedAir::NotFitted => "not fitted",
                },
                match found {
                    SecondaryAir::Active { .. } => "air goes into the exhaust",
                    SecondaryAir::DrivenWithoutAir => "the valve is driven and no air comes",
                    SecondaryAir::NotActive => "no air goes into the exhaust",
                    SecondaryAir::NotSeen => "nothing is known",
                },
                match found {
                    SecondaryAir::Active { .. } =>
                        "lambda reads lean by it: block it off before mapping",
                    _ => "look at the valve and its hoses",
                }
            ),
        }
    }
}

fn recorded_cut(recorded: RecordedCut) -> String {
    match recorded {
        RecordedCut::On => "is cut on the overrun".to_owned(),
        RecordedCut::Above(rpm) => format!("is cut on the overrun above {rpm:.0} rpm"),
        RecordedCut::Off => "is not cut on the overrun".to_owned(),
    }
}

fn found_cut(found: OverrunCut) -> String {
    match found {
        OverrunCut::On { resumes_rpm: None } => "is cut".to_owned(),
        OverrunCut::On {
            resumes_rpm: Some((low, high)),
        } => format!("is cut down to {low:.0} to {high:.0} rpm"),
        OverrunCut::Above {
            between_rpm: (low, high),
        } => format!("is cut only above {low:.0} to {high:.0} rpm"),
        OverrunCut::Off => "is not cut".to_owned(),
        OverrunCut::NotSeen | OverrunCut::Unclear => "may be either".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, a log and a record that disagree go on side by side, or a log that tells nothing accuses.
    #[test]
    fn only_what_disagrees_is_said() {
        let recorded = Recorded {
            overrun_cut: Some(RecordedCut::Off),
            secondary_air: Some(RecordedAir::Blocked),
        };
        let found = contradictions(
            &recorded,
            OverrunCut::On { resumes_rpm: None },
            SecondaryAir::Active { shift: None },
        );
        let said: Vec<String> = found.iter().map(ToString::to_string).collect();
        assert_eq!(
            said,
            [
                "the record says that fuel is not cut on the overrun, the log that it is cut; correct the record, or look for a map that was not loaded",
                "the record says that secondary air is blocked, the log that air goes into the exhaust; lambda reads lean by it: block it off before mapping",
            ]
        );
        assert!(contradictions(&recorded, OverrunCut::Off, SecondaryAir::NotActive).is_empty());
        assert!(contradictions(&recorded, OverrunCut::NotSeen, SecondaryAir::NotSeen).is_empty());
        let above = Recorded {
            overrun_cut: Some(RecordedCut::Above(5000.0)),
            secondary_air: None,
        };
        let at = |low, high| OverrunCut::Above {
            between_rpm: (low, high),
        };
        assert!(contradictions(&above, at(4900.0, 4950.0), SecondaryAir::NotSeen).is_empty());
        assert_eq!(
            contradictions(&above, at(3900.0, 3950.0), SecondaryAir::NotSeen).len(),
            1
        );
    }
}

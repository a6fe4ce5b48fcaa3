//! The inbox: one line for each proposal.

use baytrim_api::v1::Proposal;
use baytrim_api::v1::proposal::State;

use super::number::fixed;
use super::proposal::state_name;
use super::text::{counted, plain};
use crate::name::short;

/// Returns the line that nothing waits.
pub(crate) fn render_empty() -> String {
    "Nothing waits for a verdict.\n".to_owned()
}

/// Returns the line of a proposal that waits, or of what became of it; `now_s` is the time, Unix seconds.
pub(crate) fn render_waiting(proposal: &Proposal, now_s: i64) -> String {
    let id = plain(&short(&proposal.name));
    if proposal.state() != State::Open {
        let by = match &proposal.verdict {
            Some(verdict) => format!(" by {}", plain(&verdict.reviewer)),
            None => String::new(),
        };
        return format!("{id:<20}  {}{by}\n", state_name(proposal.state()));
    }
    let age = match &proposal.create_time {
        Some(at) => age(now_s.saturating_sub(at.seconds)),
        None => "-".to_owned(),
    };
    let off = match &proposal.fit {
        Some(fit) => fixed(fit.off_target_percent, 1),
        None => "-".to_owned(),
    };
    let nodes = counted(proposal.change_count as usize, "node");
    let by = plain(&proposal.creator);
    format!("{id:<20}  waits {age:>6}  {off:>5} % off target  {nodes:>9} to change  by {by}\n")
}

/// Returns how long ago something was, in its largest unit.
fn age(seconds: i64) -> String {
    match seconds.max(0) {
        seconds if seconds < 60 => format!("{seconds} s"),
        seconds if seconds < 3600 => format!("{} min", seconds / 60),
        seconds if seconds < 86_400 => format!("{} h", seconds / 3600),
        seconds => format!("{} d", seconds / 86_400),
    }
}

#[cfg(test)]
mod tests {
    use baytrim_api::v1::{FitSummary, Verdict};
    use prost_types::Timestamp;

    use super::*;

    /// A reviewer could not tell what waits longest, how far off it is, or who asks.
    #[test]
    fn a_line_says_what_waits_and_what_became_of_it() {
        let mut proposal = Proposal {
            name: "jobs/quoll-1/proposals/c1".to_owned(),
            state: State::Open.into(),
            creator: "Kim\u{7}".to_owned(),
            change_count: 12,
            create_time: Some(Timestamp {
                seconds: 1000,
                nanos: 0,
            }),
            fit: Some(FitSummary {
                off_target_percent: 4.06,
                ..FitSummary::default()
            }),
            ..Proposal::default()
        };
        assert_eq!(
            render_waiting(&proposal, 1000 + 7300),
            "quoll-1/c1            waits    2 h    4.1 % off target   12 nodes to change  by Kim?\n"
        );
        proposal.state = State::Rejected.into();
        proposal.verdict = Some(Verdict {
            reviewer: "Ines".to_owned(),
            ..Verdict::default()
        });
        assert_eq!(
            render_waiting(&proposal, 0),
            "quoll-1/c1            rejected by Ines\n"
        );
    }

    /// Ages would read in the wrong unit, or a clock that is behind would show a negative one.
    #[test]
    fn ages_are_told_in_their_largest_unit() {
        let ages = [-5, 59, 60, 3599, 3600, 86_399, 86_400].map(age);
        assert_eq!(
            ages,
            ["0 s", "59 s", "1 min", "59 min", "1 h", "23 h", "1 d"]
        );
    }
}

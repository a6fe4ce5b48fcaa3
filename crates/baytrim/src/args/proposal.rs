//! `baytrim propose`, `proposal …`, `approve`, `reject`.

use clap::{Args, Subcommand};

use super::{JobArg, ReasonArg};
use crate::name::{JobName, parse_job, parse_proposal, parse_pull_number};

/// What to compute.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim propose quoll-1\n  \
    baytrim propose quoll-1 --without p2 --dry-run")]
pub(crate) struct ProposeArgs {
    /// The job, for example quoll-1
    #[arg(value_name = "JOB", value_parser = parse_job)]
    pub(crate) job: JobName,
    /// Pulls to leave out
    #[arg(long, value_name = "pN,...", value_delimiter = ',', value_parser = parse_pull_number)]
    pub(crate) without: Vec<String>,
    /// Only compute and show: record nothing
    #[arg(long)]
    pub(crate) dry_run: bool,
}

/// Looks at proposals.
#[derive(Debug, Subcommand)]
pub(crate) enum ProposalCommand {
    /// Show one proposal node by node
    #[command(after_help = "Example:\n  baytrim proposal show quoll-1/c1")]
    Show(ProposalArg),
    /// Compute a proposal again from its raw logs, and compare every number
    #[command(
        after_help = "Example:\n  baytrim proposal reproduce quoll-1/c1\n\nExit code 1 where a number differs."
    )]
    Reproduce(ProposalArg),
    /// List the proposals of a job, newest first
    #[command(after_help = "Example:\n  baytrim proposal list quoll-1")]
    List(JobArg),
}

/// A proposal by name.
#[derive(Debug, Args)]
pub(crate) struct ProposalArg {
    /// The proposal, for example quoll-1/c1
    #[arg(value_name = "ID", value_parser = parse_proposal)]
    pub(crate) proposal: String,
}

/// What to approve.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim approve quoll-1/c1 --reason \"holds looked right, knock quiet\"\n  \
    baytrim approve quoll-1/c1 --only 3000:20,3000:30 --reason \"the dip first\"\n  \
    baytrim approve quoll-1/c1 --only 3000:20=2.5 --reason \"half way, then look\"\n  \
    baytrim approve quoll-1/c1 --share 50 --reason \"first pull after the rebuild\"\n  \
    baytrim approve quoll-1/c2 --grip 5,10 --reason \"the first opening, on the roller\"")]
pub(crate) struct ApproveArgs {
    #[command(flatten)]
    pub(crate) proposal: ProposalArg,
    /// Take these nodes only, as rpm:plate angle in percent, each perhaps with a lesser table value [default: all that change]
    #[arg(long, value_name = "RPM:PLATE[=VALUE],...", value_delimiter = ',', value_parser = parse_take)]
    pub(crate) only: Vec<Take>,
    /// Take these grips only of a grip table, percent, each at all engine speeds [default: all that change]
    #[arg(long, value_name = "PERCENT,...", value_delimiter = ',', value_parser = parse_grip, conflicts_with_all = ["only", "share"])]
    pub(crate) grip: Vec<f64>,
    /// Take this share of each change, in percent [default: 100]
    #[arg(long, value_name = "PERCENT", value_parser = parse_share)]
    pub(crate) share: Option<f64>,
    #[command(flatten)]
    pub(crate) reason: ReasonArg,
}

/// What to reject.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  baytrim reject quoll-1/c1 --reason \"p2 was cold, pull again\""
)]
pub(crate) struct RejectArgs {
    #[command(flatten)]
    pub(crate) proposal: ProposalArg,
    #[command(flatten)]
    pub(crate) reason: ReasonArg,
}

/// What to say.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim comment quoll-1/c1 \"p2 was run with the side covers off\"\n  \
    baytrim comment quoll-1/c1 --node 3000:20 \"heard it knock here\"\n  \
    baytrim comment quoll-1/c2 --grip 30 \"felt abrupt here\"")]
pub(crate) struct CommentArgs {
    #[command(flatten)]
    pub(crate) proposal: ProposalArg,
    /// The node that it is about, as rpm:plate angle in percent [default: the whole proposal]
    #[arg(long, value_name = "RPM:PLATE", value_parser = parse_node)]
    pub(crate) node: Option<Node>,
    /// The grip that it is about, percent, of a proposal for a grip table [default: the whole proposal]
    #[arg(long, value_name = "PERCENT", value_parser = parse_grip, conflicts_with = "node")]
    pub(crate) grip: Option<f64>,
    /// What to say
    #[arg(value_name = "TEXT", value_parser = super::parse_reason)]
    pub(crate) text: String,
}

/// A node as it is typed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Node {
    /// Engine speed.
    pub(crate) rpm: f64,
    /// Plate opening, percent.
    pub(crate) plate_percent: f64,
}

/// A node with how far it is taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Take {
    /// The node.
    pub(crate) node: Node,
    /// Table value to take instead of the proposed one.
    pub(crate) value: Option<f64>,
}

fn number(text: &str) -> Option<f64> {
    let value = text.trim().parse::<f64>().ok();
    value.filter(|value| value.is_finite())
}

fn parse_take(text: &str) -> Result<Take, String> {
    let Some((node, value)) = text.split_once('=') else {
        let node = parse_node(text)?;
        return Ok(Take { node, value: None });
    };
    let value = number(value).ok_or_else(|| {
        "write the table value to take as 3000:20=2.5, that is 2.5 at 3000 rpm and 20 % plate"
            .to_owned()
    });
    Ok(Take {
        node: parse_node(node)?,
        value: Some(value?),
    })
}

fn parse_grip(text: &str) -> Result<f64, String> {
    number(text)
        .filter(|grip| (0.0..=100.0).contains(grip))
        .ok_or_else(|| "write grip in percent, 0 to 100".to_owned())
}

fn parse_share(text: &str) -> Result<f64, String> {
    number(text)
        .filter(|&share| share > 0.0 && share <= 100.0)
        .ok_or_else(|| "write percent, above 0 and at most 100".to_owned())
}

pub(crate) fn parse_node(text: &str) -> Result<Node, String> {
    text.split_once(':')
        .and_then(|(rpm, plate)| {
            let (rpm, plate_percent) = (number(rpm)?, number(plate)?);
            Some(Node { rpm, plate_percent })
        })
        .ok_or_else(|| "write a node as 3000:20, that is 3000 rpm at 20 % plate".to_owned())
}

#[cfg(test)]
mod tests {
    use super::{Node, parse_node, parse_share, parse_take};

    /// A verdict on single nodes would name other nodes than the reviewer typed.
    #[test]
    fn nodes_are_read_as_rpm_and_plate() {
        let node = Node {
            rpm: 3000.0,
            plate_percent: 12.5,
        };
        assert_eq!(parse_node("3000:12.5"), Ok(node));
        for text in ["3000", "3000:", "20:x", "NaN:20", "3000/20"] {
            assert!(parse_node(text).is_err(), "{text}");
        }
    }

    /// A reviewer who takes less would take something else than was typed.
    #[test]
    fn less_is_read_as_a_value_or_a_share() {
        let take = parse_take("3000:12.5=-2.5").unwrap();
        assert_eq!((take.node.rpm, take.value), (3000.0, Some(-2.5)));
        assert_eq!(parse_take("3000:12.5").unwrap().value, None);
        for text in ["3000:20=", "3000=2", "3000:20=inf"] {
            assert!(parse_take(text).is_err(), "{text}");
        }
        assert_eq!(parse_share("50"), Ok(50.0));
        for text in ["0", "101", "-5", "NaN"] {
            assert!(parse_share(text).is_err(), "{text}");
        }
    }
}

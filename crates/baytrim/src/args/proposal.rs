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
    baytrim approve quoll-1/c1 --only 3000:20,3000:30 --reason \"the dip first\"")]
pub(crate) struct ApproveArgs {
    #[command(flatten)]
    pub(crate) proposal: ProposalArg,
    /// Take these nodes only, as rpm:plate angle in percent [default: all that change]
    #[arg(long, value_name = "RPM:PLATE,...", value_delimiter = ',', value_parser = parse_node)]
    pub(crate) only: Vec<Node>,
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

/// A node as it is typed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Node {
    /// Engine speed.
    pub(crate) rpm: f64,
    /// Plate opening, percent.
    pub(crate) plate_percent: f64,
}

fn parse_node(text: &str) -> Result<Node, String> {
    let number = |text: &str| {
        text.trim()
            .parse::<f64>()
            .ok()
            .filter(|value| value.is_finite())
    };
    text.split_once(':')
        .and_then(|(rpm, plate)| {
            let (rpm, plate_percent) = (number(rpm)?, number(plate)?);
            Some(Node { rpm, plate_percent })
        })
        .ok_or_else(|| "write a node as 3000:20, that is 3000 rpm at 20 % plate".to_owned())
}

#[cfg(test)]
mod tests {
    use super::{Node, parse_node};

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
}

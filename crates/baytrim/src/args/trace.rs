//! `baytrim trace`.

use clap::Args;

use super::proposal::{Node, parse_node};
use crate::name::{parse_job, parse_proposal, parse_pull_number};

/// What to trace.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    baytrim trace quoll-1 3000:20\n  \
    baytrim trace quoll-1/c1 3000:20\n  \
    baytrim trace quoll-1 3000:20 --without p2 --quick")]
pub(crate) struct TraceArgs {
    /// The job as it is now, or a proposal: quoll-1 or quoll-1/c1
    #[arg(value_name = "JOB|ID", value_parser = parse_subject)]
    pub(crate) subject: String,
    /// The node, as rpm:plate angle in percent
    #[arg(value_name = "RPM:PLATE", value_parser = parse_node)]
    pub(crate) node: Node,
    /// Pulls to leave out; of a job only
    #[arg(long, value_name = "pN,...", value_delimiter = ',', value_parser = parse_pull_number)]
    pub(crate) without: Vec<String>,
    /// Leave the logs alone: no samples, rows and gates
    #[arg(long)]
    pub(crate) quick: bool,
}

/// Returns the full name of the job or proposal that `text` names.
fn parse_subject(text: &str) -> Result<String, String> {
    parse_proposal(text)
        .or_else(|_| parse_job(text).map(|job| job.full))
        .map_err(|_| "write a job as quoll-1, or a proposal as quoll-1/c1".to_owned())
}

#[cfg(test)]
mod tests {
    use super::parse_subject;

    /// A trace would be of the job where a proposal was meant, or the other way round.
    #[test]
    fn jobs_and_proposals_are_told_apart() {
        assert_eq!(parse_subject("quoll-1").as_deref(), Ok("jobs/quoll-1"));
        let proposal = "jobs/quoll-1/proposals/c1";
        assert_eq!(parse_subject("quoll-1/c1").as_deref(), Ok(proposal));
        assert_eq!(parse_subject(proposal).as_deref(), Ok(proposal));
        assert!(parse_subject("quoll-1/p1").is_err());
    }
}

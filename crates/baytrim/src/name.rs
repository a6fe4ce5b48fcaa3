//! Names as people type them and as the wire has them.
//!
//! People write `quoll-1`, `quoll-1/p2`, `quoll-1/c1`, `r1`; the wire has `jobs/quoll-1`,
//! `jobs/quoll-1/pulls/p2`, `jobs/quoll-1/proposals/c1`, `jobs/quoll-1/revisions/r1`.

/// Name of a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct JobName {
    /// `jobs/quoll-1`.
    pub(crate) full: String,
}

impl JobName {
    /// Returns the form that people type, `quoll-1`.
    pub(crate) fn short(&self) -> String {
        short(&self.full)
    }

    /// Returns the full name of one of the job's revisions; none: the one in force.
    pub(crate) fn revision(&self, number: Option<&str>) -> String {
        format!("{}/revisions/{}", self.full, number.unwrap_or("-"))
    }
}

/// Name of a bay.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct BayName {
    /// `bays/east`.
    pub(crate) full: String,
}

impl BayName {
    /// Returns the form that people type, `east`.
    pub(crate) fn short(&self) -> String {
        short(&self.full)
    }

    /// Returns the full name of one of the bay's channel maps; none: the one in force.
    pub(crate) fn map(&self, number: Option<&str>) -> String {
        format!("{}/maps/{}", self.full, number.unwrap_or("-"))
    }
}

/// Returns the bay that `text` names.
pub(crate) fn parse_bay(text: &str) -> Result<BayName, String> {
    let id = text.strip_prefix("bays/").unwrap_or(text);
    if is_segment(id) {
        Ok(BayName {
            full: format!("bays/{id}"),
        })
    } else {
        Err("write a bay as east: lower-case letters, digits and hyphens".to_owned())
    }
}

/// Returns the number of the channel map that `text` names within its bay, `m2`.
pub(crate) fn parse_map(text: &str) -> Result<String, String> {
    let number = text.rsplit('/').next().unwrap_or(text);
    if is_number(number, 'm') {
        Ok(number.to_owned())
    } else {
        Err("write a channel map as m1".to_owned())
    }
}

/// Returns the job that `text` names.
pub(crate) fn parse_job(text: &str) -> Result<JobName, String> {
    let id = text.strip_prefix("jobs/").unwrap_or(text);
    if is_segment(id) {
        Ok(JobName {
            full: format!("jobs/{id}"),
        })
    } else {
        Err("write a job as quoll-1".to_owned())
    }
}

/// Returns the full name of the pull that `text` names.
pub(crate) fn parse_pull(text: &str) -> Result<String, String> {
    parse_child(text, "pulls", 'p')
        .ok_or_else(|| "write a pull as quoll-1/p2: the job, a slash, its number".to_owned())
}

/// Returns the full name of the proposal that `text` names.
pub(crate) fn parse_proposal(text: &str) -> Result<String, String> {
    parse_child(text, "proposals", 'c')
        .ok_or_else(|| "write a proposal as quoll-1/c1: the job, a slash, its number".to_owned())
}

/// Returns the number of the pull that `text` names within its job, `p2`.
pub(crate) fn parse_pull_number(text: &str) -> Result<String, String> {
    let number = text.rsplit('/').next().unwrap_or(text);
    if is_number(number, 'p') {
        Ok(number.to_owned())
    } else {
        Err("write pulls as p1,p3".to_owned())
    }
}

/// Returns the number of the revision that `text` names within its job, `r1`.
pub(crate) fn parse_revision(text: &str) -> Result<String, String> {
    let number = text.rsplit('/').next().unwrap_or(text);
    if is_number(number, 'r') {
        Ok(number.to_owned())
    } else {
        Err("write a revision as r1; r0 is the base table".to_owned())
    }
}

/// Returns the number of the stage that `text` names within its job, `s2`.
pub(crate) fn parse_stage(text: &str) -> Result<String, String> {
    let number = text.rsplit('/').next().unwrap_or(text);
    if is_number(number, 's') {
        Ok(number.to_owned())
    } else {
        Err("write a stage as s2; s1 is the vehicle as it came".to_owned())
    }
}

/// Returns the form that people type of a full name; anything else as it is.
pub(crate) fn short(full: &str) -> String {
    let parts: Vec<&str> = full.split('/').collect();
    match parts.as_slice() {
        ["jobs" | "bays", name] => (*name).to_owned(),
        ["bays", bay, "maps", number] => format!("{bay}/{number}"),
        [
            "jobs",
            job,
            "pulls" | "proposals" | "revisions" | "stages",
            number,
        ] => format!("{job}/{number}"),
        _ => full.to_owned(),
    }
}

/// Returns the last part of a full name: `r1` of `jobs/quoll-1/revisions/r1`.
pub(crate) fn number(full: &str) -> &str {
    full.rsplit('/').next().unwrap_or(full)
}

/// Returns the job's part of a full name, as people type it; empty where there is none.
pub(crate) fn job_of(full: &str) -> &str {
    full.strip_prefix("jobs/")
        .and_then(|rest| rest.split('/').next())
        .unwrap_or("")
}

fn parse_child(text: &str, collection: &str, letter: char) -> Option<String> {
    let parts: Vec<&str> = text.split('/').collect();
    let (job, number) = match parts.as_slice() {
        [job, number] => (*job, *number),
        ["jobs", job, middle, number] if *middle == collection => (*job, *number),
        _ => return None,
    };
    (is_segment(job) && is_number(number, letter))
        .then(|| format!("jobs/{job}/{collection}/{number}"))
}

fn is_segment(text: &str) -> bool {
    !text.is_empty()
        && text
            .bytes()
            .all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-')
}

fn is_number(text: &str, letter: char) -> bool {
    text.strip_prefix(letter)
        .is_some_and(|rest| !rest.is_empty() && rest.bytes().all(|byte| byte.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::{job_of, number, parse_job, parse_proposal, parse_pull, parse_revision, short};

    /// A tuner could not name a pull the way the program itself prints it.
    #[test]
    fn short_and_full_forms_name_the_same_thing() {
        assert_eq!(parse_job("quoll-1"), parse_job("jobs/quoll-1"));
        assert_eq!(
            parse_pull("quoll-1/p2"),
            Ok("jobs/quoll-1/pulls/p2".to_owned())
        );
        assert_eq!(
            parse_pull("quoll-1/p2"),
            parse_pull("jobs/quoll-1/pulls/p2")
        );
        assert_eq!(
            parse_proposal("quoll-1/c1"),
            parse_proposal("jobs/quoll-1/proposals/c1")
        );
        assert_eq!(
            parse_revision("r4"),
            parse_revision("jobs/quoll-1/revisions/r4")
        );
        for full in ["jobs/quoll-1/pulls/p2", "jobs/quoll-1/proposals/c1"] {
            let parsed = parse_pull(&short(full)).or_else(|_| parse_proposal(&short(full)));
            assert_eq!(parsed.as_deref(), Ok(full));
        }
        assert_eq!(number("jobs/quoll-1/revisions/r1"), "r1");
        assert_eq!(job_of("jobs/quoll-1/revisions/r1"), "quoll-1");
    }

    /// A slip of the finger would go to the server as some other name.
    #[test]
    fn other_things_are_refused() {
        assert!(parse_job("Quoll 1").is_err());
        assert!(parse_pull("quoll-1").is_err());
        assert!(parse_pull("quoll-1/c1").is_err());
        assert!(parse_pull("jobs/quoll-1/proposals/p1").is_err());
        assert!(parse_proposal("quoll-1/p1").is_err());
        assert!(parse_revision("1").is_err());
    }
}

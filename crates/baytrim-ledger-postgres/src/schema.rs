//! The tables, and how they came to be: forward only, one version after the other.

use tokio_postgres::error::SqlState;

use crate::error::OpenError;
use crate::session::Session;
use crate::trouble::Trouble;

/// Version of the tables that this program writes.
pub const SCHEMA_VERSION: i32 = 1;

/// What makes each version of the one before; what was released is never changed.
const STEPS: [&str; 1] = [include_str!("schema/v1.sql")];

const VERSION: &str = "select max(version) from baytrim_schema";

/// Brings the tables to [`SCHEMA_VERSION`]; returns the version that was there.
///
/// Several programs may do so at once: the first that takes a version's number makes its tables.
pub(crate) async fn migrate(session: &Session) -> Result<Option<i32>, Trouble> {
    let before = version(session).await?;
    let mut now = before.unwrap_or(0);
    if now > SCHEMA_VERSION {
        return Err(Trouble::Refused(Box::new(OpenError::NewerSchema {
            found: now,
            known: SCHEMA_VERSION,
        })));
    }
    while now < SCHEMA_VERSION {
        let step = STEPS[usize::try_from(now).unwrap_or(0)];
        now += 1;
        let table = if now == 1 {
            "create table baytrim_schema (version int primary key, at timestamptz not null default now());"
        } else {
            ""
        };
        let sql = format!(
            "begin; {table} insert into baytrim_schema (version) values ({now}); {step} commit"
        );
        match session.batch(&sql).await {
            Ok(()) => tracing::info!(
                version = now,
                "the tables of the ledger were brought forward"
            ),
            Err(trouble) => {
                // An open transaction that failed takes nothing but its end.
                session.batch("rollback").await?;
                if !is_done_by_another(&trouble) {
                    return Err(trouble);
                }
                now = version(session).await?.ok_or(Trouble::Moved)?;
            }
        }
    }
    Ok(before)
}

/// Returns the version of the tables; none while there are none.
async fn version(session: &Session) -> Result<Option<i32>, Trouble> {
    let there = "select to_regclass('baytrim_schema') is not null";
    let is_there = session.query_opt(there, &[]).await?;
    if !is_there.is_some_and(|row| row.get(0)) {
        return Ok(None);
    }
    let row = session.query_opt(VERSION, &[]).await?;
    Ok(row.and_then(|row| row.get(0)))
}

fn is_done_by_another(trouble: &Trouble) -> bool {
    let taken = [
        SqlState::UNIQUE_VIOLATION,
        SqlState::DUPLICATE_TABLE,
        SqlState::DUPLICATE_OBJECT,
    ];
    matches!(trouble, Trouble::Database(error) if error.code().is_some_and(|code| taken.contains(code)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, a version has no tables, or tables have no version.
    #[test]
    fn every_version_has_its_step() {
        assert_eq!(STEPS.len(), usize::try_from(SCHEMA_VERSION).expect("small"));
    }
}

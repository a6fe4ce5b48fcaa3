//! Lists that come page by page.

use std::future::Future;

use crate::exit::Exit;
use crate::failure::Failure;

/// Entries of one page: the most that the API gives.
pub(crate) const PAGE_SIZE: i32 = 200;

/// Most pages of one list; 200 000 entries are no list for a terminal.
const PAGES_MAX: usize = 1000;

/// Returns the entries of all pages; `page` fetches the one that a token names.
///
/// # Errors
/// Those of `page`, and when the pages do not end.
pub(crate) async fn all_pages<T, F>(page: impl Fn(String) -> F) -> Result<Vec<T>, Failure>
where
    F: Future<Output = Result<(Vec<T>, String), Failure>>,
{
    let mut entries = Vec::new();
    let mut token = String::new();
    for _ in 0..PAGES_MAX {
        let (more, next) = page(token).await?;
        entries.extend(more);
        if next.is_empty() {
            return Ok(entries);
        }
        token = next;
    }
    let message = format!("the list has more than {} entries", entries.len());
    Err(Failure::local(Exit::Failed, "LIST_TOO_LONG", message))
}

//! Lists of jobs and bays: the names of their streams.

use std::str::FromStr;

use baytrim_ledger::{Head, StreamName};

use super::Shop;
use crate::convert::page::Page;
use crate::fault::Fault;

impl Shop {
    /// Returns the page of all names whose streams begin with `prefix`, in their order, each with the head of its
    /// records, and the token of the next page.
    ///
    /// # Errors
    /// The store's fault.
    pub fn list<N>(&self, prefix: &str, page: &Page) -> Result<(Vec<(N, Head)>, String), Fault>
    where
        N: FromStr + ToString,
    {
        let after = page.after.as_deref();
        let after = after.and_then(|name| StreamName::new(&format!("{prefix}{name}")).ok());
        // One more than is shown, to know whether there is a next page.
        let streams = self.store.streams(prefix, after.as_ref(), page.size + 1)?;
        let names = streams.iter().filter_map(|(stream, head)| {
            let name = stream.as_str().strip_prefix(prefix)?;
            Some((name.parse().ok()?, *head))
        });
        let mut names: Vec<(N, Head)> = names.collect();
        let is_more = names.len() > page.size;
        names.truncate(page.size);
        let token = match names.last() {
            Some((last, _)) if is_more => page.token_after(&last.to_string()),
            _ => String::new(),
        };
        Ok((names, token))
    }
}

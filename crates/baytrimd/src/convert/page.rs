//! Pages of lists.

use std::fmt::Write as _;

use baytrim_jobs::Refusal;

use crate::limits::{PAGE_SIZE_MAX, PAGE_SIZE_USUAL};

/// The page that is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page {
    /// Which list: tokens of one list are no good in another.
    list: String,
    /// Most entries.
    pub size: usize,
    /// The last entry of the page before; none on the first page.
    pub after: Option<String>,
}

impl Page {
    /// Returns the page of `list` that is asked for.
    ///
    /// # Errors
    /// When the size is negative or the token is none of this list's.
    pub fn parse(list: &str, page_size: i32, page_token: &str) -> Result<Self, Refusal> {
        let size = usize::try_from(page_size).map_err(|_| {
            Refusal::field(
                "page_size",
                format!("{page_size} is negative"),
                "write 0 for the usual size, or a positive number",
            )
        })?;
        let size = if size == 0 {
            PAGE_SIZE_USUAL
        } else {
            size.min(PAGE_SIZE_MAX)
        };
        let after = match page_token {
            "" => None,
            token => Some(open(list, token).ok_or_else(|| {
                Refusal::field(
                    "page_token",
                    "is not one that this list gave",
                    "send next_page_token of the answer before, with the same parent, or leave it empty",
                )
            })?),
        };
        Ok(Self {
            list: list.to_owned(),
            size,
            after,
        })
    }

    /// Returns the token of the page after `last`.
    pub fn token_after(&self, last: &str) -> String {
        format!("{}\n{last}", self.list)
            .bytes()
            .fold(String::new(), |mut token, byte| {
                let _ = write!(token, "{byte:02x}");
                token
            })
    }

    /// Returns the entries of the page and the token of the next, from all entries of the list in its
    /// order; `key` names an entry.
    pub fn cut<T>(
        &self,
        all: impl Iterator<Item = T>,
        key: impl Fn(&T) -> String,
    ) -> (Vec<T>, String) {
        let mut rest = all.skip_while({
            // Everything up to and with the last entry of the page before.
            let mut passed = self.after.is_none();
            let key = &key;
            move |entry| {
                let skip = !passed;
                passed = passed || self.after.as_ref() == Some(&key(entry));
                skip
            }
        });
        let entries: Vec<T> = rest.by_ref().take(self.size).collect();
        let token = match (entries.last(), rest.next()) {
            (Some(last), Some(_)) => self.token_after(&key(last)),
            _ => String::new(),
        };
        (entries, token)
    }
}

fn open(list: &str, token: &str) -> Option<String> {
    if !token.len().is_multiple_of(2) || token.len() > 1024 || !token.is_ascii() {
        return None;
    }
    let bytes = (0..token.len()).step_by(2);
    let bytes = bytes.map(|at| u8::from_str_radix(&token[at..at + 2], 16).ok());
    let text = String::from_utf8(bytes.collect::<Option<Vec<u8>>>()?).ok()?;
    let (found, after) = text.split_once('\n')?;
    (found == list).then(|| after.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(all: &[u32], size: i32) -> String {
        let mut pages = Vec::new();
        let mut token = String::new();
        loop {
            let page = Page::parse("numbers", size, &token).expect("a good token");
            let (entries, next) = page.cut(all.iter(), ToString::to_string);
            pages.push(format!("{entries:?}"));
            if next.is_empty() {
                return pages.join(" ");
            }
            token = next;
        }
    }

    /// If this fails, a list read page by page loses or repeats entries, or never ends.
    #[test]
    fn pages_cover_a_list_once() {
        assert_eq!(check(&[], 2), "[]");
        assert_eq!(check(&[1, 2], 2), "[1, 2]");
        assert_eq!(check(&[5, 4, 3, 2, 1], 2), "[5, 4] [3, 2] [1]");
        assert_eq!(check(&[5, 4, 3], 1000), "[5, 4, 3]");
    }

    /// If this fails, a token of one list opens another, or a mangled one is guessed at.
    #[test]
    fn foreign_tokens_are_refused() {
        let page = Page::parse("numbers", 0, "").expect("the first page");
        assert_eq!(page.size, PAGE_SIZE_USUAL);
        let token = page.token_after("7");
        assert_eq!(
            Page::parse("numbers", 0, &token)
                .expect("its own")
                .after
                .as_deref(),
            Some("7")
        );
        for bad in [token.as_str(), "zz", "7", "\u{e9}\u{e9}"] {
            assert!(Page::parse("letters", 0, bad).is_err(), "{bad}");
        }
        assert!(Page::parse("numbers", -1, "").is_err());
    }
}

//! What was said about a proposal.

use baytrim_api::v1::Comment;

use super::number::breakpoint;
use super::style::{Ink, RenderOptions};
use super::text::{hang, moment, plain};

/// Returns what was said about a proposal, oldest first; empty where nothing was.
pub(crate) fn comments(comments: &[Comment], options: &RenderOptions) -> String {
    if comments.is_empty() {
        return String::new();
    }
    let mut page = options.paint(Ink::Strong, "Comments") + "\n";
    for comment in comments {
        page += &render_comment(comment, options);
    }
    page
}

/// Returns one comment: who said it when about what, and the words.
pub(crate) fn render_comment(comment: &Comment, options: &RenderOptions) -> String {
    let when = moment(comment.create_time.map(|time| time.to_string()));
    let place = match (comment.rpm, comment.plate_percent, comment.grip_percent) {
        (Some(rpm), Some(plate), _) => {
            format!(", on {} rpm, {} %", breakpoint(rpm), breakpoint(plate))
        }
        (_, _, Some(grip)) => format!(", on {} % of grip", breakpoint(grip)),
        _ => String::new(),
    };
    let (number, author, text) = (comment.number, plain(&comment.author), plain(&comment.text));
    let line = format!("{number}. {author}, {when}{place}: {text}");
    hang(&line, options.width, 2, 4)
}

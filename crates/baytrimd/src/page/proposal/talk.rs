//! What was said about a proposal and its nodes, and where to say more.

use baytrim_jobs::comment::COMMENT_BYTES_MAX;
use baytrim_jobs::state::CommentEntry;
use baytrim_model::proposal::NodeChange;
use maud::{Markup, html};

use super::View;
use crate::page::grid::place;
use crate::page::moment::moment;
use crate::page::number::breakpoint;

/// Returns all comments and the field for another one.
pub(crate) fn section(view: &View<'_>) -> Markup {
    html! {
        section.talk aria-labelledby="talk" {
            h2 #talk tabindex="-1" { "Comments" }
            div #live-talk data-live {
                @if view.entry.comments.is_empty() { p.empty { "Nobody said anything yet." } }
                @for comment in &view.entry.comments { (said(comment, true)) }
            }
            (say(view))
        }
    }
}

/// Returns the comments on one node; nothing where there are none.
pub(crate) fn about(view: &View<'_>, node: &NodeChange) -> Markup {
    let here = view.entry.comments.iter().filter(|comment| {
        let place = comment.node.map(|node| (node.rpm, node.plate_percent));
        place == Some((node.rpm, node.plate_percent))
    });
    let here: Vec<&CommentEntry> = here.collect();
    html! {
        @if !here.is_empty() {
            h3 { "Said about it" }
            @for comment in here { (said(comment, false)) }
        }
    }
}

fn said(comment: &CommentEntry, with_place: bool) -> Markup {
    html! {
        p.said {
            strong { (comment.by) } ", " (moment(comment.at))
            @if let Some(node) = comment.node.filter(|_| with_place) {
                ", on "
                a href={ "?node=" (breakpoint(node.rpm)) ":" (breakpoint(node.plate_percent)) "#at" } {
                    (place(node.rpm, node.plate_percent))
                }
            }
        }
        blockquote { (comment.text) }
    }
}

fn say(view: &View<'_>) -> Markup {
    let axes = &view.state.spec.axes;
    let node = view.node.map(|node| axes.position(node));
    html! {
        div.say {
            @if let Some((rpm, plate_percent)) = node {
                label.field {
                    span { "About" }
                    select name="node" {
                        option value={ (breakpoint(rpm)) ":" (breakpoint(plate_percent)) } { (place(rpm, plate_percent)) }
                        option value="" { "the whole proposal" }
                    }
                }
            } @else if view.entry.proposal.table.is_fuel() { p.quiet { "About the whole proposal; touch a cell first to say something about its node." } }
            label.field {
                span { "Comment (all who work here can read it)" }
                textarea name="text" rows="2" maxlength=(COMMENT_BYTES_MAX) { (view.draft.comment) }
            }
            div.buttons { button type="submit" formaction={ (view.path()) "/comment" } formnovalidate { "Add the comment" } }
        }
    }
}

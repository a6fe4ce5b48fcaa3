//! What was said about a proposal and its nodes, and where to say more.

use baytrim_jobs::comment::COMMENT_BYTES_MAX;
use baytrim_jobs::state::CommentEntry;
use baytrim_model::proposal::NodeChange;
use baytrim_model::record::CommentPlace;
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
        let place = match comment.node {
            Some(CommentPlace::Node(place)) => Some((place.rpm, place.plate_percent)),
            _ => None,
        };
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

/// Returns the anchor of a grip's row.
pub(super) fn row_id(grip_percent: f64) -> String {
    format!("grip-{}", breakpoint(grip_percent))
}

/// Returns how many comments are about a grip.
pub(super) fn count_about(view: &View<'_>, grip_percent: f64) -> usize {
    let about = CommentPlace::Grip { grip_percent };
    let comments = view.entry.comments.iter();
    comments
        .filter(|comment| comment.node == Some(about))
        .count()
}

fn said(comment: &CommentEntry, with_place: bool) -> Markup {
    html! {
        p.said {
            strong { (comment.by) } ", " (moment(comment.at))
            @match comment.node.filter(|_| with_place) {
                None => {},
                Some(CommentPlace::Node(node)) => {
                    ", on "
                    a href={ "?node=" (breakpoint(node.rpm)) ":" (breakpoint(node.plate_percent)) "#at" } {
                        (place(node.rpm, node.plate_percent))
                    }
                },
                Some(CommentPlace::Grip { grip_percent }) => {
                    ", on " a href={ "#" (row_id(grip_percent)) } { (breakpoint(grip_percent)) " % of grip" }
                },
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
            } @else if let Some(grip) = &view.entry.proposal.grip {
                label.field {
                    span { "About" }
                    select name="node" {
                        option value="" { "the whole proposal" }
                        @for row in &grip.rows {
                            option value=(row.grip_percent) selected[view.draft.about == row.grip_percent.to_string()] {
                                (breakpoint(row.grip_percent)) " % of grip"
                            }
                        }
                    }
                }
            } @else { p.quiet { "About the whole proposal; touch a cell first to say something about its node." } }
            label.field {
                span { "Comment (all who work here can read it)" }
                textarea name="text" rows="2" maxlength=(COMMENT_BYTES_MAX) { (view.draft.comment) }
            }
            div.buttons { button type="submit" formaction={ (view.path()) "/comment" } formnovalidate { "Add the comment" } }
        }
    }
}

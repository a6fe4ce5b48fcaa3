//! The numbers of a plate band as a table, for those who can't see the chart and for paper.

use baytrim_jobs::JobState;
use maud::{Markup, html};

use super::band::near;
use super::{Chosen, PullPoints};
use crate::page::number::breakpoint;

/// Returns the table: a row for each breakpoint of speed.
pub(super) fn table(state: &JobState, chosen: &Chosen<'_>, drawn: &[PullPoints<'_>]) -> Markup {
    let axes = &state.spec.axes;
    let stops = chosen.band.stops(state, chosen.proposal);
    let read: Vec<_> = drawn.iter().map(|pull| near(axes, &pull.points)).collect();
    html! {
        div.scroll.wide role="region" tabindex="0" aria-label="Lambda at each speed" {
            table.list.compact {
                thead { tr {
                    th.n scope="col" { "rpm" } th.n scope="col" { "target" } th.n scope="col" { "leanest" }
                    @if chosen.proposal.is_some() { th.n scope="col" { "before" } th.n scope="col" { "predicted" } }
                    @for pull in drawn { th.n scope="col" { (pull.pull.record.id) ", " (pull.pull.record.revision) " loaded: mean, lowest to highest" } }
                } }
                tbody {
                    @for (index, stop) in stops.iter().enumerate() {
                        tr {
                            th.n scope="row" { (breakpoint(stop.rpm)) }
                            td.n { (format!("{:.3}", stop.target)) }
                            td.n { (format!("{:.3}", stop.leanest)) }
                            @if chosen.proposal.is_some() {
                                @if let Some(said) = stop.said {
                                    td.n { (format!("{:.3}", said.before)) }
                                    td.n {
                                        (format!("{:.3}", said.predicted))
                                        @if let Some([low, high]) = said.interval { " (" (format!("{low:.3}\u{2013}{high:.3}")) ")" }
                                    }
                                } @else { td.n { "\u{b7}" } td.n { "\u{b7}" } }
                            }
                            @for pull in &read {
                                @match pull[index] {
                                    Some(near) => td.n {
                                        (format!("{:.3}", near.mean)) ", "
                                        (format!("{:.3}\u{2013}{:.3}", near.lowest, near.highest))
                                        small { " " (format!("{:.1} s", near.seconds)) }
                                    },
                                    None => td.n { "\u{b7}" },
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

//! Lambda against engine speed for one plate band: target, before, predicted, and what pulls read.

pub(crate) mod band;
mod data;
mod table;

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::response::{Html, Response};
use baytrim_jobs::JobState;
use baytrim_jobs::state::{ProposalEntry, PullEntry};
use baytrim_model::ids::PullId;
use maud::{Markup, html};

use super::number::breakpoint;
use super::problem::Problem;
use super::read::{self, Page};
use super::signed::carried;
use super::{address, chart, frame};
use crate::compute::blocking;
use crate::fault::Fault;
use crate::shop::{Loaded, Shop};
use band::{Band, Point};

/// Pulls that are drawn where nobody chooses: the newest, more than six can't be told apart.
const PULLS_MAX: usize = 6;

/// What is asked for; names may come several times.
pub(super) type Asked = Query<Vec<(String, String)>>;

/// What is drawn.
struct Chosen<'a> {
    band: Band,
    pulls: Vec<&'a PullEntry>,
    proposal: Option<&'a ProposalEntry>,
}

/// The readings of one pull in the band.
struct PullPoints<'a> {
    pull: &'a PullEntry,
    points: Vec<Point>,
}

/// Shows the page.
pub(super) async fn page(
    State(shop): State<Arc<Shop>>,
    Path(id): Path<String>,
    Query(asked): Asked,
) -> Page {
    let job = read::load_whole(&shop, &id).await?;
    let page = blocking(carried(move || {
        let chosen = Chosen::of(&job.state, &asked)?;
        let drawn = points(&shop, &job, &chosen)?;
        Ok(render(&job.state, &chosen, &drawn).into_string())
    }));
    Ok(Html(page.await?))
}

/// Returns what the page's chart draws.
pub(super) async fn band(
    State(shop): State<Arc<Shop>>,
    Path(id): Path<String>,
    Query(asked): Asked,
) -> Result<Response, Problem> {
    let job = read::load_whole(&shop, &id).await?;
    let drawn = blocking(move || {
        let chosen = Chosen::of(&job.state, &asked)?;
        let drawn = points(&shop, &job, &chosen)?;
        Ok(data::of(&job.state, &chosen, &drawn))
    });
    chart::json(&drawn.await?)
}

fn points<'a>(
    shop: &Shop,
    job: &Loaded,
    chosen: &Chosen<'a>,
) -> Result<Vec<PullPoints<'a>>, Fault> {
    let pulls = chosen.pulls.iter().copied();
    pulls
        .map(|pull| {
            let evidence = shop.evidence().of_pull(&**shop.store(), job, pull)?;
            Ok(PullPoints {
                pull,
                points: chosen.band.points(&job.state, pull, &evidence),
            })
        })
        .collect()
}

impl<'a> Chosen<'a> {
    fn of(state: &'a JobState, asked: &[(String, String)]) -> Result<Self, Fault> {
        let all = |name: &'static str| {
            let named = asked.iter().filter(move |(found, _)| found == name);
            named.map(|(_, value)| value.as_str())
        };
        let axis = &state.spec.axes.plate_percent;
        let plate = all("plate").next().and_then(|text| text.parse().ok());
        // Widest open is where lambda matters most.
        let plate = plate
            .and_then(|value| axis.find(value))
            .unwrap_or(axis.len() - 1);
        let pulls = all("pull").map(|text| {
            let id: PullId = text
                .parse()
                .map_err(|error| Fault::from(baytrim_jobs::Refusal::Fields(vec![error])))?;
            Ok::<_, Fault>(state.pull(id)?)
        });
        let mut pulls = pulls.collect::<Result<Vec<_>, _>>()?;
        if all("shown").next().is_none() && pulls.is_empty() {
            pulls = state.pulls.iter().rev().take(PULLS_MAX).collect();
            pulls.reverse();
        }
        pulls.truncate(PULLS_MAX);
        let named = all("proposal").next().and_then(|text| text.parse().ok());
        let proposal = match named {
            Some(id) => Some(state.proposal(id)?).filter(|entry| entry.proposal.table.is_fuel()),
            None if all("proposal").next().is_some() => None,
            None => state.fuel_proposals().next_back(),
        };
        Ok(Self {
            band: Band::of(&state.spec.axes, plate),
            pulls,
            proposal,
        })
    }

    fn query(&self, plate: f64) -> String {
        use std::fmt::Write as _;
        let mut query = format!("shown=1&plate={}", breakpoint(plate));
        for pull in &self.pulls {
            let _ = write!(query, "&pull={}", pull.record.id);
        }
        let proposal = self.proposal.map(|entry| entry.proposal.id.to_string());
        let _ = write!(
            query,
            "&proposal={}",
            proposal.unwrap_or_else(|| "none".to_owned())
        );
        query
    }
}

fn render(state: &JobState, chosen: &Chosen<'_>, drawn: &[PullPoints<'_>]) -> Markup {
    let plate = state.spec.axes.plate_percent.breakpoints()[chosen.band.plate];
    let title = format!("Lambda against speed of {}", state.spec.title);
    let way = [(state.spec.title.clone(), address::job(state.id()))];
    let source = format!(
        "{}/band?{}",
        address::traces(state.id()),
        chosen.query(plate)
    );
    let body = html! {
        h1 { "Lambda against speed" }
        (address::sections(state.id(), "traces"))
        form.chosen method="get" action=(address::traces(state.id())) {
            (form(state, chosen))
        }
        (plates(state, chosen))
        section aria-labelledby="band" {
            h2 #band { "Plate " (breakpoint(plate)) " %" (span(chosen.band)) }
            (chart::frame("band", &source, "Lambda against engine speed; the table below holds the same numbers",
                "Keys: arrows move from speed to speed, Page Up and Page Down five at a time."))
            (data::key(chosen))
            p.quiet {
                "A reading is a mean over about a fifth of a second, drawn at the speed at which its exhaust was made: "
                "the delay is taken off. Where there are many, the lowest and the highest of each step are drawn. "
                "Lines stop where no pull has been."
            }
        }
        details open[drawn.iter().all(|pull| pull.points.is_empty())] {
            summary { "The same as a table" }
            (table::table(state, chosen, drawn))
        }
    };
    frame::charted(&title, &way, &body)
}

/// Returns a link for each plate, so that one touch leads on.
fn plates(state: &JobState, chosen: &Chosen<'_>) -> Markup {
    let plates = state.spec.axes.plate_percent.breakpoints().iter();
    html! {
        nav.plates aria-label="Plate" {
            span.quiet { "Plate, %" }
            @for (index, &plate) in plates.enumerate() {
                @let here = index == chosen.band.plate;
                a href={ (address::traces(state.id())) "?" (chosen.query(plate)) } aria-current=[here.then_some("page")] {
                    (breakpoint(plate))
                }
            }
        }
    }
}

fn span(band: Band) -> String {
    match (band.low.is_finite(), band.high.is_finite()) {
        (true, true) => format!(": {} to {} %", breakpoint(band.low), breakpoint(band.high)),
        (true, false) => format!(": from {} %", breakpoint(band.low)),
        (false, true) => format!(": to {} %", breakpoint(band.high)),
        (false, false) => String::new(),
    }
}

fn form(state: &JobState, chosen: &Chosen<'_>) -> Markup {
    let plate = state.spec.axes.plate_percent.breakpoints()[chosen.band.plate];
    html! {
        input type="hidden" name="shown" value="1";
        input type="hidden" name="plate" value=(plate);
        label.field {
            span { "Proposal" }
            select name="proposal" {
                @for entry in state.fuel_proposals().rev() {
                    @let id = entry.proposal.id;
                    @let is_chosen = chosen.proposal.is_some_and(|chosen| chosen.proposal.id == id);
                    option value=(id) selected[is_chosen] { (id) " from " (entry.proposal.base_revision) }
                }
                option value="none" selected[chosen.proposal.is_none()] { "none" }
            }
        }
        fieldset.field {
            legend { "Pulls" }
            @for entry in state.pulls.iter().rev() {
                @let id = entry.record.id;
                label.tick {
                    input type="checkbox" name="pull" value=(id)
                        checked[chosen.pulls.iter().any(|pull| pull.record.id == id)];
                    (id) " (" (entry.record.revision) ")"
                }
            }
        }
        button type="submit" { "Show" }
    }
}

//! `baytrim inbox`.

use std::collections::BTreeMap;
use std::time::{SystemTime, UNIX_EPOCH};

use baytrim_api::v1::proposal::State;
use baytrim_api::v1::watch_service_client::WatchServiceClient;
use baytrim_api::v1::{Proposal, WatchProposalsRequest, WatchProposalsResponse};
use tonic::{Status, Streaming};

use super::follow::{Followed, endless, follow};
use crate::client::Server;
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::inbox::WaitingJson;
use crate::render::inbox::{render_empty, render_waiting};

/// Proposals that the server takes as known; those beyond are told again after a break.
const KNOWN_MAX: usize = 1000;

/// The proposals that wait.
struct Inbox {
    waiting: BTreeMap<String, Proposal>,
    /// Whether all that waited at the start were told.
    is_told: bool,
    goes_on: bool,
}

/// Prints the proposals that wait; where it goes on, also those that come and what becomes of them.
pub(crate) async fn run(goes_on: bool, context: &mut Context<'_>) -> Result<Exit, Failure> {
    let mut inbox = Inbox {
        waiting: BTreeMap::new(),
        is_told: false,
        goes_on,
    };
    follow(&mut inbox, context).await
}

impl Inbox {
    /// Prints all that wait, who waits longest first.
    fn print_all(&self, context: &mut Context<'_>) -> Result<(), Failure> {
        let mut waiting: Vec<&Proposal> = self.waiting.values().collect();
        waiting.sort_by_key(|proposal| {
            let at = proposal.create_time.unwrap_or_default();
            (at.seconds, at.nanos)
        });
        if waiting.is_empty() && !context.is_json() {
            context.write(render_empty().as_bytes())?;
        }
        for proposal in waiting {
            print(proposal, context)?;
        }
        Ok(())
    }
}

impl Followed for Inbox {
    type Answer = WatchProposalsResponse;

    async fn open(&self, server: &Server) -> Result<Streaming<WatchProposalsResponse>, Status> {
        let known = self.waiting.keys().take(KNOWN_MAX).cloned();
        let request = WatchProposalsRequest {
            known_proposals: known.collect(),
        };
        let mut client = WatchServiceClient::new(server.channel());
        let opened = client.watch_proposals(endless(server, request)).await?;
        Ok(opened.into_inner())
    }

    fn take(
        &mut self,
        answer: WatchProposalsResponse,
        context: &mut Context<'_>,
    ) -> Result<bool, Failure> {
        if let Some(proposal) = answer.proposal {
            if self.is_told {
                print(&proposal, context)?;
            }
            if proposal.state() == State::Open {
                self.waiting.insert(proposal.name.clone(), proposal);
            } else {
                self.waiting.remove(&proposal.name);
            }
        } else if !self.is_told {
            self.is_told = true;
            self.print_all(context)?;
        }
        Ok(self.goes_on || !self.is_told)
    }
}

fn print(proposal: &Proposal, context: &mut Context<'_>) -> Result<(), Failure> {
    let now_s = now_s();
    context.result(&WaitingJson::from(proposal), |_| {
        render_waiting(proposal, now_s)
    })
}

#[expect(
    clippy::disallowed_methods,
    reason = "how long something waits is told by this machine's clock"
)]
fn now_s() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    since.map_or(0, |since| {
        i64::try_from(since.as_secs()).unwrap_or(i64::MAX)
    })
}

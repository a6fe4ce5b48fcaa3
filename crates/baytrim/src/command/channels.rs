//! `baytrim channels …`.

use std::path::Path;

use baytrim_api::v1::suggest_channels_request::Message;
use baytrim_api::v1::{OpenSuggestion, SuggestChannelsRequest};
use tokio::fs::OpenOptions;
use tokio::io::AsyncWriteExt as _;

use super::send::{Wrapping, file_name, send};
use crate::args::channels::{ChannelsCommand, SuggestArgs};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::channels::SuggestionJson;
use crate::render::channels::render_suggestion;

/// Does what `command` asks.
pub(crate) async fn run(
    command: &ChannelsCommand,
    context: &mut Context<'_>,
) -> Result<Exit, Failure> {
    match command {
        ChannelsCommand::Suggest(args) => suggest(args, context).await?,
    }
    Ok(Exit::Done)
}

async fn suggest(args: &SuggestArgs, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let open = OpenSuggestion {
        source_name: file_name(&args.log),
    };
    let wrapping = Wrapping {
        open: SuggestChannelsRequest {
            message: Some(Message::Open(open)),
        },
        chunk: |bytes| SuggestChannelsRequest {
            message: Some(Message::Chunk(bytes)),
        },
    };
    let answer = send(
        &server,
        &args.log,
        &wrapping,
        context,
        |mut client, request| async move { client.suggest_channels(request).await },
    );
    let suggestion = answer.await?;
    if let Some(path) = &args.output {
        write_new(path, &suggestion.channel_map).await?;
    }
    let value = SuggestionJson::new(&suggestion, args.output.as_deref());
    context.result(&value, |options| {
        render_suggestion(&suggestion, args.output.as_deref(), options)
    })
}

/// Writes a file that must not be there yet: a map that somebody mended is not written over.
async fn write_new(path: &Path, text: &str) -> Result<(), Failure> {
    let trouble = |error: std::io::Error| Failure::file("write the channel map", path, &error);
    let mut options = OpenOptions::new();
    let file = options.write(true).create_new(true).open(path);
    let mut file = file.await.map_err(trouble)?;
    file.write_all(text.as_bytes()).await.map_err(trouble)?;
    file.flush().await.map_err(trouble)
}

//! `baytrim channels …`.

use std::path::Path;

use baytrim_api::v1::bay_service_client::BayServiceClient;
use baytrim_api::v1::pull_service_client::PullServiceClient;
use baytrim_api::v1::suggest_channels_request::Message;
use baytrim_api::v1::{
    ChannelMap, GetChannelMapRequest, ListBaysRequest, ListChannelMapsRequest, OpenSuggestion,
    SetChannelMapRequest, SuggestChannelsRequest,
};
use tokio::fs::OpenOptions;
use tokio::io::AsyncWriteExt as _;

use super::pages::{PAGE_SIZE, all_pages};
use super::request_id;
use super::send::{Wrapping, file_name, send};
use crate::args::channels::{ChannelsCommand, SetArgs, ShowArgs, SuggestArgs};
use crate::client::{ANSWER_BYTES_MAX, QUICK};
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::channel_maps::{BaysJson, MapJson, MapsJson};
use crate::json::channels::SuggestionJson;
use crate::name::BayName;
use crate::render::channel_maps::{render_bays, render_map, render_maps};
use crate::render::channels::render_suggestion;

/// Does what `command` asks.
pub(crate) async fn run(
    command: &ChannelsCommand,
    context: &mut Context<'_>,
) -> Result<Exit, Failure> {
    match command {
        ChannelsCommand::Suggest(args) => suggest(args, context).await?,
        ChannelsCommand::Set(args) => set(args, context).await?,
        ChannelsCommand::Show(args) => show(args, context).await?,
        ChannelsCommand::History(arg) => history(&arg.bay, context).await?,
        ChannelsCommand::List => list(context).await?,
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
        context.draws_progress(),
        |channel, request| async move {
            PullServiceClient::new(channel)
                .max_decoding_message_size(ANSWER_BYTES_MAX)
                .suggest_channels(request)
                .await
        },
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

async fn set(args: &SetArgs, context: &mut Context<'_>) -> Result<(), Failure> {
    let text = tokio::fs::read_to_string(&args.file).await;
    let text = text.map_err(|error| Failure::file("read the channel map", &args.file, &error))?;
    let server = context.server().await?;
    let request = SetChannelMapRequest {
        parent: args.bay.bay.full.clone(),
        text,
        reason: args.reason.clone().unwrap_or_default(),
        request_id: request_id(),
        validate_only: args.check,
    };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        BayServiceClient::new(channel)
            .set_channel_map(request)
            .await
    });
    let answer = answer.await;
    let answer = answer.map_err(|failure| failure.in_file("text", &args.file))?;
    let map = whole(answer.channel_map)?;
    let bay = args.bay.bay.short();
    context.result(&MapJson::new(&bay, &map, None), |options| {
        render_map(&bay, &map, options)
    })?;
    if map.name.ends_with("/m1") {
        context.tell(&format!(
            "\nThis is the first channel map of bay {bay}. Jobs must name the bay to the letter."
        ));
    }
    Ok(())
}

async fn show(args: &ShowArgs, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let name = args.bay.bay.map(args.map.as_deref());
    let request = GetChannelMapRequest { name };
    let answer = server.ask(QUICK, request, |channel, request| async move {
        let client = BayServiceClient::new(channel);
        client
            .max_decoding_message_size(ANSWER_BYTES_MAX)
            .get_channel_map(request)
            .await
    });
    let map = whole(answer.await?.channel_map)?;
    if let Some(path) = &args.output {
        write_new(path, &map.text).await?;
    }
    let bay = args.bay.bay.short();
    let value = MapJson::new(&bay, &map, args.output.as_deref());
    context.result(&value, |options| {
        let page = render_map(&bay, &map, options);
        match &args.output {
            Some(path) => format!("{page}\nWritten to {}.\n", path.display()),
            None => format!("{page}\n{}", map.text),
        }
    })
}

async fn history(bay: &BayName, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let maps = all_pages(async |page_token| {
        let request = ListChannelMapsRequest {
            parent: bay.full.clone(),
            page_size: PAGE_SIZE,
            page_token,
        };
        let answer = server.ask(QUICK, request, |channel, request| async move {
            let client = BayServiceClient::new(channel);
            client
                .max_decoding_message_size(ANSWER_BYTES_MAX)
                .list_channel_maps(request)
                .await
        });
        answer
            .await
            .map(|page| (page.channel_maps, page.next_page_token))
    });
    let maps = maps.await?;
    let bay = bay.short();
    context.result(&MapsJson::new(&bay, &maps), |options| {
        render_maps(&bay, &maps, options)
    })
}

async fn list(context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let bays = all_pages(async |page_token| {
        let request = ListBaysRequest {
            page_size: PAGE_SIZE,
            page_token,
        };
        let answer = server.ask(QUICK, request, |channel, request| async move {
            BayServiceClient::new(channel).list_bays(request).await
        });
        answer.await.map(|page| (page.bays, page.next_page_token))
    });
    let bays = bays.await?;
    context.result(&BaysJson::from(bays.as_slice()), |options| {
        render_bays(&bays, options)
    })
}

fn whole(map: Option<ChannelMap>) -> Result<ChannelMap, Failure> {
    map.ok_or_else(|| Failure::incomplete("channel map"))
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

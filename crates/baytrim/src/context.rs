//! What a command works with: the server, where results go, and in which form.

use std::io::Write;

use serde::Serialize;

use crate::args::{ColorChoice, Global};
use crate::client::Server;
use crate::environment::{Environment, SERVER_DEFAULT, SERVER_DEFAULT_TLS};
use crate::failure::Failure;
use crate::render::style::RenderOptions;
use crate::token;
use crate::trust::{self, Trust};

/// What a command works with.
pub(crate) struct Context<'a> {
    global: &'a Global,
    environment: &'a Environment,
    out: &'a mut (dyn Write + Send),
    err: &'a mut (dyn Write + Send),
}

impl<'a> Context<'a> {
    /// Returns the context of one run.
    pub(crate) fn new(
        global: &'a Global,
        environment: &'a Environment,
        out: &'a mut (dyn Write + Send),
        err: &'a mut (dyn Write + Send),
    ) -> Self {
        Self {
            global,
            environment,
            out,
            err,
        }
    }

    /// Returns the server that the command asks.
    ///
    /// # Errors
    /// When the token file cannot be read or an option cannot be sent.
    pub(crate) fn server(&self) -> impl Future<Output = Result<Server, Failure>> + Send + use<'a> {
        // Not the context itself goes along: its writers can't be shared between threads.
        let (global, environment) = (self.global, self.environment);
        async move {
            let url = global.server.as_deref().or(environment.server.as_deref());
            let named = global.token_file.as_deref();
            let actor = global.actor.as_deref();
            let asked = url.unwrap_or(SERVER_DEFAULT);
            let token = token::find(environment, named, asked, actor).await?;
            let files = Trust {
                authority: global.ca_file.clone(),
                certificate: global.certificate.clone(),
            };
            let trust = trust::find(environment, files, asked, token.as_ref()).await;
            let url = match (url, &trust.authority) {
                (Some(url), _) => url,
                (None, Some(_)) => SERVER_DEFAULT_TLS,
                (None, None) => SERVER_DEFAULT,
            };
            let tls = if url.starts_with("https://") {
                Some(trust.config().await?)
            } else {
                None
            };
            let token = token.map(|found| found.token);
            Server::new(url, tls, (token.as_deref(), actor), global.deadline)
        }
    }

    /// Returns how pages are drawn.
    pub(crate) fn options(&self) -> RenderOptions {
        let color = match self.global.color {
            ColorChoice::Always => true,
            ColorChoice::Never => false,
            ColorChoice::Auto => self.environment.out_is_terminal && !self.environment.no_color,
        };
        RenderOptions {
            width: self.environment.width,
            color,
        }
    }

    /// Returns whether results are JSON.
    pub(crate) fn is_json(&self) -> bool {
        self.global.json
    }

    /// Returns whether progress may be drawn.
    pub(crate) fn draws_progress(&self) -> bool {
        self.environment.err_is_terminal && !self.global.json
    }

    /// Writes the one result: `value` for scripts, or the page that `page` draws for people.
    ///
    /// # Errors
    /// When it cannot be written.
    pub(crate) fn result<V: Serialize>(
        &mut self,
        value: &V,
        page: impl FnOnce(&RenderOptions) -> String,
    ) -> Result<(), Failure> {
        if self.global.json {
            let mut line = serde_json::to_string(value).map_err(std::io::Error::from)?;
            line.push('\n');
            self.write(line.as_bytes())
        } else {
            let page = page(&self.options());
            self.write(page.as_bytes())
        }
    }

    /// Writes bytes of a result as they are.
    ///
    /// # Errors
    /// When they cannot be written.
    pub(crate) fn write(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        self.out.write_all(bytes)?;
        self.out.flush()?;
        Ok(())
    }

    /// Tells people something that is no result. A lost message is no reason to fail.
    pub(crate) fn tell(&mut self, message: &str) {
        if !self.global.json {
            let _unheard = writeln!(self.err, "{message}");
        }
    }
}

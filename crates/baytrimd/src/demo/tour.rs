//! The steps of the demo and what is said to each.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use baytrim::{Environment, Exit, RenderOptions, render_pull};
use baytrim_api::v1::access_service_client::AccessServiceClient;
use baytrim_api::v1::job_service_client::JobServiceClient;
use baytrim_api::v1::{CreateSignInRequest, GetJobRequest, Job};
use tonic::transport::Channel;

use super::earlier;
use super::people::{People, REVIEWER, TUNER};
use super::stream::{self, Bearer};

/// What the demo walks through, and who acts.
pub(super) struct Tour {
    pub(super) server: String,
    pub(super) from: PathBuf,
    pub(super) people: People,
}

impl Tour {
    /// Walks the whole way once: job, pulls, proposal, and where to go on.
    pub(super) async fn walk(&self, place: &str, once: bool) -> anyhow::Result<()> {
        let (server, from) = (&self.server, &self.from);
        let job = stream::job_of(&from.join("job.toml"))?;
        let terminal = Terminal::new(server, &self.people.tuner)?;
        say(&format!(
            "Baytrim demo. Shop, vehicle, customer and people are invented; the engine is simulated.\n\
             The daemon serves at {server}; its ledger is in {place}.\n\
             {TUNER} opens jobs and proposes, {REVIEWER} decides; each has a token.\n"
        ))?;
        let reviewer = Terminal::new(server, &self.people.reviewer)?;
        let earlier = earlier::play(from, &terminal, &reviewer).await?;
        let file = from.join("job.toml").display().to_string();
        if terminal.job(&job).await?.is_some() {
            say(&format!(
                "Job {job} is in this ledger already; going on with it.\n"
            ))?;
        } else {
            terminal.command(&["job", "open", &file]).await?;
            terminal.pulls(&job, from).await?;
            terminal.command(&["propose", &job]).await?;
        }
        say(&self.next_steps(&job, earlier.as_deref(), once).await?)
    }

    async fn next_steps(
        &self,
        job: &str,
        earlier: Option<&str>,
        once: bool,
    ) -> anyhow::Result<String> {
        let server = &self.server;
        if once {
            return Ok("\nThat was the way from logs to a proposal. Without --once the demo serves on, with the review page.\n"
                .to_owned());
        }
        let option = if server.ends_with(":7411") {
            String::new()
        } else {
            format!(" --server {server}")
        };
        let earlier = earlier.map_or_else(String::new, |earlier| {
            format!(
                "Of the earlier job: two stages, power before and after, the hand, a grip table that waits:\n\
                 \x20 baytrim{option} stage compare {earlier} s1 s2\n\
                 \x20 baytrim{option} power {earlier}\n\
                 \x20 baytrim{option} grip show {earlier}\n\
                 \x20 baytrim{option} library nearest {job}\n"
            )
        });
        let link = Terminal::new(server, &self.people.reviewer)?
            .sign_in()
            .await?;
        Ok(format!(
            "\nReview page, signed in as {REVIEWER} (good once, for five minutes; `baytrim --as \"{REVIEWER}\"{option} sign-in` makes another):\n\
             \x20 {server}{link}\n\
             Or in another terminal (target/release/baytrim after `cargo build --release`):\n\
             \x20 baytrim{option} proposal show {job}/c1\n\
             \x20 baytrim --as \"{REVIEWER}\"{option} approve {job}/c1 --reason \"matches what I saw on the dyno\"\n\
             \x20 baytrim{option} table export {job} --format csv --as percent\n\
             \x20 baytrim{option} ledger verify\n\
             {earlier}\
             Ctrl-C ends the demo.\n"
        ))
    }
}

/// The demo's own terminal: the command line's commands, run within this process.
pub(super) struct Terminal {
    server: String,
    token: Bearer,
    environment: Environment,
}

impl Terminal {
    /// Returns the terminal of whom the token in `file` stands for.
    fn new(server: &str, file: &Path) -> anyhow::Result<Self> {
        let mut environment = Environment::of_process();
        environment.server = Some(server.to_owned());
        environment.token_file = Some(file.to_owned());
        Ok(Self {
            server: server.to_owned(),
            token: Bearer::read(file)?,
            environment,
        })
    }

    /// Returns the path of a link that signs in once.
    async fn sign_in(&self) -> anyhow::Result<String> {
        let channel = Channel::from_shared(self.server.clone())?.connect().await?;
        let mut client = AccessServiceClient::with_interceptor(channel, self.token.clone());
        let made = client.create_sign_in(CreateSignInRequest {}).await?;
        Ok(made.into_inner().path)
    }

    /// Runs one command, showing it first as a person would type it.
    async fn command(&self, words: &[&str]) -> anyhow::Result<()> {
        say(&format!("\n$ baytrim {}\n", words.join(" ")))?;
        let (mut out, mut err) = (std::io::stdout(), std::io::stderr());
        self.run(words, &mut out, &mut err).await
    }

    /// Runs one command and shows nothing of it, unless it fails.
    pub(super) async fn quietly(&self, words: &[String]) -> anyhow::Result<()> {
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let mut said = Vec::new();
        let done = self.run(&words, &mut std::io::sink(), &mut said).await;
        done.with_context(|| String::from_utf8_lossy(&said).trim().to_owned())
    }

    async fn run(
        &self,
        words: &[&str],
        out: &mut (dyn std::io::Write + Send),
        err: &mut (dyn std::io::Write + Send),
    ) -> anyhow::Result<()> {
        let args = std::iter::once("baytrim").chain(words.iter().copied());
        let exit = baytrim::run(args, &self.environment, out, err).await;
        if exit != Exit::Done {
            bail!(
                "`baytrim {}` ended with exit code {}",
                words.join(" "),
                exit.code()
            );
        }
        Ok(())
    }

    /// Streams every pull of the demo, two bays in turn, and shows what each turned out to be.
    async fn pulls(&self, job: &str, from: &Path) -> anyhow::Result<()> {
        let options = RenderOptions {
            width: self.environment.width,
            color: self.environment.out_is_terminal && !self.environment.no_color,
        };
        let parent = format!("jobs/{job}");
        say(
            "\nThe bay streams three pulls over gRPC, in column batches; each answer names what is durable.\n",
        )?;
        let axes = self.job(job).await?.and_then(|job| job.axes);
        for log in logs(from)? {
            let pull = stream::pull(&self.server, &self.token, &parent, "east", &log).await?;
            say(&format!(
                "\n{}",
                render_pull(&pull, axes.as_ref(), &options)
            ))?;
        }
        Ok(())
    }

    /// Returns the job, where the ledger has it.
    pub(super) async fn job(&self, job: &str) -> anyhow::Result<Option<Job>> {
        let channel = Channel::from_shared(self.server.clone())?.connect().await?;
        let mut client = JobServiceClient::with_interceptor(channel, self.token.clone());
        let name = format!("jobs/{job}");
        match client.get_job(GetJobRequest { name }).await {
            Ok(answer) => Ok(answer.into_inner().job),
            Err(status) if status.code() == tonic::Code::NotFound => Ok(None),
            Err(status) => Err(status).context("the daemon does not answer as it should"),
        }
    }
}

fn logs(from: &Path) -> anyhow::Result<Vec<PathBuf>> {
    let entries =
        std::fs::read_dir(from).with_context(|| format!("can't read {}", from.display()))?;
    let mut logs = Vec::new();
    for entry in entries {
        let path = entry?.path();
        let stem = path.file_stem().and_then(|stem| stem.to_str());
        let is_pull = stem.is_some_and(|stem| stem.starts_with("pull-"));
        if is_pull && path.extension().is_some_and(|ending| ending == "csv") {
            logs.push(path);
        }
    }
    logs.sort();
    if logs.is_empty() {
        bail!("{} has no pull-*.csv to stream", from.display());
    }
    Ok(logs)
}

pub(super) fn say(text: &str) -> anyhow::Result<()> {
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes())?;
    out.flush()?;
    Ok(())
}

//! `baytrim ledger checkpoint`, `ledger proof`, `ledger verify-checkpoint`.

use std::path::Path;

use baytrim_api::v1::ledger_service_client::LedgerServiceClient;
use baytrim_api::v1::{CreateCheckpointRequest, GetCheckpointProofRequest};
use baytrim_checkpoint::{Checkpoint, CheckpointError, Proof, Verifier};

use crate::client::LONG;
use crate::context::Context;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::json::checkpoint::{CheckedJson, CheckpointJson, ProofJson};
use crate::name::JobName;
use crate::render::checkpoint::{render_checked, render_checkpoint, render_proof};

/// Longest file that is read as a checkpoint or a proof: both have a few hundred bytes to a few thousand.
const FILE_BYTES_MAX: u64 = 1 << 20;

/// Has a checkpoint signed and writes it into a file.
pub(crate) async fn make(output: &Path, context: &mut Context<'_>) -> Result<(), Failure> {
    let server = context.server().await?;
    let request = CreateCheckpointRequest {};
    let answer = server.ask(LONG, request, |channel, request| async move {
        LedgerServiceClient::new(channel)
            .create_checkpoint(request)
            .await
    });
    let answer = answer.await?;
    let checkpoint = answer.checkpoint;
    let checkpoint = checkpoint.ok_or_else(|| Failure::incomplete("checkpoint"))?;
    write(output, &checkpoint.content).await?;
    let file = output.display().to_string();
    let value = CheckpointJson::new(&checkpoint, answer.created, &file);
    context.result(&value, |options| {
        render_checkpoint(&checkpoint, answer.created, &file, options)
    })
}

/// Writes the proof that a checkpoint signed a job into a file.
pub(crate) async fn prove(
    job: &JobName,
    number: Option<u64>,
    output: &Path,
    context: &mut Context<'_>,
) -> Result<(), Failure> {
    let server = context.server().await?;
    let request = GetCheckpointProofRequest {
        job: job.full.clone(),
        checkpoint_number: number.unwrap_or(0),
    };
    let answer = server.ask(LONG, request, |channel, request| async move {
        LedgerServiceClient::new(channel)
            .get_checkpoint_proof(request)
            .await
    });
    let answer = answer.await?;
    write(output, &answer.content).await?;
    let (job, file) = (job.short(), output.display().to_string());
    let value = ProofJson::new(&job, &answer, &file);
    context.result(&value, |options| {
        render_proof(&job, &answer, &file, options)
    })
}

/// Checks a checkpoint, or a proof with the checkpoint in it, without any server.
pub(crate) async fn verify(
    file: &Path,
    key: &str,
    context: &mut Context<'_>,
) -> Result<Exit, Failure> {
    let key = match key.parse::<Verifier>() {
        Ok(key) => key,
        Err(refused) => match read(Path::new(key)).await {
            Ok(text) => text.parse().map_err(|error| wrong(&error))?,
            // It was meant as a key, not as a file.
            Err(_) if key.contains('+') => return Err(wrong(&refused)),
            Err(failure) => return Err(failure),
        },
    };
    let text = read(file).await?;
    let checked = check(&text, &key);
    let label = key.label();
    let value = CheckedJson::new(&label, &checked);
    context.result(&value, |options| render_checked(&label, &checked, options))?;
    Ok(if checked.is_ok() {
        Exit::Done
    } else {
        Exit::Failed
    })
}

/// What a file proves.
pub(crate) type Checked = Result<(Checkpoint, Option<Proof>), CheckpointError>;

fn check(text: &str, key: &Verifier) -> Checked {
    if !text.starts_with('{') {
        return Checkpoint::open(text, key).map(|checkpoint| (checkpoint, None));
    }
    let proof = Proof::parse(text)?;
    let checkpoint = proof.check(key)?;
    Ok((checkpoint, Some(proof)))
}

fn wrong(error: &CheckpointError) -> Failure {
    Failure::local(Exit::Usage, "CHECKPOINT_KEY", format!("--key: {error}"))
}

/// Returns the text of a file of reasonable length.
pub(crate) async fn read(path: &Path) -> Result<String, Failure> {
    let failed = |error| Failure::file("read", path, &error);
    let length = tokio::fs::metadata(path).await.map_err(failed)?.len();
    if length > FILE_BYTES_MAX {
        let message = format!(
            "{} has {length} bytes: too long for a checkpoint, a proof or a key; name the right file",
            path.display()
        );
        return Err(Failure::local(Exit::Usage, "FILE", message));
    }
    tokio::fs::read_to_string(path).await.map_err(failed)
}

/// Writes a file that must not be there yet: an old checkpoint is worth keeping.
async fn write(path: &Path, content: &[u8]) -> Result<(), Failure> {
    if tokio::fs::try_exists(path).await.unwrap_or(false) {
        let message = format!("{} is there already; name another file", path.display());
        return Err(Failure::local(Exit::Usage, "FILE", message));
    }
    let written = tokio::fs::write(path, content).await;
    written.map_err(|error| Failure::file("write", path, &error))
}

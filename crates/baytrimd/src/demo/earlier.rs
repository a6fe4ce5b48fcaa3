//! The shop's earlier job, played into the ledger by the commands that lie beside its files.

use std::path::Path;

use anyhow::{Context as _, bail};

use super::stream;
use super::tour::{Terminal, say};

/// Where the earlier job lies in the demo data, and its commands there.
const FOLDER: &str = "earlier";
const STEPS: &str = "steps.json";

/// Plays the earlier job, where the demo data has one and the ledger does not, and says so in a line.
pub(super) async fn play(
    from: &Path,
    tuner: &Terminal,
    reviewer: &Terminal,
) -> anyhow::Result<Option<String>> {
    let folder = from.join(FOLDER);
    let file = folder.join(STEPS);
    if !file.is_file() {
        return Ok(None);
    }
    let job = stream::job_of(&folder.join("job.toml"))?;
    if tuner.job(&job).await?.is_some() {
        return Ok(Some(job));
    }
    let text =
        std::fs::read_to_string(&file).with_context(|| format!("can't read {}", file.display()))?;
    let steps: Vec<Vec<String>> = serde_json::from_str(&text)
        .with_context(|| format!("{} is no list of commands", file.display()))?;
    for step in &steps {
        let terminal = match step.first().map(String::as_str) {
            Some("tuner") => tuner,
            Some("reviewer") => reviewer,
            _ => bail!("{}: a command begins with who gives it", file.display()),
        };
        let words: Vec<String> = step.iter().skip(1).map(|word| at(&folder, word)).collect();
        terminal.quietly(&words).await?;
    }
    say(&format!(
        "The shop has tuned one like it before: {job}, {} commands of {}.\n",
        steps.len(),
        file.display()
    ))?;
    Ok(Some(job))
}

/// Returns a word of a command, the names of files as they are from here.
fn at(folder: &Path, word: &str) -> String {
    let is_file = [".csv", ".toml"]
        .iter()
        .any(|ending| word.ends_with(ending));
    if is_file {
        folder.join(word).display().to_string()
    } else {
        word.to_owned()
    }
}

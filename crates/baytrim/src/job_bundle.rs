//! A job file with the files that it names beside it.

use std::path::Path;

use baytrim_api::v1::Attachment;

use crate::exit::Exit;
use crate::failure::Failure;

/// Most bytes of a job file and of each file beside it, as the API takes them.
const FILE_BYTES_MAX: u64 = 1024 * 1024;

/// Sections whose `file` names a file beside the job file.
const SECTIONS: [&str; 2] = ["table", "target"];

/// A job file with the files that it names.
#[derive(Debug)]
pub(crate) struct JobBundle {
    /// The job file's text.
    pub(crate) text: String,
    /// The files that it names.
    pub(crate) attachments: Vec<Attachment>,
}

/// Reads the job file at `path` and the files that it names.
///
/// # Errors
/// When a file is absent, unreadable or too large. What the job file says is the server's to check.
pub(crate) async fn read_bundle(path: &Path) -> Result<JobBundle, Failure> {
    let bytes = read_limited(path, "read the job file").await?;
    let text = String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let message = format!("{} is no UTF-8 text: see byte {at}", path.display());
        Failure::local(Exit::Failed, "FILE", message)
    })?;
    let mut attachments: Vec<Attachment> = Vec::new();
    for (section, file_name) in named_files(&text) {
        if attachments
            .iter()
            .any(|attachment| attachment.file_name == file_name)
        {
            continue;
        }
        let beside = path.parent().unwrap_or(Path::new("")).join(&file_name);
        let content = read_attachment(path, &section, &beside).await?;
        attachments.push(Attachment { file_name, content });
    }
    Ok(JobBundle { text, attachments })
}

/// Returns the files that a job file names, each with the section that names it. A text that is no
/// TOML names none: the server says what is wrong with it.
fn named_files(text: &str) -> Vec<(String, String)> {
    let Ok(table) = text.parse::<toml::Table>() else {
        return Vec::new();
    };
    let named = |section: &str| {
        let file = table.get(section)?.get("file")?.as_str()?;
        Some((section.to_owned(), file.to_owned()))
    };
    let bays = table.get("bays").and_then(toml::Value::as_table);
    let mapped = |(bay, setup): (&String, &toml::Value)| {
        let file = setup.get("channels")?.as_str()?;
        Some((format!("bays.{bay}"), file.to_owned()))
    };
    let tables = SECTIONS.iter().filter_map(|section| named(section));
    let maps = bays.into_iter().flatten().filter_map(mapped);
    tables.chain(maps).collect()
}

async fn read_attachment(job: &Path, section: &str, path: &Path) -> Result<Vec<u8>, Failure> {
    read_limited(path, "read the file")
        .await
        .map_err(|mut failure| {
            let hint = format!("; {} names it under [{section}]", job.display());
            failure.message += &hint;
            failure
        })
}

async fn read_limited(path: &Path, verb: &str) -> Result<Vec<u8>, Failure> {
    let size = tokio::fs::metadata(path)
        .await
        .map_err(|error| Failure::file(verb, path, &error))?;
    if size.len() > FILE_BYTES_MAX {
        let (bytes, name) = (size.len(), path.display());
        let message =
            format!("cannot {verb} {name}: it has {bytes} bytes, more than {FILE_BYTES_MAX}");
        return Err(Failure::local(Exit::Failed, "FILE_TOO_LARGE", message));
    }
    tokio::fs::read(path)
        .await
        .map_err(|error| Failure::file(verb, path, &error))
}

#[cfg(test)]
mod tests {
    use super::{named_files, read_bundle};

    /// A job with its table in a CSV beside it would arrive without the table.
    #[tokio::test]
    async fn files_beside_the_job_file_travel_with_it() {
        let shop = tempfile::tempdir().unwrap();
        let text = "[table]\nfile = \"base.csv\"\n[target]\nfile = \"goal.csv\"\n\
                    [bays.east]\nchannels = \"east.toml\"\n";
        std::fs::write(shop.path().join("job.toml"), text).unwrap();
        std::fs::write(shop.path().join("base.csv"), "1,2").unwrap();
        let absent = read_bundle(&shop.path().join("job.toml"))
            .await
            .unwrap_err();
        for part in ["goal.csv", "job.toml", "[target]"] {
            assert!(absent.message.contains(part), "{}", absent.message);
        }
        std::fs::write(shop.path().join("goal.csv"), "0.9").unwrap();
        std::fs::write(shop.path().join("east.toml"), "").unwrap();
        let bundle = read_bundle(&shop.path().join("job.toml")).await.unwrap();
        assert_eq!(bundle.text, text);
        let names: Vec<_> = bundle
            .attachments
            .iter()
            .map(|a| a.file_name.as_str())
            .collect();
        assert_eq!(names, ["base.csv", "goal.csv", "east.toml"]);
        assert_eq!(bundle.attachments[0].content, b"1,2");
    }

    /// A broken job file would stop here with a poorer message than the server's, which names the line.
    #[test]
    fn a_broken_job_file_names_no_files() {
        assert!(named_files("[table\nfile = 1").is_empty());
        assert!(named_files("table = 3").is_empty());
    }
}

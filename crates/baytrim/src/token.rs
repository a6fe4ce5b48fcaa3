//! Which token shows who acts.

use std::path::{Path, PathBuf};

use crate::environment::Environment;
use crate::exit::Exit;
use crate::failure::Failure;

/// A token, and the file that it is from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Found {
    pub(crate) token: String,
    pub(crate) file: PathBuf,
}

/// Returns the token to show to `url`, none where there is none; `actor` is whose it should be.
///
/// A file that is named must be readable. Files that are only found are for a daemon on this machine, and are passed
/// over where they can't be read: they may be another user's.
///
/// # Errors
/// When a file that was named can't be read or is empty.
pub(crate) async fn find(
    environment: &Environment,
    named: Option<&Path>,
    url: &str,
    actor: Option<&str>,
) -> Result<Option<Found>, Failure> {
    if let Some(path) = named.or(environment.token_file.as_deref()) {
        return read(path).await.map(Some);
    }
    if let Some(path) = &environment.credential
        && let Ok(token) = read(path).await
    {
        return Ok(Some(token));
    }
    let Some(port) = local_port(url) else {
        return Ok(None);
    };
    for directory in &environment.places {
        let list = tokio::fs::read_to_string(directory.join(format!("{port}.tokens"))).await;
        let Ok(list) = list else { continue };
        if let Some(path) = pick(&list, actor)
            && let Ok(token) = read(&path).await
        {
            return Ok(Some(token));
        }
    }
    match &environment.service_token {
        Some(path) => Ok(read(path).await.ok()),
        None => Ok(None),
    }
}

/// Returns the file of whom a list names: `actor`, or the first where that is not asked for or not there.
fn pick(list: &str, actor: Option<&str>) -> Option<PathBuf> {
    let pairs: Vec<(&str, &str)> = list
        .lines()
        .filter_map(|line| line.split_once('\t'))
        .collect();
    let is_meant = |(name, _): &&(&str, &str)| {
        actor.is_some_and(|actor| actor.to_lowercase() == name.to_lowercase())
    };
    let found = pairs.iter().find(is_meant).or_else(|| pairs.first());
    found.map(|(_, path)| PathBuf::from(path))
}

/// Returns the port of a server on this machine; none for any other, which no token that was only found is shown to.
pub(crate) fn local_port(url: &str) -> Option<u16> {
    let uri: tonic::transport::Uri = url.parse().ok()?;
    let host = uri.host()?.trim_start_matches('[').trim_end_matches(']');
    let address = host.parse::<std::net::IpAddr>();
    let is_local = host.eq_ignore_ascii_case("localhost")
        || address.is_ok_and(|address| address.is_loopback());
    let usual = if uri.scheme_str() == Some("https") {
        443
    } else {
        80
    };
    is_local.then(|| uri.port_u16().unwrap_or(usual))
}

async fn read(path: &Path) -> Result<Found, Failure> {
    let text = tokio::fs::read_to_string(path).await;
    let text = text.map_err(|error| Failure::file("read the token file", path, &error))?;
    if text.trim().is_empty() {
        let message = format!("the token file {} is empty", path.display());
        return Err(Failure::local(Exit::Usage, "USAGE", message));
    }
    Ok(Found {
        token: text.trim().to_owned(),
        file: path.to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// If this fails, a token that was only found is shown to a machine elsewhere.
    #[test]
    fn only_servers_of_this_machine_are_local() {
        assert_eq!(local_port("http://127.0.0.1:7411"), Some(7411));
        assert_eq!(local_port("http://localhost:1"), Some(1));
        assert_eq!(local_port("https://localhost"), Some(443));
        assert_eq!(local_port("http://[::1]:7411"), Some(7411));
        for far in [
            "http://192.168.1.2:7411",
            "http://127.0.0.1.example.org:7411",
            "http://localhost.example.org:7411",
            "no url",
        ] {
            assert_eq!(local_port(far), None, "{far}");
        }
    }

    /// If this fails, somebody acts with another's token although theirs is there.
    #[test]
    fn the_one_who_is_named_is_picked() {
        let list = "M. Ottoway\t/a/tuner\nR. Quenby\t/a/reviewer\n";
        let picked = |actor| pick(list, actor).expect("one of them");
        assert_eq!(picked(None), Path::new("/a/tuner"));
        assert_eq!(picked(Some("r. quenby")), Path::new("/a/reviewer"));
        assert_eq!(picked(Some("nobody")), Path::new("/a/tuner"));
        assert_eq!(pick("", None), None);
    }
}

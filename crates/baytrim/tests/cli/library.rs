//! The library, as typed and as shown.

use baytrim::Exit;
use baytrim::render::library::{render_library, render_nearest};

use crate::answers::library::{entries, nearest};
use crate::pages::check;
use crate::shop::Shop;
use crate::terminal::baytrim;

/// A job would start from other vehicles than those that were named, or be recorded when it was only to be shown.
#[tokio::test]
async fn a_start_is_asked_for_as_typed() {
    let (shop, url) = Shop::open().await;
    let start = ["library", "start", "quoll-1"];
    let from = [
        "library",
        "start",
        "quoll-1",
        "--from",
        "quoll-2,quoll-3",
        "--dry-run",
    ];
    for words in [&start[..], &from] {
        let outcome = baytrim(&url, words).await;
        assert_eq!(
            (outcome.exit, outcome.err.as_str()),
            (Exit::Done, ""),
            "{words:?}"
        );
        assert!(
            outcome.out.contains("from other vehicles of its kind"),
            "{}",
            outcome.out
        );
    }
    shop.with(|seen| {
        assert_eq!(seen.starts[0].parent, "jobs/quoll-1");
        assert!(seen.starts[0].from_jobs.is_empty() && !seen.starts[0].validate_only);
        assert!(!seen.starts[0].request_id.is_empty());
        assert_eq!(seen.starts[1].from_jobs, ["jobs/quoll-2", "jobs/quoll-3"]);
        assert!(seen.starts[1].validate_only);
    });
}

/// A script would find a key gone.
#[tokio::test]
async fn the_library_has_its_documented_keys() {
    let (_shop, url) = Shop::open().await;
    let listed = baytrim(&url, &["library", "list", "--json"]).await.json();
    assert_eq!(listed["entries"][0]["job"], "quoll-2");
    assert_eq!(listed["entries"][1]["vehicle"]["parts"][0], "open exhaust");
    let near = baytrim(&url, &["library", "nearest", "quoll-1", "--json"])
        .await
        .json();
    assert_eq!(near["entries"][0]["chosen"], true);
    assert_eq!(near["entries"][1]["part_distance"], 1);
    assert_eq!(near["entries"][1]["job"], "quoll-3");
    assert_eq!(near["vehicle"]["model"], "Quoll 700");
    let made = baytrim(&url, &["library", "start", "quoll-1", "--json"])
        .await
        .json();
    assert_eq!(made["start"]["sources"][0]["job"], "quoll-2");
    assert_eq!(made["start"]["sources"][0]["record_count"], 8);
}

/// A tuner would not see what a job can start from, or why.
#[test]
fn libraries() {
    check("library", |options| render_library(&entries(), options));
    check("nearest", |options| {
        render_nearest("quoll-1", &nearest(), options)
    });
}

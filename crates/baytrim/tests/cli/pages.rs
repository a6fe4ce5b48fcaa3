//! Pages against golden files. `BAYTRIM_UPDATE_GOLDEN=1 cargo test -p baytrim` writes them anew.

use baytrim::render::bay::render_bay;
use baytrim::render::channel_maps::{render_map, render_maps};
use baytrim::render::channels::render_suggestion;
use baytrim::render::grip::render_delivery;
use baytrim::render::job::{render_job, render_jobs};
use baytrim::render::ledger::{render_check, render_records};
use baytrim::render::plan::render_plan;
use baytrim::render::power::render_power;
use baytrim::render::proposal::{render_proposals, render_verdict};
use baytrim::render::pull::render_pulls;
use baytrim::render::reproduction::render_reproduction;
use baytrim::render::shop::render_shop;
use baytrim::render::stage::{render_stage, render_stages};
use baytrim::render::stage_comparison::render_comparison;
use baytrim::render::status::render_status;
use baytrim::render::table::{render_new_revision, render_revision, render_revisions};
use baytrim::render::trace::render_trace;
use baytrim::{RenderOptions, render_proposal, render_pull};
use baytrim_api::v1::{
    Job, Proposal, Pull, ReproduceProposalResponse, ReproducedPull, VerifyLedgerResponse,
};

use crate::answers;

#[expect(
    clippy::disallowed_methods,
    reason = "the flag that writes goldens anew"
)]
/// Holds the page that `draw` makes at 80 and 140 columns, without and with colour, to its goldens.
pub(crate) fn check(name: &str, draw: impl Fn(&RenderOptions) -> String) {
    for (width, color) in [(80, false), (140, false), (80, true), (140, true)] {
        let page = draw(&RenderOptions { width, color });
        let suffix = if color { "color" } else { "plain" };
        let root = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/golden");
        let path = format!("{root}/{name}-{width}-{suffix}.txt");
        if std::env::var_os("BAYTRIM_UPDATE_GOLDEN").is_some() {
            std::fs::write(&path, &page).unwrap();
        }
        let golden = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(page == golden, "{path} differs; the page is now:\n{page}");
    }
}

/// A tuner would see another channel map in force than there is.
#[test]
fn channel_maps() {
    let map = answers::bays::channel_map();
    check("channel-map", |options| render_map("east", &map, options));
    check("channel-maps", |options| {
        render_maps("east", std::slice::from_ref(&map), options)
    });
}

/// A tuner would take a day's noise for a gain, or a figure without its standard for one.
#[test]
fn power() {
    check("power", |options| {
        render_power(&answers::power::power(), "quoll-1", options)
    });
    check("power-none", |options| {
        let none = baytrim_api::v1::PowerSideBySide {
            pulls: Vec::new(),
            change: None,
            ..answers::power::power()
        };
        render_power(&none, "quoll-1", options)
    });
}

/// A reviewer would see another proposal than the one that is to be decided on.
#[test]
fn proposals() {
    check("proposal", |options| {
        render_proposal(&answers::proposal(), options)
    });
    check("proposal-decided", |options| {
        let proposal = answers::decided(true);
        let nodes = answers::proposal().nodes;
        render_proposal(&Proposal { nodes, ..proposal }, options)
    });
    check("proposal-dry", |options| {
        let name = "jobs/quoll-1".to_owned();
        render_proposal(
            &Proposal {
                name,
                ..answers::proposal()
            },
            options,
        )
    });
    check("proposals", |options| {
        render_proposals(&[answers::proposal()], options)
    });
    check("plan", |options| {
        render_plan(&answers::plan(), "quoll-1", options)
    });
    check("trace", |options| {
        render_trace(&answers::node_trace(), options)
    });
    check("verdict", |options| {
        let approved = render_verdict(&answers::decided(true), options);
        let rejected = render_verdict(&answers::decided(false), options);
        approved + "\n" + &rejected
    });
}

/// A tuner would see another drift or gain than was measured, or a reviewer another grip table than is to be decided on.
#[test]
fn grip_and_plate() {
    check("grip", |options| {
        let modes = answers::grip::delivery().modes;
        render_delivery("quoll-1", &modes, options) + &render_delivery("quoll-1", &[], options)
    });
    check("grip-proposal", |options| {
        render_proposal(&answers::grip::grip_proposal(), options)
    });
    check("grip-revision", |options| {
        render_revision(&answers::grip::grip_revision(), options)
    });
}

/// A tuner could not tell what was made of a log's columns, or what is missing.
#[test]
fn suggestions() {
    check("suggestion", |options| {
        render_suggestion(&answers::suggestion(), None, options)
    });
}

/// A tuner could not tell what was refused of a pull, or where it has been.
#[test]
fn pulls() {
    let axes = answers::axes();
    check("pull", |options| {
        render_pull(&answers::pull(), Some(&axes), options)
    });
    check("pull-checked", |options| {
        let pull = Pull {
            name: String::new(),
            create_time: None,
            warnings: Vec::new(),
            ..answers::pull()
        };
        render_pull(
            &Pull {
                coverage: pull.coverage[..3].to_vec(),
                ..pull
            },
            None,
            options,
        )
    });
    check("pull-realised", |options| {
        let pull = Pull {
            revision: "r1".to_owned(),
            realised: Some(answers::realised()),
            refused: Vec::new(),
            coverage: Vec::new(),
            ..answers::pull()
        };
        render_pull(&pull, None, options)
    });
    check("pulls", |options| render_pulls(&[answers::pull()], options));
}

/// A difference inside the noise would look like one that matters.
#[test]
fn stages() {
    let axes = answers::axes();
    check("stages", |options| {
        let stages = answers::stages::stages();
        render_stage(&stages[1], options) + "\n" + &render_stages("quoll-1", &stages, options)
    });
    check("stage-comparison", |options| {
        render_comparison(&answers::stages::comparison(), &axes, options)
    });
    check("shop", |options| {
        render_shop(&answers::stages::shop_view(), options)
    });
    check("bay", |options| render_bay(&answers::bays::bay(), options));
}

/// A job or its table would be shown wrongly.
#[test]
fn jobs_and_tables() {
    check("job", |options| render_job(&answers::job(), options));
    check("jobs", |options| {
        render_jobs(&[answers::job()], options) + &render_jobs(&[], options)
    });
    check("job-checked", |options| {
        render_job(
            &Job {
                name: String::new(),
                create_time: None,
                ..answers::job()
            },
            options,
        )
    });
    check("table", |options| {
        render_revision(&answers::revision(), options)
    });
    check("table-new", |options| {
        render_new_revision(&answers::revision(), options)
    });
    check("tables", |options| {
        render_revisions(&[answers::revision()], options)
    });
}

/// A broken ledger would look like an intact one.
#[test]
fn ledger() {
    let intact = VerifyLedgerResponse {
        intact: true,
        stream_count: 2,
        record_count: 41,
        blob_count: 9,
        first_fault: String::new(),
        ledger_head: "ab".repeat(32),
        ..VerifyLedgerResponse::default()
    };
    let broken = VerifyLedgerResponse {
        intact: false,
        first_fault: "job quoll-1, record 3: its seal does not fit its bytes; restore a copy"
            .to_owned(),
        ..intact.clone()
    };
    check("ledger", |options| {
        let records: Vec<_> = (0..3).map(answers::record).collect();
        let parts = [
            render_records(&records, options),
            render_check(&intact, options),
            render_check(&broken, options),
        ];
        parts.join("\n")
    });
}

/// Colour would say something that the page without it does not.
#[test]
fn colour_adds_nothing_but_colour() {
    let draw = |color| {
        let options = RenderOptions { width: 100, color };
        let proposal = render_proposal(&answers::proposal(), &options);
        proposal + &render_pull(&answers::pull(), Some(&answers::axes()), &options)
    };
    let mut stripped = String::new();
    for part in draw(true).split('\u{1b}') {
        stripped += part
            .split_once('m')
            .filter(|_| part.starts_with('['))
            .map_or(part, |(_, rest)| rest);
    }
    assert_eq!(stripped, draw(false));
}

/// Long lines would be broken by the terminal and the grid would fall apart.
#[test]
fn pages_keep_to_the_width() {
    for width in [72, 80, 100, 140] {
        let options = RenderOptions {
            width,
            color: false,
        };
        let page = render_proposal(&answers::proposal(), &options)
            + &render_pull(&answers::pull(), Some(&answers::axes()), &options)
            + &render_revision(&answers::revision(), &options);
        for line in page.lines().filter(|line| !line.starts_with("  baytrim ")) {
            assert!(line.chars().count() <= width, "{width}: {line}");
        }
    }
}

/// Whoever runs the server would not see that it is up, or that its disk has failed.
#[test]
fn status() {
    check("status", |options| {
        render_status("http://127.0.0.1:7411", &answers::status(), options)
    });
}

/// An auditor would take numbers for reproduced that are not, or not see which differ.
#[test]
fn reproductions() {
    let name = "jobs/quoll-1/proposals/c1";
    let otherwise = answers::reproduction();
    check("reproduction", |options| {
        render_reproduction(name, &otherwise, options)
    });
    let pulls = otherwise.pulls.iter().map(|pull| ReproducedPull {
        evidence_identical: true,
        ..pull.clone()
    });
    let same = ReproduceProposalResponse {
        identical: true,
        pulls: pulls.collect(),
        estimator: otherwise.recorded_estimator.clone(),
        recorded_estimator: otherwise.recorded_estimator.clone(),
        node_count: 96,
        ..ReproduceProposalResponse::default()
    };
    check("reproduction-same", |options| {
        render_reproduction(name, &same, options)
    });
}

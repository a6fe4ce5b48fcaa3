//! What stands around every page.

use maud::{DOCTYPE, Markup, html};

use super::{assets, signed};

/// One step of the way from the inbox to a page: its words and its path.
pub(super) type Step = (String, String);

/// Returns a whole page with charts on it.
pub(super) fn charted(title: &str, way: &[Step], body: &Markup) -> Markup {
    whole(title, way, body, true)
}

/// Returns a whole page. `way` leads from the inbox to the page above this one.
pub(super) fn page(title: &str, way: &[Step], body: &Markup) -> Markup {
    whole(title, way, body, false)
}

fn whole(title: &str, way: &[Step], body: &Markup, with_charts: bool) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) " · Baytrim" }
                link rel="icon" href=(assets::icon());
                link rel="stylesheet" href=(assets::PAGE_STYLE.path());
                script src=(assets::PAGE_SCRIPT.path()) defer {}
                @if with_charts {
                    link rel="stylesheet" href=(assets::CHART_STYLE.path());
                    script src=(assets::CHART_LIBRARY.path()) defer {}
                    script src=(assets::CHART_SCRIPT.path()) defer {}
                }
            }
            body {
                a.skip href="#main" { "Skip to the content" }
                header.top {
                    a.home href="/" { "Baytrim" }
                    @if !way.is_empty() {
                        nav aria-label="Where you are" {
                            ol { @for (words, path) in way { li { a href=(path) { (words) } } } }
                        }
                    }
                    @if let Some(name) = signed::actor() { a.you href="/you" title="You are signed in" { (name.0) } }
                }
                main #main tabindex="-1" { (body) p.quiet #news aria-live="polite" {} }
                footer.bottom { "Baytrim advises; a licensed, competent person decides." }
            }
        }
    }
}

//! What stands around every page.

use maud::{DOCTYPE, Markup, html};

use super::assets;

/// One step of the way from the inbox to a page: its words and its path.
pub(super) type Step = (String, String);

/// Returns a whole page. `way` leads from the inbox to the page above this one.
pub(super) fn page(title: &str, way: &[Step], body: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) " · Baytrim" }
                link rel="icon" href=(assets::icon());
                link rel="stylesheet" href=(assets::style_path());
                script src=(assets::script_path()) defer {}
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
                }
                main #main tabindex="-1" { (body) }
                footer.bottom { "Baytrim advises; a licensed, competent person decides." }
            }
        }
    }
}

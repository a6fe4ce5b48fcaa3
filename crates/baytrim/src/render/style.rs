//! Width and colour of a page.

/// How a page is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RenderOptions {
    /// Columns that the page may take; tables are split, sentences wrapped to fit.
    pub width: usize,
    /// Whether colour escapes are used. Colour only repeats what signs and marks say.
    pub color: bool,
}

/// What a piece of text is, so how it is coloured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ink {
    /// Ordinary text.
    Plain,
    /// A heading.
    Strong,
    /// Text that matters less.
    Quiet,
    /// More fuel: orange, as on the review page.
    More,
    /// Less fuel: blue, which stays apart from orange in every common colour blindness.
    Less,
    /// Something to heed.
    Alert,
}

impl RenderOptions {
    /// Returns `text` in `ink`.
    pub(crate) fn paint(&self, ink: Ink, text: &str) -> String {
        // Middle tones of the 256-colour palette: legible on black and on white.
        let code = match ink {
            Ink::Plain => "",
            Ink::Strong => "1",
            Ink::Quiet => "2",
            Ink::More => "38;5;166",
            Ink::Less => "38;5;32",
            Ink::Alert => "1;38;5;166",
        };
        if self.color && !code.is_empty() && !text.is_empty() {
            format!("\u{1b}[{code}m{text}\u{1b}[0m")
        } else {
            text.to_owned()
        }
    }
}

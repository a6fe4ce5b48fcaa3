//! Draws set pages as PDF.

use krilla::Document;
use krilla::color::rgb;
use krilla::geom::{PathBuilder, Point, Rect};
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::text::{Font, TextDirection};

use super::paper::{A4, Colour, Mark, Weight};

/// Why the sheet could not be made.
#[derive(Debug, thiserror::Error)]
pub enum PdfError {
    /// A font that was built in can't be read.
    #[error("a font of the job sheet can't be read")]
    Font,
    /// The writer would not have it.
    #[error("the job sheet can't be written: {0}")]
    Write(String),
}

/// The fonts, as bytes.
pub(super) const REGULAR: &[u8] =
    include_bytes!("../../assets/vendor/NotoSans-Regular-2.004-subset.ttf");
/// The bold one.
pub(super) const BOLD: &[u8] = include_bytes!("../../assets/vendor/NotoSans-Bold-2.004-subset.ttf");

/// Returns the bytes of a PDF of `pages`.
pub(super) fn pdf(pages: &[Vec<Mark>], title: &str) -> Result<Vec<u8>, PdfError> {
    let font = |bytes: &'static [u8]| Font::new(bytes.into(), 0).ok_or(PdfError::Font);
    let fonts = [font(REGULAR)?, font(BOLD)?];
    let mut document = Document::new();
    document.set_metadata(
        Metadata::new()
            .title(title.to_owned())
            .language("en".to_owned())
            .creator("Baytrim".to_owned()),
    );
    for marks in pages {
        let settings = PageSettings::from_wh(A4.0, A4.1).ok_or(PdfError::Font)?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        for mark in marks {
            draw(&mut surface, &fonts, mark);
        }
        surface.finish();
        page.finish();
    }
    document
        .finish()
        .map_err(|error| PdfError::Write(format!("{error:?}")))
}

fn draw(surface: &mut Surface<'_>, fonts: &[Font; 2], mark: &Mark) {
    match mark {
        Mark::Text { x, y, look, text } => {
            surface.set_stroke(None);
            surface.set_fill(Some(fill(look.colour)));
            let font = fonts[usize::from(look.weight == Weight::Bold)].clone();
            let at = Point::from_xy(*x, *y);
            surface.draw_text(at, font, look.size, text, false, TextDirection::Auto);
        }
        Mark::Area {
            x,
            y,
            width,
            height,
            colour,
        } => {
            let mut path = PathBuilder::new();
            let Some(area) = Rect::from_xywh(*x, *y, *width, *height) else {
                return;
            };
            path.push_rect(area);
            surface.set_stroke(None);
            surface.set_fill(Some(fill(*colour)));
            if let Some(path) = path.finish() {
                surface.draw_path(&path);
            }
        }
        Mark::Line {
            from,
            to,
            width,
            colour,
        } => {
            let mut path = PathBuilder::new();
            path.move_to(from.0, from.1);
            path.line_to(to.0, to.1);
            surface.set_fill(None);
            surface.set_stroke(Some(Stroke {
                paint: rgb(*colour).into(),
                width: *width,
                ..Stroke::default()
            }));
            if let Some(path) = path.finish() {
                surface.draw_path(&path);
            }
        }
    }
}

fn rgb([red, green, blue]: Colour) -> rgb::Color {
    rgb::Color::new(red, green, blue)
}

fn fill(colour: Colour) -> Fill {
    Fill {
        paint: rgb(colour).into(),
        ..Fill::default()
    }
}

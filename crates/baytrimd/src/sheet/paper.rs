//! Sets text line by line on pages of A4; what does not fit goes on the next page.

use ttf_parser::Face;

/// Width and height of A4 in points (ISO 216: 210 mm by 297 mm; a point is 1/72 inch).
pub(super) const A4: (f32, f32) = (595.28, 841.89);
/// Distance of everything from the edges of the page.
pub(super) const EDGE: f32 = 48.0;
/// Width of the names in two columns of names and values.
const NAME: f32 = 68.0;
/// Room for the line at the foot of each page.
const FOOT: f32 = 16.0;

/// A colour: red, green, blue.
pub(super) type Colour = [u8; 3];
/// Text.
pub(super) const INK: Colour = [0x1b, 0x1d, 0x1f];
/// Text that stands back.
pub(super) const SOFT: Colour = [0x54, 0x58, 0x5c];
/// Lines.
pub(super) const LINE: Colour = [0xbb, 0xb7, 0xad];
/// What stands out.
pub(super) const ACCENT: Colour = [0x14, 0x56, 0x5d];

/// Regular or bold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Weight {
    Regular,
    Bold,
}

/// How text looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Look {
    pub(super) weight: Weight,
    pub(super) size: f32,
    pub(super) colour: Colour,
}

/// Running text.
pub(super) const BODY: Look = Look {
    weight: Weight::Regular,
    size: 9.5,
    colour: INK,
};
/// Names and figures within it.
pub(super) const STRONG: Look = Look {
    weight: Weight::Bold,
    ..BODY
};
/// Small print.
pub(super) const SMALL: Look = Look {
    weight: Weight::Regular,
    size: 8.0,
    colour: SOFT,
};

/// Something on a page; y grows downwards, text stands on its baseline.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Mark {
    Text {
        x: f32,
        y: f32,
        look: Look,
        text: String,
    },
    Area {
        x: f32,
        y: f32,
        width: f32,
        height: f32,
        colour: Colour,
    },
    Line {
        from: (f32, f32),
        to: (f32, f32),
        width: f32,
        colour: Colour,
    },
}

/// Pages being set.
pub(super) struct Paper {
    faces: [Face<'static>; 2],
    pub(super) pages: Vec<Vec<Mark>>,
    /// Where the next line goes.
    pub(super) y: f32,
}

impl Paper {
    /// Returns an empty first page, set in two fonts.
    pub(super) fn new(regular: Face<'static>, bold: Face<'static>) -> Self {
        Self {
            faces: [regular, bold],
            pages: vec![Vec::new()],
            y: EDGE,
        }
    }

    /// Returns the width of what is inside the edges.
    pub(super) fn width() -> f32 {
        A4.0 - 2.0 * EDGE
    }

    /// Begins another page where less than `height` is left of this one.
    pub(super) fn room(&mut self, height: f32) {
        if height > self.left() {
            self.turn();
        }
    }

    /// Returns the height that is left of this page.
    pub(super) fn left(&self) -> f32 {
        A4.1 - EDGE - FOOT - self.y
    }

    /// Begins another page.
    pub(super) fn turn(&mut self) {
        self.pages.push(Vec::new());
        self.y = EDGE;
    }

    /// Leaves some space.
    pub(super) fn space(&mut self, height: f32) {
        self.y += height;
    }

    /// Puts a mark on the page.
    pub(super) fn mark(&mut self, mark: Mark) {
        self.pages
            .last_mut()
            .expect("there is a first page")
            .push(mark);
    }

    /// Puts one line of text.
    pub(super) fn text(&mut self, x: f32, y: f32, look: Look, text: &str) {
        let text = self.settable(look.weight, text);
        self.mark(Mark::Text { x, y, look, text });
    }

    /// Puts a heading that stays with what follows it.
    pub(super) fn heading(&mut self, text: &str) {
        self.room(70.0);
        self.space(12.0);
        let look = Look {
            weight: Weight::Bold,
            size: 12.5,
            colour: ACCENT,
        };
        self.text(EDGE, self.y + 11.0, look, text);
        self.space(18.0);
    }

    /// Puts text in as many lines as it needs, between `left` and `right`.
    pub(super) fn flow(&mut self, (left, right): (f32, f32), look: Look, text: &str) {
        let line_height = look.size * 1.38;
        for line in self.lines(look, right - left, text) {
            self.room(line_height);
            self.text(left, self.y + look.size, look, &line);
            self.space(line_height);
        }
    }

    /// Puts a paragraph.
    pub(super) fn paragraph(&mut self, look: Look, text: &str) {
        self.flow((EDGE, A4.0 - EDGE), look, text);
        self.space(4.0);
    }

    /// Puts a point of a list.
    pub(super) fn point(&mut self, look: Look, text: &str) {
        self.room(look.size * 1.38);
        self.text(EDGE, self.y + look.size, look, "\u{2013}");
        self.flow((EDGE + 12.0, A4.0 - EDGE), look, text);
        self.space(2.0);
    }

    /// Puts a name and what it stands for side by side.
    pub(super) fn pair(&mut self, name: &str, value: &str) {
        self.room(BODY.size * 1.38);
        let gray = Look {
            colour: SOFT,
            ..BODY
        };
        self.text(EDGE, self.y + BODY.size, gray, name);
        self.flow((EDGE + 110.0, A4.0 - EDGE), BODY, value);
        self.space(1.5);
    }

    /// Puts names and what they stand for, two side by side where both fit.
    pub(super) fn pairs(&mut self, pairs: &[(&'static str, String)]) {
        let half = Self::width() / 2.0;
        let fits = |value: &str| self.measure(BODY, value) < half - NAME;
        if !pairs.iter().all(|(_, value)| fits(value)) {
            for (name, value) in pairs {
                self.pair(name, value);
            }
            return;
        }
        let gray = Look {
            colour: SOFT,
            ..BODY
        };
        for both in pairs.chunks(2) {
            self.room(BODY.size * 1.38);
            for (column, (name, value)) in both.iter().enumerate() {
                let x = EDGE + column as f32 * half;
                self.text(x, self.y + BODY.size, gray, name);
                self.text(x + NAME, self.y + BODY.size, BODY, value);
            }
            self.space(BODY.size * 1.38 + 1.5);
        }
    }

    /// Returns the lines of a text at a width.
    pub(super) fn lines(&self, look: Look, width: f32, text: &str) -> Vec<String> {
        let mut lines = Vec::new();
        for part in text.lines() {
            let mut line = String::new();
            for word in part
                .split_whitespace()
                .flat_map(|word| self.pieces(look, width, word))
            {
                let longer = if line.is_empty() {
                    word.clone()
                } else {
                    format!("{line} {word}")
                };
                if self.measure(look, &longer) <= width {
                    line = longer;
                } else {
                    lines.push(std::mem::replace(&mut line, word));
                }
            }
            lines.push(line);
        }
        lines
    }

    /// Returns a word in pieces that fit a line; one piece for all words but hashes and the like.
    fn pieces(&self, look: Look, width: f32, word: &str) -> Vec<String> {
        let mut pieces = vec![String::new()];
        for letter in word.chars() {
            let piece = pieces.last_mut().expect("there is a first piece");
            piece.push(letter);
            if self.measure(look, piece) > width {
                piece.pop();
                pieces.push(letter.to_string());
            }
        }
        pieces
    }

    /// Returns the width of a line of text; kerning, which only narrows it, is left out.
    pub(super) fn measure(&self, look: Look, text: &str) -> f32 {
        let face = self.face(look.weight);
        let advance = |letter: char| {
            let glyph = face.glyph_index(letter).unwrap_or_default();
            f32::from(face.glyph_hor_advance(glyph).unwrap_or_default())
        };
        text.chars().map(advance).sum::<f32>() / f32::from(face.units_per_em()) * look.size
    }

    /// Returns a text with a mark for each letter that the font does not have; its minus is the en dash.
    fn settable(&self, weight: Weight, text: &str) -> String {
        let face = self.face(weight);
        let set = |letter: char| match letter {
            '\u{2212}' => '\u{2013}',
            letter if face.glyph_index(letter).is_some() => letter,
            _ => '\u{fffd}',
        };
        text.chars().map(set).collect()
    }

    fn face(&self, weight: Weight) -> &Face<'static> {
        &self.faces[usize::from(weight == Weight::Bold)]
    }
}

//! The sheet on A4, two pages as a rule and four at the most.

use baytrim_jobs::propose::CAUTIONS;
use ttf_parser::Face;

use super::content::{Sheet, Step};
use super::draw::{self, PdfError};
use super::map::{self, Cell};
use super::paper::{A4, BODY, EDGE, INK, LINE, Look, Mark, Paper, SMALL, STRONG, Weight};
use super::words::{fixed, moment, signed};

/// Height of what stands above before and after: heading, explanation, scale of colours.
const PICTURES_HEAD: f32 = 82.0;
/// Height of the heading of the table handed over.
const TABLE_HEAD: f32 = 30.0;
/// Height of what tells the table again, below it.
const TABLE_FOOT: f32 = 74.0;

/// A sheet as a file.
#[derive(Debug, Clone)]
pub struct Rendered {
    /// The PDF.
    pub bytes: Vec<u8>,
    /// Its number of pages.
    pub page_count: usize,
    /// A name for the file.
    pub file_name: String,
}

/// Returns the sheet as PDF; the same records give the same bytes.
///
/// # Errors
/// When the writer fails, which it does not for sheets.
pub fn render(sheet: &Sheet) -> Result<Rendered, PdfError> {
    let face = |bytes| Face::parse(bytes, 0).map_err(|_| PdfError::Font);
    let mut paper = Paper::new(face(draw::REGULAR)?, face(draw::BOLD)?);
    top(&mut paper, sheet);
    story(&mut paper, sheet);
    // Before and after are to be looked at together. Where they no longer fit below the story, what fits goes first.
    let is_apart = sheet.maps.is_some() && both(&paper, sheet).is_none();
    let is_table_first = is_apart && fits_table(&paper, sheet);
    if is_table_first {
        table(&mut paper, sheet);
    } else if is_apart {
        conditions(&mut paper, sheet);
    }
    if is_apart {
        paper.turn();
    }
    pictures(&mut paper, sheet);
    if !is_table_first {
        table(&mut paper, sheet);
    }
    if is_table_first || !is_apart {
        conditions(&mut paper, sheet);
    }
    close(&mut paper);
    feet(&mut paper, sheet);
    Ok(Rendered {
        bytes: draw::pdf(&paper.pages, &format!("Job sheet: {}", sheet.title))?,
        page_count: paper.pages.len(),
        file_name: format!("{}-job-sheet.pdf", sheet.job),
    })
}

fn top(paper: &mut Paper, sheet: &Sheet) {
    let title = Look {
        weight: Weight::Bold,
        size: 19.0,
        colour: INK,
    };
    paper.flow((EDGE, A4.0 - EDGE), title, &sheet.title);
    paper.space(1.0);
    let line = format!("Job sheet of {}, as of {}", sheet.job, moment(sheet.at));
    paper.paragraph(SMALL, &line);
    rule(paper);
    if !sheet.notes.is_empty() {
        paper.paragraph(BODY, &sheet.notes);
        paper.space(4.0);
    }
    paper.pairs(&sheet.facts);
}

fn story(paper: &mut Paper, sheet: &Sheet) {
    paper.heading("What came in");
    for said in &sheet.came_in {
        paper.paragraph(BODY, said);
    }
    paper.heading("What was done");
    if sheet.untold > 0 {
        paper.paragraph(
            SMALL,
            &format!("{} earlier steps are in the record.", sheet.untold),
        );
    }
    if sheet.steps.is_empty() {
        paper.paragraph(BODY, "No table was approved.");
    }
    for step in &sheet.steps {
        told(paper, step);
    }
    paper.heading("How it is now");
    for said in &sheet.now {
        paper.paragraph(BODY, said);
    }
    if !sheet.grip.is_empty() {
        paper.heading("How the throttle answers");
        for said in &sheet.grip {
            paper.paragraph(BODY, said);
        }
    }
    if !sheet.stages.is_empty() {
        paper.heading("From stage to stage");
        for said in &sheet.stages {
            paper.paragraph(BODY, said);
        }
    }
}

fn told(paper: &mut Paper, step: &Step) {
    paper.room(40.0);
    paper.flow((EDGE, A4.0 - EDGE), STRONG, &step.what);
    let who = format!("{}, {}: {}", step.by, moment(step.at), step.why);
    paper.paragraph(BODY, &who);
}

/// Returns the height of a row with which before and after fit on the page that is begun.
fn both(paper: &Paper, sheet: &Sheet) -> Option<f32> {
    map::row_height(&sheet.table.axes, 2, paper.left() - PICTURES_HEAD)
}

fn fits_table(paper: &Paper, sheet: &Sheet) -> bool {
    map::row_height(&sheet.table.axes, 1, paper.left() - TABLE_HEAD - TABLE_FOOT).is_some()
}

fn pictures(paper: &mut Paper, sheet: &Sheet) {
    let Some(maps) = &sheet.maps else {
        return;
    };
    let axes = &sheet.table.axes;
    let height = both(paper, sheet).unwrap_or_else(|| map::most(axes));
    paper.heading("Before and after");
    paper.paragraph(
        SMALL,
        "Engine speed runs across, throttle opening down. 0 is right. Plus means that fuel was lacking there (too lean), \
         minus that there was too much (too rich), in percent. A dash: the engine has not been there.",
    );
    map::scale(paper);
    for (words, map) in [
        ("Before: with the table that came", &maps.before),
        ("After: with the table handed over", &maps.after),
    ] {
        map::grid(paper, axes, height, words, &|node| Cell {
            text: map[node].map_or_else(String::new, |percent| signed(percent, 1)),
            percent: map[node],
        });
    }
}

fn table(paper: &mut Paper, sheet: &Sheet) {
    let table = &sheet.table;
    let left = paper.left() - TABLE_HEAD - TABLE_FOOT;
    let height = map::row_height(&table.axes, 1, left);
    if height.is_none() {
        paper.turn();
    }
    let height = height.unwrap_or_else(|| map::most(&table.axes));
    paper.heading("The table handed over");
    let unit = match table.unit.trim() {
        "" => String::new(),
        unit => format!(" in {unit}"),
    };
    let words = format!(
        "{}: values{unit}; colour: change from the table that came",
        table.revision
    );
    map::grid(paper, &table.axes, height, &words, &|node| Cell {
        text: fixed(table.values[node], table.decimals),
        percent: Some(table.change_percent[node]),
    });
    for (name, value) in &sheet.seals {
        paper.pair(name, value);
    }
}

fn conditions(paper: &mut Paper, sheet: &Sheet) {
    paper.heading("What it holds for");
    for said in &sheet.conditions {
        paper.point(BODY, said);
    }
}

fn close(paper: &mut Paper) {
    // Whoever signs has the cautions before them: both stand on one page, and never a signature alone.
    paper.room(140.0);
    paper.heading("Caution");
    for caution in CAUTIONS {
        paper.point(BODY, caution);
    }
    paper.room(52.0);
    paper.space(36.0);
    let half = Paper::width() / 2.0;
    for (column, words) in [
        "For the shop: name, date, signature",
        "Customer: name, date, signature",
    ]
    .into_iter()
    .enumerate()
    {
        let x = EDGE + column as f32 * (half + 10.0);
        let to = (x + half - 20.0, paper.y);
        paper.mark(Mark::Line {
            from: (x, paper.y),
            to,
            width: 0.8,
            colour: INK,
        });
        paper.text(x, paper.y + 11.0, SMALL, words);
    }
    paper.space(16.0);
}

fn rule(paper: &mut Paper) {
    let y = paper.y;
    paper.mark(Mark::Line {
        from: (EDGE, y),
        to: (A4.0 - EDGE, y),
        width: 0.8,
        colour: LINE,
    });
    paper.space(8.0);
}

/// Puts the same line at the foot of each page.
fn feet(paper: &mut Paper, sheet: &Sheet) {
    let count = paper.pages.len();
    for (index, page) in paper.pages.iter_mut().enumerate() {
        let text = format!(
            "{}, table {}, page {} of {count}. This is advice; a licensed, competent person decides.",
            sheet.job,
            sheet.table.revision,
            index + 1
        );
        page.push(Mark::Text {
            x: EDGE,
            y: A4.1 - EDGE + 6.0,
            look: SMALL,
            text,
        });
    }
}

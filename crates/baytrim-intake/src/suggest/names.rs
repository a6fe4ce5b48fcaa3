//! What the name of a column says.

mod words;

use baytrim_model::channel::Quantity;

use super::unit_text::{StatedUnit, read_unit};
use words::{AGAINST, BAY_PHRASES, CLOCK, COUNTER, FLAG_PHRASES, NO_CLOCK, PHRASES};

/// A name taken apart.
#[derive(Debug, Clone)]
pub(super) struct Name {
    /// Its words, in lower case, without accents.
    words: Vec<String>,
    /// The unit inside it, where there is one.
    pub unit: Option<StatedUnit>,
}

/// Shortest word that is also looked for inside a longer one, letters.
const INSIDE_LETTERS_MIN: usize = 5;

impl Name {
    /// Takes `name` apart.
    pub(super) fn new(name: &str) -> Self {
        let (outside, inside) = brackets(name);
        let mut unit = None;
        let mut text = outside;
        for part in inside {
            match read_unit(&part) {
                Some(stated) if unit.is_none() && !part.trim().is_empty() => unit = Some(stated),
                _ => {
                    text.push(' ');
                    text.push_str(&part);
                }
            }
        }
        if unit.is_none()
            && let Some((rest, last)) = text.trim_end().rsplit_once([' ', ',', '_'])
            && let Some(stated) = read_unit(last)
            && stated != StatedUnit::Pure
        {
            unit = Some(stated);
            if !stated.is_a_name() {
                text = rest.to_owned();
            }
        }
        let mut words = split(&text);
        if unit.is_none() && text.contains('%') {
            unit = read_unit("%");
        }
        if unit.is_none()
            && words.len() > 1
            && let Some(last) = words.last()
            && let Some(stated) = read_unit(last)
            && stated != StatedUnit::Pure
        {
            unit = Some(stated);
            if !stated.is_a_name() {
                words.pop();
            }
        }
        Self { words, unit }
    }

    /// Returns how well the name fits `quantity`, 0 to 1, and the words that say so.
    pub(super) fn fit(&self, quantity: Quantity) -> (f64, &'static str) {
        let all = PHRASES.iter().chain(&FLAG_PHRASES).chain(&BAY_PHRASES);
        let phrases = all.filter(|(of, _, _)| *of == quantity);
        let mut best = (0.0, "");
        for (_, weight, phrase) in phrases {
            let words: Vec<&str> = phrase.split(' ').collect();
            if !words.iter().all(|word| self.says(word)) {
                continue;
            }
            let unexplained = self.words.len().saturating_sub(words.len()).min(4);
            let fit = f64::from(*weight) / 100.0 - 0.03 * unexplained as f64;
            if fit > best.0 {
                best = (fit, phrase);
            }
        }
        let is_second = self.words.iter().any(|word| word == "2") && !best.1.contains('2');
        if best.0 > 0.0 && is_second {
            best.0 -= 0.05;
        }
        // What the phrase itself says is not against it.
        let is_said = |word: &str| best.1.split(' ').any(|said| said.contains(word));
        let is_against = AGAINST.iter().any(|(of, words)| {
            let is_of = of.is_none_or(|of| of == quantity);
            let mut words = words.split(' ').filter(|word| !is_said(word));
            is_of && words.any(|word| self.says(word))
        });
        if is_against {
            best.0 *= 0.1;
        }
        best
    }

    /// Returns how well the name fits a clock, 0 to 1.
    pub(super) fn clock_fit(&self) -> f64 {
        let phrases = CLOCK
            .iter()
            .filter(|(_, phrase)| phrase.split(' ').all(|word| self.says(word)));
        let fit = phrases
            .map(|(weight, _)| f64::from(*weight) / 100.0)
            .fold(0.0, f64::max);
        if self
            .words
            .iter()
            .any(|word| NO_CLOCK.contains(&word.as_str()))
        {
            return 0.0;
        }
        let unexplained = self.words.len().saturating_sub(1).min(5);
        (fit - 0.05 * unexplained as f64).max(0.0)
    }

    /// Returns whether the name is that of a row counter.
    pub(super) fn is_counter(&self) -> bool {
        self.words
            .iter()
            .any(|word| COUNTER.contains(&word.as_str()))
    }

    fn says(&self, wanted: &str) -> bool {
        let is_long = wanted.chars().count() >= INSIDE_LETTERS_MIN || !wanted.is_ascii();
        self.words
            .iter()
            .any(|word| word == wanted || (is_long && word.contains(wanted)))
    }
}

/// Returns the text outside brackets, and what stands in each pair of them.
fn brackets(name: &str) -> (String, Vec<String>) {
    let mut outside = String::new();
    let mut inside = Vec::new();
    let mut open: Option<String> = None;
    for letter in name.chars() {
        match (letter, &mut open) {
            ('(' | '[' | '{' | '<' | '（', None) => open = Some(String::new()),
            (')' | ']' | '}' | '>' | '）', Some(text)) => {
                inside.push(std::mem::take(text));
                open = None;
            }
            (letter, Some(text)) => text.push(letter),
            (letter, None) => outside.push(letter),
        }
    }
    inside.extend(open);
    (outside, inside)
}

/// Returns the words of `text`: cut at marks, at capitals inside a word and between letters and digits.
fn split(text: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut before: Option<char> = None;
    for letter in text.chars() {
        let is_cut = match before {
            Some(before) => {
                (before.is_lowercase() && letter.is_uppercase())
                    || (before.is_ascii_digit() != letter.is_ascii_digit())
            }
            None => false,
        };
        if !letter.is_alphanumeric() {
            words.push(String::new());
            before = None;
            continue;
        }
        if is_cut {
            words.push(String::new());
        }
        before = Some(letter);
        if let Some(word) = words.last_mut() {
            letter.to_lowercase().for_each(|letter| plain(letter, word));
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

/// Adds `letter` without its accent.
fn plain(letter: char, word: &mut String) {
    let plain = match letter {
        'ä' | 'á' | 'à' | 'â' | 'ã' | 'å' | 'ą' => "a",
        'é' | 'è' | 'ê' | 'ë' | 'ě' | 'ę' => "e",
        'í' | 'ì' | 'î' | 'ï' => "i",
        'ö' | 'ó' | 'ò' | 'ô' | 'õ' | 'ø' => "o",
        'ü' | 'ú' | 'ù' | 'û' | 'ů' => "u",
        'ç' | 'č' | 'ć' => "c",
        'ñ' | 'ň' | 'ń' => "n",
        'š' | 'ś' => "s",
        'ž' | 'ź' | 'ż' => "z",
        'ř' => "r",
        'ý' => "y",
        'ł' => "l",
        'ß' => "ss",
        other => {
            word.push(other);
            return;
        }
    };
    word.push_str(plain);
}

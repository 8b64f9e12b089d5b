//! How text fills A4: pieces broken into lines, blocks laid into columns and pages, and the largest type that fits.
//!
//! What is printed is made from the same pieces, so what is measured is what stands on the sheet.

use crate::markup::escape;
use std::fmt::Write;

/// A piece of running text.
#[derive(Debug, Clone)]
pub(super) enum Piece {
    Plain(String),
    /// A label, in bold.
    Bold(String),
    /// Large and bold: what is read at arm's length.
    Key(String),
    /// A signal word in capitals and in its box, as high as key text.
    Signal(&'static str),
}

pub(super) type Paragraph = Vec<Piece>;

/// A step or a section of the sheet.
#[derive(Debug, Clone)]
pub(super) struct Block {
    pub title: Title,
    pub paragraphs: Vec<Paragraph>,
}

#[derive(Debug, Clone)]
pub(super) enum Title {
    /// Anchor and name.
    Section(&'static str, &'static str),
    /// Number and name, and what stands beside them in plain type. A step is not broken across columns.
    Step(String, String),
}

// ---- type ----

/// Size of the type in points, and columns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Type {
    pub plain_pt: f64,
    pub columns: u32,
}

/// The largest that fits is taken. For a capital seen under 20 minutes of arc at 70 cm, which is read with ease, 16 pt
/// are needed, for 16, the least for steady reading, 13 pt (ISO 9241-303; from memory): step names, amounts and
/// timers are never smaller, signal words in capitals hardly. What is looked up beside them may have a newspaper's 9 pt.
const TYPES: [Type; 10] = [
    Type { plain_pt: 14.0, columns: 1 },
    Type { plain_pt: 13.0, columns: 1 },
    Type { plain_pt: 12.0, columns: 1 },
    Type { plain_pt: 12.0, columns: 2 },
    Type { plain_pt: 11.5, columns: 2 },
    Type { plain_pt: 11.0, columns: 2 },
    Type { plain_pt: 10.5, columns: 2 },
    Type { plain_pt: 10.0, columns: 2 },
    Type { plain_pt: 9.5, columns: 2 },
    Type { plain_pt: 9.0, columns: 2 },
];
const LEAST_KEY_PT: f64 = 13.0;
/// Key text is larger than the rest by this.
const KEY_SHARE: f64 = 1.3;
const MM_PER_PT: f64 = 25.4 / 72.0;
/// A4, and what stays white around it.
const PAGE_MM: (f64, f64) = (210.0, 297.0);
const MARGIN_MM: f64 = 7.0;
const COLUMN_GAP_MM: f64 = 4.0;
const RULE_MM: f64 = 0.4;
/// White above and below a step.
const STEP_PADDING_MM: f64 = 0.6;
/// A signal word is smaller than key text by this: its box must not touch the next line.
const SIGNAL_SHARE: f64 = 0.9;
/// Box and white to the left and right of a signal word.
const SIGNAL_MM: f64 = 2.4;
const LINE_HEIGHT: f64 = 1.12;
const KEY_LINE_HEIGHT: f64 = 1.1;

impl Type {
    pub fn key_pt(self) -> f64 {
        (self.plain_pt * KEY_SHARE).max(LEAST_KEY_PT)
    }

    /// The largest type in which the sheet takes at most so many pages; the least where none does.
    pub fn fitting(header: &[Paragraph], flow: &[Block], most_pages: u32) -> Type {
        let fits = |size: &&Type| size.pages(header, flow) <= most_pages;
        *TYPES.iter().find(fits).unwrap_or(&TYPES[TYPES.len() - 1])
    }

    /// Pages that the sheet takes, its columns filled one after the other.
    pub fn pages(self, header: &[Paragraph], flow: &[Block]) -> u32 {
        let page_mm = PAGE_MM.1 - 2.0 * MARGIN_MM;
        let first_mm = page_mm - self.paragraphs_mm(header, PAGE_MM.0 - 2.0 * MARGIN_MM) - RULE_MM;
        let (mut column, mut left_mm) = (0, first_mm);
        for piece_mm in flow.iter().flat_map(|block| self.unbroken_mm(block)) {
            if piece_mm > left_mm {
                column += 1;
                left_mm = if column < self.columns { first_mm } else { page_mm };
            }
            left_mm -= piece_mm;
        }
        column / self.columns + 1
    }

    /// Heights of the parts of a block that stay in one column: a step as a whole, a section by paragraphs, the first
    /// of them under its title.
    fn unbroken_mm(self, block: &Block) -> Vec<f64> {
        let columns = f64::from(self.columns);
        let gaps_mm = COLUMN_GAP_MM * (columns - 1.0);
        let width_mm = (PAGE_MM.0 - 2.0 * MARGIN_MM - gaps_mm) / columns;
        let title_mm = RULE_MM + self.title_mm(&block.title, width_mm);
        let paragraphs = block.paragraphs.iter().map(|paragraph| self.lines_mm(paragraph, width_mm));
        match block.title {
            Title::Step(..) => vec![title_mm + paragraphs.sum::<f64>() + STEP_PADDING_MM],
            Title::Section(..) => {
                let mut parts: Vec<f64> = paragraphs.collect();
                if let Some(first) = parts.first_mut() {
                    *first += title_mm;
                }
                parts
            }
        }
    }

    fn title_mm(self, title: &Title, width_mm: f64) -> f64 {
        match title {
            Title::Section(_, name) => self.lines_mm(&[Piece::Bold(name.to_uppercase())], width_mm),
            Title::Step(name, beside) => {
                let pieces = [Piece::Key(name.to_uppercase()), Piece::Plain(beside.clone())];
                self.lines_mm(&pieces, width_mm)
            }
        }
    }

    fn paragraphs_mm(self, paragraphs: &[Paragraph], width_mm: f64) -> f64 {
        paragraphs.iter().map(|paragraph| self.lines_mm(paragraph, width_mm)).sum()
    }

    /// Height of a paragraph whose words are set as long as the line lasts.
    fn lines_mm(self, paragraph: &[Piece], width_mm: f64) -> f64 {
        let mut lines: Vec<f64> = Vec::new();
        let mut used_mm = 0.0;
        for (word, piece) in paragraph.iter().flat_map(|piece| piece.words().map(move |word| (word, piece))) {
            let (word_mm, blank_mm, high_mm) = self.word_mm(word, piece);
            match lines.last_mut().filter(|_| used_mm + blank_mm + word_mm <= width_mm) {
                Some(line_mm) => {
                    *line_mm = line_mm.max(high_mm);
                    used_mm += blank_mm + word_mm;
                }
                None => {
                    // A word longer than the line is broken.
                    let full = (word_mm / width_mm).ceil().max(1.0);
                    lines.extend(std::iter::repeat_n(high_mm, full as usize));
                    used_mm = word_mm - (full - 1.0) * width_mm;
                }
            }
        }
        lines.iter().sum()
    }

    /// Width of a word and of the blank before it, and the height of its line.
    fn word_mm(self, word: &str, piece: &Piece) -> (f64, f64, f64) {
        let (pt, line, wider, box_mm) = match piece {
            Piece::Plain(_) => (self.plain_pt, LINE_HEIGHT, 1.0, 0.0),
            Piece::Bold(_) => (self.plain_pt, LINE_HEIGHT, BOLD, 0.0),
            Piece::Key(_) => (self.key_pt(), KEY_LINE_HEIGHT, BOLD, 0.0),
            Piece::Signal(_) => {
                (SIGNAL_SHARE * self.key_pt(), KEY_LINE_HEIGHT / SIGNAL_SHARE, BOLD, SIGNAL_MM)
            }
        };
        let em_mm = pt * MM_PER_PT * wider;
        let word_mm = word.chars().map(advance_em).sum::<f64>() * em_mm + box_mm;
        (word_mm, advance_em(' ') * em_mm, pt * MM_PER_PT * line)
    }

    pub fn style(self) -> String {
        let (plain_pt, key_pt, columns) = (self.plain_pt, self.key_pt(), self.columns);
        let signal_pt = SIGNAL_SHARE * key_pt;
        format!(
            "@page {{ size: A4; margin: {MARGIN_MM}mm; }}\n\
             html {{ font: {plain_pt}pt/{LINE_HEIGHT} sans-serif; color: #000; background: #fff; overflow-wrap: anywhere; }}\n\
             body, p, ol, h1, h2, h3 {{ margin: 0; padding: 0; }}\n\
             h1, h2 {{ font-size: 1em; }}\n\
             h2, h3 {{ text-transform: uppercase; }}\n\
             h2 {{ break-after: avoid; }}\n\
             h3 {{ font-size: {key_pt}pt; line-height: {KEY_LINE_HEIGHT}; }}\n\
             h3 span {{ font-size: {plain_pt}pt; font-weight: normal; text-transform: none; }}\n\
             p {{ break-inside: avoid; }}\n\
             .key {{ font-size: {key_pt}pt; line-height: {KEY_LINE_HEIGHT}; }}\n\
             .signal {{ display: inline-block; font-size: {signal_pt}pt; line-height: 1; border: 0.3mm solid #000; \
             padding: 0 0.7mm; }}\n\
             .flow {{ columns: {columns}; column-gap: {COLUMN_GAP_MM}mm; column-fill: auto; }}\n\
             .flow, section, .steps > li {{ border-top: {RULE_MM}mm solid #000; }}\n\
             .steps {{ list-style: none; }}\n\
             .steps > li {{ break-inside: avoid; padding: 0.2mm 0 0.4mm; }}\n\
             @media screen {{ body {{ max-width: 196mm; margin: 5mm auto; padding: 0 5mm; }} }}\n"
        )
    }
}

/// Bold letters are wider by this.
const BOLD: f64 = 1.13;

/// Width of a character in ems: about that of DejaVu Sans, the widest of the usual sans serif types.
fn advance_em(character: char) -> f64 {
    match character {
        ' ' | '\u{a0}' => 0.32,
        'i' | 'I' | 'j' | 'l' | '.' | ',' | ':' | ';' | '|' | '!' | '\'' => 0.32,
        'f' | 'r' | 't' | '(' | ')' | '-' | '/' => 0.40,
        'm' | 'M' | 'w' | 'W' | '%' => 0.95,
        '+' | '<' | '>' | '=' => 0.84,
        '_' => 0.50,
        upper if upper.is_uppercase() => 0.70,
        digit if digit.is_ascii_digit() => 0.64,
        _ => 0.61,
    }
}

// ---- print ----

impl Piece {
    /// Words that a line may end behind.
    fn words(&self) -> impl Iterator<Item = &str> {
        let text = match self {
            Piece::Plain(text) | Piece::Bold(text) | Piece::Key(text) => text,
            Piece::Signal(word) => *word,
        };
        text.split(' ').filter(|word| !word.is_empty())
    }

    fn html(&self) -> String {
        match self {
            Piece::Plain(text) => escape(text),
            Piece::Bold(text) => format!("<b>{}</b>", escape(text)),
            Piece::Key(text) => format!("<b class=\"key\">{}</b>", escape(text)),
            Piece::Signal(word) => format!("<b class=\"signal\">{word}</b>"),
        }
    }
}

pub(super) fn inline_html(paragraph: &Paragraph) -> String {
    paragraph.iter().map(Piece::html).collect::<Vec<_>>().join(" ")
}

pub(super) fn paragraphs_html(paragraphs: &[Paragraph]) -> String {
    paragraphs.iter().fold(String::new(), |mut html, paragraph| {
        let _ = writeln!(html, "<p>{}</p>", inline_html(paragraph));
        html
    })
}

impl Block {
    pub fn html(&self) -> String {
        let text = paragraphs_html(&self.paragraphs);
        match &self.title {
            Title::Section(id, name) => {
                format!("<section aria-labelledby=\"{id}\">\n<h2 id=\"{id}\">{name}</h2>\n{text}</section>\n")
            }
            Title::Step(name, beside) => {
                format!("<li>\n<h3>{} <span>{}</span></h3>\n{text}</li>\n", escape(name), escape(beside))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NARROW: Type = Type { plain_pt: 10.0, columns: 2 };

    fn plain(words: usize) -> Paragraph {
        vec![Piece::Plain(vec!["word"; words].join(" "))]
    }

    #[test]
    fn words_are_set_as_long_as_the_line_lasts() {
        let line_mm = 10.0 * MM_PER_PT * LINE_HEIGHT;
        // `word` is 0.95 + 0.61 + 0.40 + 0.61 em, with its blank 2.89 em or 10.2 mm.
        for (words, lines) in [(0, 0.0), (1, 1.0), (10, 1.0), (11, 2.0), (20, 2.0), (21, 3.0)] {
            let high_mm = NARROW.lines_mm(&plain(words), 102.0);
            assert!((high_mm - lines * line_mm).abs() < 1e-9, "{words} words: {high_mm} mm");
        }
        let mut mixed = plain(3);
        mixed.push(Piece::Key("5 ml".into()));
        assert!((NARROW.lines_mm(&mixed, 102.0) - 13.0 * MM_PER_PT * KEY_LINE_HEIGHT).abs() < 1e-9);
    }

    #[test]
    fn a_step_goes_whole_to_the_next_column_and_the_next_page() {
        let step = |lines: usize| Block {
            title: Title::Step("1 wash".into(), String::new()),
            paragraphs: (0..lines).map(|_| plain(1)).collect(),
        };
        // 283 mm hold 71 lines of 3.95 mm.
        let pages = |steps: &[usize]| {
            let flow: Vec<Block> = steps.iter().map(|&lines| step(lines)).collect();
            NARROW.pages(&[], &flow)
        };
        assert_eq!([&[60][..], &[60, 60], &[60, 60, 60], &[60, 10, 60]].map(pages), [1, 1, 2, 2]);
        assert_eq!(pages(&[40, 40, 40, 40]), 2, "half a column stays empty");
    }

    #[test]
    fn key_text_is_never_smaller_than_can_be_read_at_arms_length() {
        assert!(TYPES.iter().all(|size| size.key_pt() >= 13.0 && size.plain_pt >= 9.0));
        assert!(TYPES.is_sorted_by(|a, b| a.plain_pt >= b.plain_pt));
    }
}

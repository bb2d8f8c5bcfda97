//! The fonts that papers are set in, and how wide their letters are.

use krilla::Data;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use ttf_parser::Face;

use super::PaperFault;

static REGULAR: &[u8] = include_bytes!("../../static/print/atkinson-next-regular.ttf");
static BOLD: &[u8] = include_bytes!("../../static/print/atkinson-next-bold.ttf");
/// Greek and Cyrillic, which the house's own face does not have.
static OTHER_REGULAR: &[u8] = include_bytes!("../../static/print/noto-sans-regular.ttf");
static OTHER_BOLD: &[u8] = include_bytes!("../../static/print/noto-sans-bold.ttf");

/// Light or heavy.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Weight {
    Regular,
    Bold,
}

struct Loaded {
    face: Face<'static>,
    font: Font,
}

impl Loaded {
    fn new(bytes: &'static [u8]) -> Result<Self, PaperFault> {
        Ok(Self {
            face: Face::parse(bytes, 0).map_err(|_| PaperFault::Font)?,
            font: Font::new(Data::from(bytes), 0).ok_or(PaperFault::Font)?,
        })
    }

    fn em(&self) -> f32 {
        f32::from(self.face.units_per_em())
    }
}

/// The faces of one weight, in the order in which they are asked for a letter.
struct Family([Loaded; 2]);

/// All faces.
pub(super) struct Fonts {
    regular: Family,
    bold: Family,
}

/// Letters of one font that follow each other.
pub(super) struct Run {
    pub(super) font: Font,
    pub(super) text: String,
    pub(super) glyphs: Vec<KrillaGlyph>,
    /// In ems.
    pub(super) width: f32,
}

impl Fonts {
    pub(super) fn load() -> Result<Self, PaperFault> {
        Ok(Self {
            regular: Family([Loaded::new(REGULAR)?, Loaded::new(OTHER_REGULAR)?]),
            bold: Family([Loaded::new(BOLD)?, Loaded::new(OTHER_BOLD)?]),
        })
    }

    fn family(&self, weight: Weight) -> &Family {
        match weight {
            Weight::Regular => &self.regular,
            Weight::Bold => &self.bold,
        }
    }

    /// Letters with their places. Digits keep their own widths: padded ones are read as several
    /// words by programs that read a PDF back.
    pub(super) fn runs(&self, text: &str, weight: Weight) -> Vec<Run> {
        let family = self.family(weight);
        let mut runs: Vec<(usize, Run)> = Vec::new();
        for letter in text.chars().map(plain) {
            let (at, glyph, letter) = family.find(letter);
            let loaded = &family.0[at];
            let advance = family.advance(at, glyph);
            if runs.last().is_none_or(|(last, _)| *last != at) {
                let font = loaded.font.clone();
                runs.push((at, Run { font, text: String::new(), glyphs: Vec::new(), width: 0.0 }));
            }
            if let Some((_, run)) = runs.last_mut() {
                let start = run.text.len();
                run.text.push(letter);
                run.glyphs.push(KrillaGlyph::new(
                    GlyphId::new(u32::from(glyph.0)),
                    advance,
                    0.0,
                    0.0,
                    0.0,
                    start..run.text.len(),
                    None,
                ));
                run.width += advance;
            }
        }
        runs.into_iter().map(|(_, run)| run).collect()
    }

    /// How wide a line is, in ems.
    pub(super) fn width(&self, text: &str, weight: Weight) -> f32 {
        let family = self.family(weight);
        text.chars()
            .map(plain)
            .map(|letter| {
                let (at, glyph, _) = family.find(letter);
                family.advance(at, glyph)
            })
            .sum()
    }
}

impl Family {
    /// The face that has a letter, and its glyph; a question mark where none has it.
    fn find(&self, letter: char) -> (usize, ttf_parser::GlyphId, char) {
        for (at, loaded) in self.0.iter().enumerate() {
            if let Some(glyph) = loaded.face.glyph_index(letter) {
                return (at, glyph, letter);
            }
        }
        (0, self.0[0].face.glyph_index('?').unwrap_or_default(), '?')
    }

    fn advance(&self, at: usize, glyph: ttf_parser::GlyphId) -> f32 {
        let loaded = &self.0[at];
        f32::from(loaded.face.glyph_hor_advance(glyph).unwrap_or(0)) / loaded.em()
    }
}

/// Letters that only steer a line are set as what they look like.
fn plain(letter: char) -> char {
    match letter {
        '\u{202f}' | '\u{2009}' | '\u{a0}' | '\t' => ' ',
        letter if letter.is_control() => ' ',
        letter => letter,
    }
}

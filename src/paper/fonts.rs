//! The fonts that papers are set in, and how wide their letters are.

use krilla::Data;
use krilla::text::{Font, KrillaGlyph};
use ttf_parser::gpos::{PairAdjustment, PositioningSubtable};
use ttf_parser::gsub::{SingleSubstitution, SubstitutionSubtable};
use ttf_parser::opentype_layout::{LayoutTable, Lookup};
use ttf_parser::{Face, GlyphId, Tag};

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

    fn advance(&self, glyph: GlyphId) -> f32 {
        f32::from(self.face.glyph_hor_advance(glyph).unwrap_or(0)) / self.em()
    }

    /// The form of a digit that is as wide as the others (OpenType feature `tnum`), if the face
    /// has one. It has its own width, so that programs that read a PDF back see one number.
    fn even(&self, glyph: GlyphId) -> GlyphId {
        let Some(table) = self.face.tables().gsub else { return glyph };
        for lookup in lookups(&table, b"tnum") {
            for form in lookup.subtables.into_iter::<SubstitutionSubtable<'_>>() {
                let SubstitutionSubtable::Single(single) = form else { continue };
                let Some(at) = single.coverage().get(glyph) else { continue };
                return match single {
                    SingleSubstitution::Format1 { delta, .. } => {
                        GlyphId(glyph.0.wrapping_add_signed(delta))
                    }
                    SingleSubstitution::Format2 { substitutes, .. } => {
                        substitutes.get(at).unwrap_or(glyph)
                    }
                };
            }
        }
        glyph
    }

    /// How much further than its own width the left of two letters goes, in ems (OpenType feature
    /// `kern`): below nothing where they move together.
    fn kern(&self, left: GlyphId, right: GlyphId) -> f32 {
        let Some(table) = self.face.tables().gpos else { return 0.0 };
        let mut units = 0.0;
        for lookup in lookups(&table, b"kern") {
            // The first table of a lookup that knows the pair decides.
            let found = lookup
                .subtables
                .into_iter::<PositioningSubtable<'_>>()
                .find_map(|pairs| advance_of(&pairs, left, right));
            units += f32::from(found.unwrap_or(0));
        }
        units / self.em()
    }
}

/// The lookups of a feature.
fn lookups<'a>(table: &LayoutTable<'a>, feature: &[u8; 4]) -> Vec<Lookup<'a>> {
    let tag = Tag::from_bytes(feature);
    let mut indices: Vec<u16> = table
        .features
        .into_iter()
        .filter(|known| known.tag == tag)
        .flat_map(|known| known.lookup_indices.into_iter().collect::<Vec<_>>())
        .collect();
    indices.sort_unstable();
    indices.dedup();
    indices.into_iter().filter_map(|at| table.lookups.get(at)).collect()
}

/// What a table of pairs says of a pair; nothing when it does not know it.
fn advance_of(pairs: &PositioningSubtable<'_>, left: GlyphId, right: GlyphId) -> Option<i16> {
    let PositioningSubtable::Pair(pairs) = pairs else { return None };
    let at = pairs.coverage().get(left)?;
    let (first, _) = match pairs {
        PairAdjustment::Format1 { sets, .. } => sets.get(at)?.get(right)?,
        PairAdjustment::Format2 { classes, matrix, .. } => {
            matrix.get((classes.0.get(left), classes.1.get(right)))?
        }
    };
    Some(first.x_advance)
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

    /// Letters with their places: digits all equally wide, so that figures stand below each other,
    /// and pairs of letters moved together as the face says.
    pub(super) fn runs(&self, text: &str, weight: Weight) -> Vec<Run> {
        let family = self.family(weight);
        let mut runs: Vec<(usize, Run)> = Vec::new();
        for placed in family.placed(text) {
            let at = placed.face;
            if runs.last().is_none_or(|(last, _)| *last != at) {
                let font = family.0[at].font.clone();
                runs.push((at, Run { font, text: String::new(), glyphs: Vec::new(), width: 0.0 }));
            }
            if let Some((_, run)) = runs.last_mut() {
                let start = run.text.len();
                run.text.push(placed.letter);
                run.glyphs.push(KrillaGlyph::new(
                    krilla::text::GlyphId::new(u32::from(placed.glyph.0)),
                    placed.advance,
                    0.0,
                    0.0,
                    0.0,
                    start..run.text.len(),
                    None,
                ));
                run.width += placed.advance;
            }
        }
        runs.into_iter().map(|(_, run)| run).collect()
    }

    /// How wide a line is, in ems.
    pub(super) fn width(&self, text: &str, weight: Weight) -> f32 {
        self.family(weight).placed(text).iter().map(|placed| placed.advance).sum()
    }
}

/// A letter with its glyph and how far it goes, in ems.
struct Placed {
    face: usize,
    glyph: GlyphId,
    letter: char,
    advance: f32,
}

impl Family {
    fn placed(&self, text: &str) -> Vec<Placed> {
        let mut line: Vec<Placed> = Vec::with_capacity(text.len());
        for letter in text.chars().map(plain) {
            let Some((face, glyph, letter)) = self.find(letter) else { continue };
            let loaded = &self.0[face];
            let glyph = if letter.is_ascii_digit() { loaded.even(glyph) } else { glyph };
            if let Some(before) = line.last_mut().filter(|before| before.face == face) {
                before.advance += loaded.kern(before.glyph, glyph);
            }
            line.push(Placed { face, glyph, letter, advance: loaded.advance(glyph) });
        }
        line
    }

    /// The face that has a letter, and its glyph. Where none has it a question mark stands for a
    /// letter, which carries meaning; a picture is left out.
    fn find(&self, letter: char) -> Option<(usize, GlyphId, char)> {
        for (at, loaded) in self.0.iter().enumerate() {
            if let Some(glyph) = loaded.face.glyph_index(letter) {
                return Some((at, glyph, letter));
            }
        }
        let means = letter.is_alphanumeric();
        means.then(|| (0, self.0[0].face.glyph_index('?').unwrap_or_default(), '?'))
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

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on should stop there")]
mod tests {
    use super::*;

    #[test]
    fn digits_are_equally_wide_and_pairs_of_letters_move_together() {
        let fonts = Fonts::load().unwrap();
        for weight in [Weight::Regular, Weight::Bold] {
            let widths: Vec<f32> =
                ('0'..='9').map(|digit| fonts.width(&digit.to_string(), weight)).collect();
            assert!(widths.iter().all(|width| (width - widths[0]).abs() < 1e-6), "{widths:?}");
            let alone = fonts.width("A", weight) + fonts.width("V", weight);
            assert!(fonts.width("AV", weight) < alone - 0.01, "the face has this pair");
            let same = fonts.width("H", weight) * 2.0;
            assert!((fonts.width("HH", weight) - same).abs() < 1e-6, "straight stems stay apart");
        }
        let runs = fonts.runs("1111.70 EUR", Weight::Regular);
        assert_eq!(runs[0].text, "1111.70 EUR", "and it is read back as it was written");
        let text = |words: &str| {
            let runs = fonts.runs(words, Weight::Regular);
            runs.into_iter().map(|run| run.text).collect::<String>()
        };
        assert_eq!(text("Ring \u{1f48d}\u{fe0f}, gold"), "Ring , gold", "a picture is left out");
        assert_eq!(text("\u{9280} ring"), "? ring", "a letter is not dropped in silence");
    }
}

//! From lines on pages to a tagged PDF.

use std::num::NonZeroU16;

use krilla::color::luma;
use krilla::configure::{Accessibility, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point, Rect};
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::tagging::{
    Artifact, ArtifactType, ContentTag, Identifier, Node as TagNode, SpanTag, TableHeaderScope,
    Tag, TagGroup, TagTree,
};
use krilla::{Document, SerializeSettings};

use super::fonts::Fonts;
use super::layout::{self, Hair, Kind, Laid, Line, Node, Squares};
use super::{Paper, PaperFault};

/// Writes a paper as PDF: fonts embedded, tagged after PDF/UA-1.
pub fn pdf(paper: &Paper) -> Result<Vec<u8>, PaperFault> {
    let fonts = Fonts::load()?;
    let laid = layout::lay_out(paper, &fonts);
    let configuration = ConfigurationBuilder::new()
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|fault| PaperFault::Pdf(format!("{fault:?}")))?;
    let settings =
        SerializeSettings { configuration, enable_tagging: true, ..SerializeSettings::default() };
    let mut document = Document::new_with(settings);
    document.set_metadata(
        Metadata::new()
            .title(paper.title.clone())
            .authors(vec![paper.studio.clone()])
            .creator("Pourday".to_owned())
            .language("en".to_owned()),
    );
    let mut outline = Outline::new();
    let top = XyzDestination::new(0, Point::from_xy(0.0, 0.0));
    outline.push_child(OutlineNode::new(paper.title.clone(), top));
    document.set_outline(outline);
    let marks = draw_pages(&mut document, paper, &laid, &fonts)?;
    let mut tree = TagTree::new();
    for node in &laid.nodes {
        if let Some(node) = tagged(node, &marks) {
            tree.push(node);
        }
    }
    document.set_tag_tree(tree);
    document.finish().map_err(|fault| PaperFault::Pdf(format!("{fault:?}")))
}

/// What the structure points at.
struct Marks {
    lines: Vec<Option<Identifier>>,
    codes: Vec<Option<Identifier>>,
}

/// Draws every page; the mark of each line that belongs to the structure.
fn draw_pages(
    document: &mut Document,
    paper: &Paper,
    laid: &Laid,
    fonts: &Fonts,
) -> Result<Marks, PaperFault> {
    let (width, height) = paper.size.points();
    let mut marks =
        Marks { lines: vec![None; laid.lines.len()], codes: vec![None; laid.codes.len()] };
    for number in 0..laid.pages {
        let settings = PageSettings::from_wh(width, height)
            .ok_or_else(|| PaperFault::Pdf("the sheet has no size".to_owned()))?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        for hair in laid.hairs.iter().filter(|hair| hair.page == number) {
            draw_hair(&mut surface, hair);
        }
        for (at, line) in laid.lines.iter().enumerate().filter(|(_, line)| line.page == number) {
            let tag = if line.repeated {
                ContentTag::Artifact(Artifact::with_kind(ArtifactType::Other))
            } else {
                ContentTag::Span(SpanTag::empty())
            };
            let mark = surface.start_tagged(tag);
            draw_line(&mut surface, line, fonts);
            surface.end_tagged();
            marks.lines[at] = (!line.repeated).then_some(mark);
        }
        for (at, code) in laid.codes.iter().enumerate().filter(|(_, code)| code.page == number) {
            marks.codes[at] = Some(draw_squares(&mut surface, code));
        }
        surface.finish();
        page.finish();
    }
    Ok(marks)
}

fn ink(soft: bool) -> Fill {
    let shade = if soft { 80 } else { 0 };
    Fill {
        paint: luma::Color::new(shade).into(),
        opacity: NormalizedF32::ONE,
        rule: Default::default(),
    }
}

fn draw_line(surface: &mut Surface<'_>, line: &Line, fonts: &Fonts) {
    surface.set_fill(Some(ink(line.soft)));
    surface.set_stroke(None);
    let mut x = line.x;
    for run in fonts.runs(&line.text, line.weight) {
        let start = Point::from_xy(x, line.y);
        surface.draw_glyphs(start, &run.glyphs, run.font.clone(), &run.text, line.size, false);
        x += run.width * line.size;
    }
}

fn draw_hair(surface: &mut Surface<'_>, hair: &Hair) {
    let mut path = PathBuilder::new();
    path.move_to(hair.from.0, hair.from.1);
    path.line_to(hair.to.0, hair.to.1);
    let Some(path) = path.finish() else { return };
    let (shade, width) = match hair.weight {
        layout::Stroke::Light => (170, 0.4),
        layout::Stroke::Strong => (60, 0.8),
        layout::Stroke::Bar => (0, 2.2),
    };
    surface.start_tagged(ContentTag::Artifact(Artifact::with_kind(ArtifactType::Other)));
    surface.set_fill(None);
    surface.set_stroke(Some(Stroke {
        paint: luma::Color::new(shade).into(),
        width,
        ..Stroke::default()
    }));
    surface.draw_path(&path);
    surface.end_tagged();
}

fn draw_squares(surface: &mut Surface<'_>, code: &Squares) -> Identifier {
    let mut path = PathBuilder::new();
    for (n, row) in code.rows.iter().enumerate() {
        for (at, _) in row.iter().enumerate().filter(|(_, dark)| **dark) {
            let (x, y) = (code.x + at as f32 * code.module, code.y + n as f32 * code.module);
            if let Some(square) = Rect::from_xywh(x, y, code.module, code.module) {
                path.push_rect(square);
            }
        }
    }
    let mark = surface.start_tagged(ContentTag::Other);
    surface.set_fill(Some(ink(false)));
    surface.set_stroke(None);
    if let Some(path) = path.finish() {
        surface.draw_path(&path);
    }
    surface.end_tagged();
    mark
}

/// The structure with the marks of its lines; nothing where a group is empty.
fn tagged(node: &Node, marks: &Marks) -> Option<TagNode> {
    let (kind, name, nodes) = match node {
        Node::Line(at) => return marks.lines.get(*at).copied().flatten().map(TagNode::Leaf),
        Node::Squares(at, words) => {
            let leaf = marks.codes.get(*at).copied().flatten().map(TagNode::Leaf)?;
            let alt = format!("A code that says {words}");
            return Some(TagNode::Group(TagGroup::with_children(
                Tag::Figure(Some(alt)),
                vec![leaf],
            )));
        }
        Node::Group(kind, name, nodes) => (kind, name, nodes),
    };
    let children: Vec<TagNode> = nodes.iter().filter_map(|node| tagged(node, marks)).collect();
    let cell = matches!(kind, Kind::Cell | Kind::HeadCell);
    if children.is_empty() && !cell {
        return None;
    }
    let group = match kind {
        Kind::Title => {
            TagGroup::with_children(Tag::Hn(NonZeroU16::MIN, Some(name.clone())), children)
        }
        Kind::Heading => TagGroup::with_children(
            Tag::Hn(NonZeroU16::MIN.saturating_add(1), Some(name.clone())),
            children,
        ),
        Kind::Paragraph => TagGroup::with_children(Tag::P, children),
        Kind::Table => TagGroup::with_children(Tag::Table, children),
        Kind::Row => TagGroup::with_children(Tag::TR, children),
        Kind::HeadCell => TagGroup::with_children(Tag::TH(TableHeaderScope::Column), children),
        Kind::Cell => TagGroup::with_children(Tag::TD, children),
        Kind::Part => TagGroup::with_children(Tag::Div, children),
    };
    Some(TagNode::Group(group))
}

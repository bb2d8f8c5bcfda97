//! From blocks to lines on pages.

mod table;

use self::table::{BOARD, Body};
use super::fonts::{Fonts, Weight};
use super::{Block, Paper};

/// From the edge of the sheet, in points: 20 mm.
const MARGIN: f32 = 20.0 / 25.4 * 72.0;
const BODY: f32 = 10.0;
const SMALL: f32 = 8.0;
const TITLE: f32 = 19.0;
const HEADING: f32 = 12.5;
/// The studio's name.
const NAME: f32 = 11.5;
/// The bar below it is so long.
const BAR: f32 = 34.0;
const LARGE: f32 = 30.0;
/// The side of a square code with the white around it: 32 mm.
const CODE: f32 = 32.0 / 25.4 * 72.0;
/// From line to line, as a multiple of the size.
const LEADING: f32 = 1.35;
const GAP: f32 = 14.0;
/// Between the columns of a table, and above and below its rows.
const CELL: f32 = 4.0;

/// What a line is within the paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Title,
    Heading,
    Paragraph,
    Table,
    Row,
    HeadCell,
    Cell,
    Part,
}

/// The paper's structure: what a screen reader walks through.
#[derive(Clone, Debug)]
pub(super) enum Node {
    Group(Kind, String, Vec<Node>),
    /// A line, by its number.
    Line(usize),
    /// A square code, by its number, with what it says.
    Squares(usize, String),
}

/// A line of text at its place.
#[derive(Clone, Debug)]
pub(super) struct Line {
    pub(super) page: usize,
    pub(super) x: f32,
    /// The line on which letters stand.
    pub(super) y: f32,
    pub(super) size: f32,
    pub(super) weight: Weight,
    pub(super) soft: bool,
    pub(super) text: String,
    /// Repeated on every page, so it is left out of the structure.
    pub(super) repeated: bool,
}

/// A hairline.
#[derive(Clone, Copy, Debug)]
pub(super) struct Hair {
    pub(super) page: usize,
    pub(super) from: (f32, f32),
    pub(super) to: (f32, f32),
    pub(super) weight: Stroke,
}

/// How heavy a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Stroke {
    /// Between rows.
    Light,
    /// Below a head, above a total, around a box.
    Strong,
    /// The bar of the letterhead.
    Bar,
}

/// A square code at its place.
#[derive(Clone, Debug)]
pub(super) struct Squares {
    pub(super) page: usize,
    pub(super) x: f32,
    pub(super) y: f32,
    pub(super) module: f32,
    pub(super) rows: Vec<Vec<bool>>,
}

/// A paper on its pages.
pub(super) struct Laid {
    pub(super) pages: usize,
    pub(super) lines: Vec<Line>,
    pub(super) hairs: Vec<Hair>,
    pub(super) codes: Vec<Squares>,
    pub(super) nodes: Vec<Node>,
}

#[derive(Clone, Copy)]
struct Style {
    size: f32,
    weight: Weight,
    soft: bool,
}

impl Style {
    const fn of(size: f32, weight: Weight) -> Self {
        Self { size, weight, soft: false }
    }
    const fn soft(self) -> Self {
        Self { soft: true, ..self }
    }
    fn leading(self) -> f32 {
        self.size * LEADING
    }
}

struct Setter<'a> {
    fonts: &'a Fonts,
    width: f32,
    height: f32,
    page: usize,
    /// Down from the top of the page.
    y: f32,
    laid: Laid,
}

/// How high sums are.
fn sums_height(sums: &[(String, String)]) -> f32 {
    sums.len() as f32 * (BODY * LEADING + 3.0) + 10.0
}

/// Lays a paper out.
pub(super) fn lay_out(paper: &Paper, fonts: &Fonts) -> Laid {
    let (width, height) = paper.size.points();
    let laid = Laid {
        pages: 1,
        lines: Vec::new(),
        hairs: Vec::new(),
        codes: Vec::new(),
        nodes: Vec::new(),
    };
    let mut setter = Setter { fonts, width, height, page: 0, y: MARGIN, laid };
    setter.head(paper);
    for (at, block) in paper.blocks.iter().enumerate() {
        setter.block(block, paper.blocks.get(at + 1));
    }
    setter.laid.pages = setter.page + 1;
    setter.foot(paper);
    setter.laid
}

impl Setter<'_> {
    fn inner(&self) -> f32 {
        self.width - 2.0 * MARGIN
    }

    fn lowest(&self) -> f32 {
        self.height - MARGIN - 18.0
    }

    /// Begins a new page where what comes is higher than what is left.
    fn need(&mut self, height: f32) {
        if self.y + height > self.lowest() && self.y > MARGIN + 1.0 {
            self.page += 1;
            self.y = MARGIN;
        }
    }

    /// Breaks text into lines that fit; a word that is longer than a line is broken too.
    fn broken(&self, text: &str, style: Style, width: f32) -> Vec<String> {
        let most = width / style.size;
        let measure = |text: &str| self.fonts.width(text, style.weight);
        let mut out = Vec::new();
        for paragraph in text.lines() {
            let mut line = String::new();
            for word in paragraph.split(' ').filter(|word| !word.is_empty()) {
                let longer =
                    if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
                if measure(&longer) <= most {
                    line = longer;
                    continue;
                }
                if !line.is_empty() {
                    out.push(std::mem::take(&mut line));
                }
                for letter in word.chars() {
                    line.push(letter);
                    if measure(&line) > most && line.chars().count() > 1 {
                        line.pop();
                        out.push(std::mem::replace(&mut line, letter.to_string()));
                    }
                }
            }
            out.push(line);
        }
        if out.is_empty() {
            out.push(String::new());
        }
        out
    }

    fn put(&mut self, text: &str, style: Style, x: f32, y: f32, repeated: bool) -> Option<Node> {
        if text.trim().is_empty() {
            return None;
        }
        self.laid.lines.push(Line {
            page: self.page,
            x,
            y,
            size: style.size,
            weight: style.weight,
            soft: style.soft,
            text: text.to_owned(),
            repeated,
        });
        Some(Node::Line(self.laid.lines.len() - 1))
    }

    fn put_right(
        &mut self,
        text: &str,
        style: Style,
        right: f32,
        y: f32,
        repeated: bool,
    ) -> Option<Node> {
        let width = self.fonts.width(text, style.weight) * style.size;
        self.put(text, style, right - width, y, repeated)
    }

    fn hair(&mut self, y: f32, x0: f32, x1: f32, strong: bool) {
        let weight = if strong { Stroke::Strong } else { Stroke::Light };
        self.laid.hairs.push(Hair { page: self.page, from: (x0, y), to: (x1, y), weight });
    }

    fn group(&mut self, kind: Kind, name: &str, nodes: Vec<Node>) {
        if !nodes.is_empty() {
            self.laid.nodes.push(Node::Group(kind, name.to_owned(), nodes));
        }
    }

    /// Lines below each other, from where the page stands.
    fn paragraph(&mut self, text: &str, style: Style, kind: Kind) {
        let lines = self.broken(text, style, self.inner());
        let mut nodes = Vec::new();
        for line in lines {
            self.need(style.leading());
            self.y += style.leading();
            nodes.extend(self.put(&line, style, MARGIN, self.y - style.size * 0.3, false));
        }
        self.group(kind, text, nodes);
    }

    /// The letterhead: whose paper it is with a short bar below, as on the client's page, the
    /// address to the right of it; then what it is.
    fn head(&mut self, paper: &Paper) {
        let from = match paper.blocks.first() {
            Some(Block::Parties { left, .. }) => left.get(1..).unwrap_or_default(),
            _ => &[],
        };
        let top = self.y;
        let (name, small) =
            (Style::of(NAME, Weight::Bold), Style::of(SMALL, Weight::Regular).soft());
        let half = self.inner() / 2.0;
        let mut nodes = Vec::new();
        for line in self.broken(&paper.studio, name, half - GAP) {
            self.y += name.leading();
            nodes.extend(self.put(&line, name, MARGIN, self.y - name.size * 0.3, false));
        }
        self.group(Kind::Paragraph, "", nodes);
        self.y += 3.0;
        let (start, end) = ((MARGIN, self.y), (MARGIN + BAR, self.y));
        self.laid.hairs.push(Hair { page: self.page, from: start, to: end, weight: Stroke::Bar });
        let lowest = self.y;
        self.y = top + name.leading() - small.leading();
        let mut nodes = Vec::new();
        for text in from {
            for line in self.broken(text, small, half) {
                self.y += small.leading();
                let base = self.y - name.size * 0.3;
                nodes.extend(self.put_right(&line, small, self.width - MARGIN, base, false));
            }
        }
        self.group(Kind::Paragraph, "", nodes);
        self.y = self.y.max(lowest) + 2.0 * GAP;
        self.paragraph(&paper.title, Style::of(TITLE, Weight::Bold), Kind::Title);
        self.y += GAP;
    }

    fn foot(&mut self, paper: &Paper) {
        let style = Style::of(SMALL, Weight::Regular).soft();
        for page in 0..self.laid.pages {
            self.page = page;
            let y = self.height - MARGIN + 4.0;
            let left = format!("{} · {}", paper.studio, paper.title);
            let left = self.broken(&left, style, self.inner() * 0.8).swap_remove(0);
            self.put(&left, style, MARGIN, y, true);
            let right = format!("{} of {}", page + 1, self.laid.pages);
            self.put_right(&right, style, self.width - MARGIN, y, true);
        }
    }

    /// Sets a block; what comes next tells how much of it goes along to the next page.
    fn block(&mut self, block: &Block, next: Option<&Block>) {
        let after = match next {
            Some(Block::Sums(sums)) => GAP + sums_height(sums),
            _ => 0.0,
        };
        let body = Style::of(BODY, Weight::Regular);
        match block {
            Block::Heading(text) => {
                self.need(60.0);
                self.y += 4.0;
                self.paragraph(text, Style::of(HEADING, Weight::Bold), Kind::Heading);
                self.y += 4.0;
                return;
            }
            Block::Text(text) => self.paragraph(text, body, Kind::Paragraph),
            Block::Small(text) => {
                self.paragraph(text, Style::of(SMALL, Weight::Regular).soft(), Kind::Paragraph);
            }
            Block::Parties { right, .. } => self.parties(right),
            Block::Facts(facts) => self.facts(facts),
            Block::Table(table) => self.rows(table, Body { size: BODY, after }),
            Block::Board(table) => self.rows(table, Body { size: BOARD, after }),
            Block::Route(boxes) => self.route(boxes),
            Block::Sums(sums) => self.sums(sums),
            Block::Caution(text) => self.caution(text),
            Block::Code { modules, words } => self.code(modules, words),
            Block::Large(name, figure) => {
                self.need(LARGE * LEADING + 14.0);
                self.paragraph(name, body.soft(), Kind::Paragraph);
                self.paragraph(figure, Style::of(LARGE, Weight::Bold), Kind::Paragraph);
            }
        }
        self.y += GAP;
    }

    /// For whom it is; from whom stands in the letterhead.
    fn parties(&mut self, right: &[String]) {
        let half = (self.inner() - GAP) / 2.0;
        let label = Style::of(SMALL, Weight::Regular).soft();
        self.y += label.leading();
        let mut nodes: Vec<Node> =
            self.put("For", label, MARGIN, self.y - label.size * 0.3, false).into_iter().collect();
        for (n, text) in right.iter().enumerate() {
            let weight = if n == 0 { Weight::Bold } else { Weight::Regular };
            let style = Style::of(BODY, weight);
            for line in self.broken(text, style, half) {
                self.y += style.leading();
                nodes.extend(self.put(&line, style, MARGIN, self.y - style.size * 0.3, false));
            }
        }
        self.group(Kind::Paragraph, "", nodes);
    }

    fn sums(&mut self, sums: &[(String, String)]) {
        let from = MARGIN + self.inner() * 0.45;
        let right = self.width - MARGIN;
        self.need(sums_height(sums));
        let mut rows = Vec::new();
        for (n, (name, amount)) in sums.iter().enumerate() {
            let last = n + 1 == sums.len();
            let style = if last {
                Style::of(BODY + 1.5, Weight::Bold)
            } else {
                Style::of(BODY, Weight::Regular)
            };
            if last {
                self.y += 4.0;
                self.hair(self.y, from, right, true);
                self.y += 2.0;
            }
            let figures = self.fonts.width(amount, style.weight) * style.size;
            let lines = self.broken(name, style, right - from - figures - CELL * 2.0);
            let mut name = Vec::new();
            let mut value = None;
            for (at, line) in lines.iter().enumerate() {
                self.y += style.leading() + if at == 0 { 3.0 } else { 0.0 };
                let base = self.y - style.size * 0.3;
                name.extend(self.put(line, style, from, base, false));
                if at == 0 {
                    value = self.put_right(amount, style, right, base, false);
                }
            }
            rows.push(Node::Group(
                Kind::Row,
                String::new(),
                vec![
                    Node::Group(Kind::Cell, String::new(), name),
                    Node::Group(Kind::Cell, String::new(), value.into_iter().collect()),
                ],
            ));
        }
        self.group(Kind::Table, "", rows);
    }

    fn code(&mut self, modules: &[Vec<bool>], words: &str) {
        let module = CODE / (modules.len().max(1) + 8) as f32;
        self.need(CODE + SMALL * LEADING);
        let at = self.laid.codes.len();
        self.laid.codes.push(Squares {
            page: self.page,
            x: MARGIN + 4.0 * module,
            y: self.y + 4.0 * module,
            module,
            rows: modules.to_vec(),
        });
        self.y += CODE;
        self.laid.nodes.push(Node::Squares(at, words.to_owned()));
        self.paragraph(words, Style::of(SMALL, Weight::Regular).soft(), Kind::Paragraph);
    }

    fn caution(&mut self, text: &str) {
        let style = Style::of(BODY - 0.5, Weight::Regular);
        let lines = self.broken(text, style, self.inner() - 16.0);
        let height = lines.len() as f32 * style.leading() + 12.0;
        self.need(height);
        let top = self.y;
        self.y += 4.0;
        let mut nodes = Vec::new();
        for line in lines {
            self.y += style.leading();
            nodes.extend(self.put(&line, style, MARGIN + 8.0, self.y - style.size * 0.3, false));
        }
        self.y = top + height;
        let (left, right) = (MARGIN, self.width - MARGIN);
        for (from, to) in [
            ((left, top), (right, top)),
            ((right, top), (right, self.y)),
            ((right, self.y), (left, self.y)),
            ((left, self.y), (left, top)),
        ] {
            self.laid.hairs.push(Hair { page: self.page, from, to, weight: Stroke::Strong });
        }
        self.group(Kind::Part, "", nodes);
    }
}

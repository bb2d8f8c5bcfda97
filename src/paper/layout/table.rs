//! Tables, facts and route cards on pages.

use super::{BODY, CELL, Hair, Kind, LEADING, MARGIN, Node, SMALL, Setter, Stroke, Style};
use crate::paper::Table;
use crate::paper::fonts::Weight;

/// The head of a table.
const HEAD: f32 = SMALL + 0.5;
/// What is read from a metre away, row by row.
pub(super) const BOARD: f32 = 15.0;
/// From column to column.
const BETWEEN: f32 = 12.0;
/// Of a table's width, words need so much at least.
const LEAST_FOR_WORDS: f32 = 0.25;
/// So many rows go along with what follows their table.
const KEPT_ROWS: usize = 2;
/// A box of a route card is so high: room for a hand that writes.
const BOX: f32 = 62.0;

/// How the rows of a table are set.
#[derive(Clone, Copy)]
pub(super) struct Body {
    pub(super) size: f32,
    /// How much of what follows goes along with the last rows.
    pub(super) after: f32,
}

impl Setter<'_> {
    /// Names above what they are, side by side as many as fit.
    pub(super) fn facts(&mut self, facts: &[(String, String)]) {
        let (label, style) =
            (Style::of(SMALL, Weight::Regular).soft(), Style::of(BODY, Weight::Regular));
        let wide = |n: usize| (self.inner() - (n - 1) as f32 * BETWEEN) / n as f32;
        let fits = |n: &usize| {
            let room = wide(*n) / style.size;
            facts.iter().all(|(_, fact)| self.fonts.width(fact, style.weight) <= room)
        };
        let abreast = [3, 2].into_iter().find(fits).unwrap_or(if facts.len() > 3 { 2 } else { 1 });
        let width = wide(abreast);
        let mut rows = Vec::new();
        for some in facts.chunks(abreast) {
            let lines: Vec<Vec<String>> =
                some.iter().map(|(_, fact)| self.broken(fact, style, width)).collect();
            let most = lines.iter().map(Vec::len).max().unwrap_or(1) as f32;
            self.need(label.leading() + most * style.leading() + 2.0 * CELL);
            self.hair(self.y, MARGIN, self.width - MARGIN, false);
            let top = self.y + CELL + label.leading();
            for (at, ((name, _), lines)) in some.iter().zip(lines).enumerate() {
                let x = MARGIN + at as f32 * (width + BETWEEN);
                let name = self.put(name, label, x, top - label.size * 0.3, false);
                let mut cell = Vec::new();
                let mut y = top;
                for line in lines {
                    y += style.leading();
                    cell.extend(self.put(&line, style, x, y - style.size * 0.3, false));
                }
                rows.push(Node::Group(
                    Kind::Row,
                    String::new(),
                    vec![
                        Node::Group(Kind::Cell, String::new(), name.into_iter().collect()),
                        Node::Group(Kind::Cell, String::new(), cell),
                    ],
                ));
            }
            self.y = top + most * style.leading() + CELL;
        }
        self.hair(self.y, MARGIN, self.width - MARGIN, false);
        self.group(Kind::Table, "", rows);
    }

    /// Left edge and width of each column. Figures get what they need, short words no more than
    /// that, and long ones share the rest; where that leaves words too little, all have their shares.
    fn places(&self, table: &Table, size: f32) -> Vec<(f32, f32)> {
        let count = table.columns.len();
        let room = self.inner() - BETWEEN * (count.max(1) - 1) as f32;
        let natural: Vec<f32> = (0..count).map(|at| self.natural(table, at, size)).collect();
        let figures = |at: &usize| table.columns[*at].figures;
        let needed: f32 = (0..count).filter(figures).map(|at| natural[at]).sum();
        let all: f32 = table.columns.iter().map(|column| column.width).sum();
        let mut widths: Vec<f32> =
            table.columns.iter().map(|column| room * column.width / all).collect();
        let mut open: Vec<usize> = (0..count).filter(|at| !figures(at)).collect();
        if !open.is_empty() && room - needed > room * LEAST_FOR_WORDS {
            let mut left = room - needed;
            (0..count).filter(figures).for_each(|at| widths[at] = natural[at]);
            // The first column of words takes what nobody needs, so that the table fills the sheet.
            let first = open[0];
            loop {
                let shares: f32 = open.iter().map(|at| table.columns[*at].width).sum();
                let share = |at: usize| left * table.columns[at].width / shares;
                let short =
                    open.iter().position(|&at| at != first && natural[at] < share(at) - 0.5);
                let Some(short) = short else {
                    open.iter().for_each(|&at| widths[at] = share(at));
                    break;
                };
                let at = open.remove(short);
                widths[at] = natural[at];
                left -= natural[at];
            }
        }
        let mut x = MARGIN;
        widths
            .into_iter()
            .map(|width| {
                let place = (x, width);
                x += width + BETWEEN;
                place
            })
            .collect()
    }

    /// How wide a column is when nothing in it is broken, with a little air.
    fn natural(&self, table: &Table, at: usize, size: f32) -> f32 {
        let head = self.fonts.width(&table.columns[at].name, Weight::Regular) * HEAD;
        let cells = table.rows.iter().filter_map(|row| row.get(at));
        let widest = cells.map(|cell| self.fonts.width(cell, Weight::Regular) * size);
        widest.fold(head, f32::max) + 2.0
    }

    pub(super) fn rows(&mut self, table: &Table, body: Body) {
        let places = self.places(table, body.size);
        let names: Vec<String> = table.columns.iter().map(|column| column.name.clone()).collect();
        let style = Style::of(body.size, Weight::Regular);
        let heights: Vec<f32> =
            table.rows.iter().map(|row| self.row_height(&places, row, style)).collect();
        let mut rows = Vec::new();
        // A head stands above a row, never alone.
        let first = if heights.len() <= KEPT_ROWS {
            heights.iter().sum::<f32>() + body.after
        } else {
            heights[0]
        };
        self.need(HEAD * LEADING + 2.0 * CELL + first);
        rows.extend(self.row(table, &places, &names, style, Some(false)));
        for (at, row) in table.rows.iter().enumerate() {
            let before = self.page;
            // What comes after the table is not left alone: the last rows go along with it.
            let left = heights.len() - at;
            let wanted = if left <= KEPT_ROWS {
                heights[at..].iter().sum::<f32>() + body.after
            } else {
                heights[at]
            };
            let a_page = self.lowest() - MARGIN - HEAD * LEADING - 2.0 * CELL;
            self.need(if wanted < a_page { wanted } else { heights[at] });
            if self.page != before {
                self.row(table, &places, &names, style, Some(true));
            }
            rows.extend(self.row(table, &places, row, style, None));
        }
        self.group(Kind::Table, "", rows);
    }

    fn row_height(&self, places: &[(f32, f32)], cells: &[String], style: Style) -> f32 {
        let lines = places
            .iter()
            .zip(cells)
            .map(|((_, width), cell)| self.broken(cell, style, *width).len())
            .max()
            .unwrap_or(1);
        lines as f32 * style.leading() + 2.0 * CELL
    }

    /// A row; `head` tells whether it is the head, and whether that is a repetition.
    fn row(
        &mut self,
        table: &Table,
        places: &[(f32, f32)],
        cells: &[String],
        style: Style,
        head: Option<bool>,
    ) -> Option<Node> {
        let style = match head {
            Some(_) => Style::of(HEAD, Weight::Regular).soft(),
            None => style,
        };
        let repeated = head == Some(true);
        let top = self.y + CELL;
        let mut lowest = top;
        let mut row = Vec::new();
        for ((column, (x, width)), cell) in table.columns.iter().zip(places).zip(cells) {
            let mut y = top;
            let mut nodes = Vec::new();
            for line in self.broken(cell, style, *width) {
                y += style.leading();
                let base = y - style.size * 0.3;
                nodes.extend(if column.figures {
                    self.put_right(&line, style, x + width, base, repeated)
                } else {
                    self.put(&line, style, *x, base, repeated)
                });
            }
            lowest = lowest.max(y);
            let kind = if head.is_some() { Kind::HeadCell } else { Kind::Cell };
            row.push(Node::Group(kind, String::new(), nodes));
        }
        self.y = lowest + CELL;
        self.hair(self.y, MARGIN, self.width - MARGIN, head.is_some());
        (!repeated).then(|| Node::Group(Kind::Row, String::new(), row))
    }

    /// A route card: a box for each stage, what is done in it, and room to write.
    pub(super) fn route(&mut self, boxes: &[(String, String)]) {
        self.need(BOX);
        let (top, bottom) = (self.y, self.y + BOX);
        let wide = self.inner() / boxes.len().max(1) as f32;
        let (name, note) = (Style::of(BODY, Weight::Bold), Style::of(SMALL, Weight::Regular));
        let mut cells = [Vec::new(), Vec::new()];
        for (at, (stage, done)) in boxes.iter().enumerate() {
            let x = MARGIN + at as f32 * wide;
            let mut lines = [Vec::new(), Vec::new()];
            lines[0].extend(self.put(stage, name, x + 6.0, top + 14.0, false));
            let mut y = top + 18.0;
            for line in self.broken(done, note, wide - 12.0) {
                y += note.leading();
                lines[1].extend(self.put(&line, note, x + 6.0, y, false));
            }
            let [head, cell] = lines;
            cells[0].push(Node::Group(Kind::HeadCell, String::new(), head));
            cells[1].push(Node::Group(Kind::Cell, String::new(), cell));
            if at > 0 {
                self.upright(x, top, bottom);
            }
        }
        let (left, right) = (MARGIN, self.width - MARGIN);
        for y in [top, bottom] {
            self.hair(y, left, right, true);
        }
        for x in [left, right] {
            self.upright(x, top, bottom);
        }
        self.y = bottom;
        let rows = cells.map(|row| Node::Group(Kind::Row, String::new(), row));
        self.group(Kind::Table, "", rows.into());
    }

    fn upright(&mut self, x: f32, top: f32, bottom: f32) {
        let (from, to) = ((x, top), (x, bottom));
        self.laid.hairs.push(Hair { page: self.page, from, to, weight: Stroke::Strong });
    }
}

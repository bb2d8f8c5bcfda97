//! Pieces on printer's plates: which now, which next, and where each stands.

use super::layout::{Form, Standing, Table};
use super::mask::Mask;
use super::raster::{borders, raster};
use super::refusal::{PackRefusal, within};
use crate::mesh::Mesh;

/// The face of a printer's plate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Face {
    /// Most printers'.
    Rectangle {
        /// Along x.
        width_mm: f64,
        /// Along y.
        depth_mm: f64,
    },
    /// Some printers'.
    Disc {
        /// Across.
        diameter_mm: f64,
    },
}

impl Face {
    /// The box round it.
    #[must_use]
    pub fn size_mm(&self) -> [f64; 2] {
        match *self {
            Self::Rectangle { width_mm, depth_mm } => [width_mm, depth_mm],
            Self::Disc { diameter_mm } => [diameter_mm; 2],
        }
    }
}

/// The printer's plate and what is kept free on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plate {
    /// Its face; the corner of the box round it is the origin of all places.
    pub face: Face,
    /// How high the printer prints.
    pub height_mm: f64,
    /// Kept free between two pieces.
    pub clearance_mm: f64,
    /// Kept free along the edge.
    pub edge_mm: f64,
    /// How far supports raise a piece above the plate.
    pub raised_mm: f64,
}

/// A direction of the model that is turned upwards.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Up {
    /// As the model was drawn.
    PlusZ,
    /// Upside down.
    MinusZ,
    /// Tipped so that +x is above.
    PlusX,
    /// Tipped so that −x is above.
    MinusX,
    /// Tipped so that +y is above.
    PlusY,
    /// Tipped so that −y is above.
    MinusY,
}

impl Up {
    /// All six, as drawn first.
    pub const ALL: [Self; 6] =
        [Self::PlusZ, Self::MinusZ, Self::PlusX, Self::MinusX, Self::PlusY, Self::MinusY];

    /// The word in files and on pages.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::PlusZ => "+z",
            Self::MinusZ => "-z",
            Self::PlusX => "+x",
            Self::MinusX => "-x",
            Self::PlusY => "+y",
            Self::MinusY => "-y",
        }
    }

    /// The one of this name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|up| up.name() == name)
    }

    /// A point of the model once it is tipped; never mirrored.
    const fn tip(self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        match self {
            Self::PlusZ => [x, y, z],
            Self::MinusZ => [x, -y, -z],
            Self::PlusX => [-z, y, x],
            Self::MinusX => [z, y, -x],
            Self::PlusY => [x, -z, y],
            Self::MinusY => [x, z, -y],
        }
    }
}

/// A piece that waits for the printer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ToPrint {
    /// Which of the models.
    pub model: usize,
    /// When it is due, on any scale; the least is due first, none is due last.
    pub due: Option<i64>,
}

/// How plates are packed.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateOptions {
    /// Directions that may be turned upwards; the first is taken where it does not matter.
    pub ups: Vec<Up>,
    /// Turns about the vertical that are tried, spread evenly over the circle.
    pub turns: u32,
    /// Edge of a cell; none chooses one by the size of the plate.
    pub pitch_mm: Option<f64>,
    /// Moves spent on making room for a piece where there is none; more packs closer and takes longer.
    pub effort: usize,
}

impl Default for PlateOptions {
    fn default() -> Self {
        Self { ups: vec![Up::PlusZ], turns: 8, pitch_mm: None, effort: 150 }
    }
}

/// A piece on a plate. The model is tipped, turned anticlockwise about the vertical, and moved so
/// that the box round it begins at `x_mm`, `y_mm`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnPlate {
    /// Which of the pieces handed in.
    pub piece: usize,
    /// The direction of the model that is above.
    pub up: Up,
    /// Turned about the vertical.
    pub turn_deg: f64,
    /// Left of the box round it.
    pub x_mm: f64,
    /// Front of the box round it.
    pub y_mm: f64,
    /// Extent of the box along x, y and z.
    pub size_mm: [f64; 3],
}

/// One run of the printer.
#[derive(Debug, Clone, PartialEq)]
pub struct PackedPlate {
    /// What stands on it, in the order in which it was set.
    pub pieces: Vec<OnPlate>,
    /// From the plate to the top of the highest piece, with the supports under it.
    pub height_mm: f64,
    /// Share of the plate's face that is covered.
    pub covered: f64,
}

/// Why a piece is on no plate.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NoPlate {
    /// Too tall whichever way it may stand.
    #[error(
        "it is too tall for this printer: it stands {height_mm:.1} mm high, with {raised_mm:.1} mm of supports below it, and {most_mm:.1} mm are printed"
    )]
    TooTall {
        /// Its least height.
        height_mm: f64,
        /// What supports take.
        raised_mm: f64,
        /// What the printer prints.
        most_mm: f64,
    },
    /// Wider than the plate whichever way it is turned.
    #[error("it is {:.1} × {:.1} mm across and does not go on the plate with {edge_mm:.1} mm kept free along its edge, however it is turned", across_mm[0], across_mm[1])]
    TooWide {
        /// The box round it as it was drawn.
        across_mm: [f64; 2],
        /// What is kept free.
        edge_mm: f64,
    },
}

/// All plates, the first to be printed first.
#[derive(Debug, Clone, PartialEq)]
pub struct PackedPlates {
    /// What is printed now comes first, then what is printed next, and so on.
    pub plates: Vec<PackedPlate>,
    /// Pieces that no plate takes.
    pub left: Vec<(usize, NoPlate)>,
    /// The edge of a cell that was used.
    pub pitch_mm: f64,
}

/// A way in which a model may stand.
struct Stance {
    up: Up,
    turn_deg: f64,
    size_mm: [f64; 3],
}

/// Packs pieces onto as many plates as they need, by their true outlines.
///
/// What is due first goes on first, and is never put off for something due later; what is due
/// later fills the room that is left. Where a piece finds no room, those that stand are pushed
/// apart to make some. With several directions that may be above, both plates of low pieces
/// (fewer layers) and plates of narrow ones (more pieces) are tried; fewest plates win, then
/// the fewest millimetres to print. The same input gives the same plates.
///
/// # Units
/// Millimetres; places are measured from the front left corner of the plate.
///
/// # Accuracy
/// Outlines are covered by cells, so pieces may stand up to two cells farther apart than asked,
/// never closer. Packings are good, not proven best; measured against proven optima in
/// `tests/pack_circles.rs`: on average 98 % of the best radius of circles in a square, 97 % in a circle.
///
/// # Refuses
/// Lengths that make no plate, a model without facets, a piece of a model that is not there.
pub fn pack_plates(
    plate: &Plate,
    models: &[&Mesh],
    pieces: &[ToPrint],
    options: &PlateOptions,
) -> Result<PackedPlates, PackRefusal> {
    let pitch_mm = check(plate, models, pieces, options)?;
    let bed = bed(plate, pitch_mm);
    let mut table = Table::new(plate.clearance_mm / pitch_mm - 1e-9);
    let mut stances = Vec::new();
    let mut of_model = Vec::new();
    for mesh in models {
        let begin = stances.len();
        add_stances(plate, mesh, options, pitch_mm, &bed, &mut table, &mut stances);
        of_model.push((begin..stances.len()).collect::<Vec<usize>>());
    }
    let mut left = Vec::new();
    let mut able = Vec::new();
    for (n, piece) in pieces.iter().enumerate() {
        let ways: Vec<(f64, bool)> = of_model[piece.model]
            .iter()
            .map(|&form| (stances[form].size_mm[2], table.forms[form].fits()))
            .collect();
        match why_not(plate, models[piece.model], &ways) {
            Some(why) => left.push((n, why)),
            None => able.push(n),
        }
    }
    let run = Run { plate, pieces, options, bed: &bed, stances: &stances, pitch_mm };
    let mut best: Option<Vec<PackedPlate>> = None;
    let ways =
        if options.ups.len() > 1 { &[Wanted::Low, Wanted::Narrow][..] } else { &[Wanted::Low][..] };
    for &wanted in ways {
        let choices = of_model.iter().map(|forms| run.sorted(&table, forms, wanted)).collect();
        let plates = run.fill(&mut table, choices, &able);
        let cost = |plates: &[PackedPlate]| {
            (plates.len(), plates.iter().map(|plate| plate.height_mm).sum::<f64>())
        };
        if best.as_ref().is_none_or(|kept| cost(&plates) < cost(kept)) {
            best = Some(plates);
        }
    }
    Ok(PackedPlates { plates: best.unwrap_or_default(), left, pitch_mm })
}

/// The outline of a model as it stands on a plate, relative to the corner of the box round it:
/// closed loops, those round holes clockwise. Good for drawing; within a cell of the truth.
///
/// # Refuses
/// A model without facets, a cell that is none.
pub fn outline_on_plate(
    mesh: &Mesh,
    up: Up,
    turn_deg: f64,
    pitch_mm: f64,
) -> Result<Vec<Vec<[f64; 2]>>, PackRefusal> {
    within("the edge of a cell", pitch_mm, 0.02, 10.0)?;
    if mesh.is_empty() {
        return Err(PackRefusal::NoModel { model: 0 });
    }
    let (mask, _) = footprint(mesh, up, turn_deg, pitch_mm);
    let in_mm =
        |border: Vec<[f64; 2]>| border.into_iter().map(|p| p.map(|c| c * pitch_mm)).collect();
    Ok(borders(&mask).into_iter().map(in_mm).collect())
}

/// Checks everything once and settles the edge of a cell.
fn check(
    plate: &Plate,
    models: &[&Mesh],
    pieces: &[ToPrint],
    options: &PlateOptions,
) -> Result<f64, PackRefusal> {
    let [width, depth] = plate.face.size_mm();
    within("the width of the plate", width, 5.0, 2000.0)?;
    within("the depth of the plate", depth, 5.0, 2000.0)?;
    within("the height of the printer", plate.height_mm, 1.0, 3000.0)?;
    within("the clearance between pieces", plate.clearance_mm, 0.0, 100.0)?;
    within("the clearance along the edge", plate.edge_mm, 0.0, width.min(depth) / 2.0 - 1.0)?;
    within("what supports raise", plate.raised_mm, 0.0, 1000.0)?;
    if let Some(model) = models.iter().position(|mesh| mesh.is_empty()) {
        return Err(PackRefusal::NoModel { model });
    }
    if let Some(piece) = pieces.iter().position(|piece| piece.model >= models.len()) {
        return Err(PackRefusal::NoSuchModel { piece, model: pieces[piece].model });
    }
    if options.ups.is_empty() || !(1..=72).contains(&options.turns) {
        return Err(PackRefusal::NoWayToStand);
    }
    // From 30,000 to 120,000 cells on the plate: fine enough for rings, quick enough for a page;
    // and such that round lengths are whole cells.
    let coarsest = (width * depth / 30_000.0).sqrt();
    let round = [4.0, 2.0, 1.0, 0.5, 0.25, 0.125].into_iter().find(|&mm| mm <= coarsest);
    let pitch_mm = options.pitch_mm.unwrap_or(round.unwrap_or(0.1));
    within("the edge of a cell", pitch_mm, 0.05, 10.0)?;
    let cells = (width / pitch_mm) * (depth / pitch_mm);
    if cells > 4.0e6 {
        return Err(PackRefusal::TooFine { pitch_mm });
    }
    Ok(pitch_mm)
}

/// The cells that lie wholly on the plate with its edge kept free.
fn bed(plate: &Plate, pitch_mm: f64) -> Mask {
    let [width, depth] = plate.face.size_mm().map(|mm| mm - 2.0 * plate.edge_mm);
    let cells = |mm: f64| (mm / pitch_mm + 1e-9).floor().max(1.0) as usize;
    let mut bed = Mask::new(cells(width), cells(depth));
    for y in 0..bed.height {
        let (from, to) = match plate.face {
            Face::Rectangle { .. } => (0, bed.width),
            Face::Disc { .. } => {
                let radius = width / 2.0;
                // The farther of the row's two borders decides.
                let away = |row: usize| (row as f64 * pitch_mm - radius).abs();
                let half = (radius * radius - away(y).max(away(y + 1)).powi(2)).max(0.0).sqrt();
                let from = ((radius - half) / pitch_mm - 1e-9).ceil() as usize;
                let to = ((radius + half) / pitch_mm + 1e-9).floor() as usize;
                (from, to.max(from))
            }
        };
        bed.set_span(y, from, to);
    }
    bed
}

/// What a model covers as it stands, and the box round it.
fn footprint(mesh: &Mesh, up: Up, turn_deg: f64, pitch_mm: f64) -> (Mask, [f64; 3]) {
    let (sin, cos) = turn_deg.to_radians().sin_cos();
    let turned: Vec<[f64; 3]> = mesh
        .vertices()
        .iter()
        .map(|&vertex| {
            let [x, y, z] = up.tip(vertex);
            [x * cos - y * sin, x * sin + y * cos, z]
        })
        .collect();
    let (mut least, mut greatest) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
    for &index in mesh.triangles().iter().flatten() {
        for axis in 0..3 {
            least[axis] = least[axis].min(turned[index as usize][axis]);
            greatest[axis] = greatest[axis].max(turned[index as usize][axis]);
        }
    }
    let flat = |index: u32| [turned[index as usize][0], turned[index as usize][1]];
    let triangles = mesh.triangles().iter().map(|corners| corners.map(flat));
    let mask = raster(triangles, [least[0], least[1]], [greatest[0], greatest[1]], pitch_mm);
    (mask, std::array::from_fn(|axis| greatest[axis] - least[axis]))
}

/// Adds the forms a model may take; those of the same cells and height are kept once.
fn add_stances(
    plate: &Plate,
    mesh: &Mesh,
    options: &PlateOptions,
    pitch_mm: f64,
    bed: &Mask,
    table: &mut Table,
    stances: &mut Vec<Stance>,
) {
    let begin = stances.len();
    for &up in &options.ups {
        for turn in 0..options.turns {
            let turn_deg = 360.0 * f64::from(turn) / f64::from(options.turns);
            let (mask, size_mm) = footprint(mesh, up, turn_deg, pitch_mm);
            let known = (begin..stances.len()).any(|form: usize| {
                (stances[form].size_mm[2] - size_mm[2]).abs() < 1e-6
                    && table.forms[form].mask == mask
            });
            if !known {
                table.forms.push(Form::new(mask, bed, plate.clearance_mm / pitch_mm - 1e-9));
                stances.push(Stance { up, turn_deg, size_mm });
            }
        }
    }
}

fn is_low_enough(plate: &Plate, height_mm: f64) -> bool {
    height_mm + plate.raised_mm <= plate.height_mm + 1e-9
}

/// Why a model goes on no plate; `ways` are the heights of its forms and whether they go on.
fn why_not(plate: &Plate, mesh: &Mesh, ways: &[(f64, bool)]) -> Option<NoPlate> {
    if ways.iter().any(|&(height_mm, fits)| fits && is_low_enough(plate, height_mm)) {
        return None;
    }
    let fitting = ways.iter().filter(|(_, fits)| *fits).map(|(height_mm, _)| *height_mm);
    let height_mm = fitting.fold(f64::INFINITY, f64::min);
    if height_mm.is_finite() {
        let (raised_mm, most_mm) = (plate.raised_mm, plate.height_mm);
        return Some(NoPlate::TooTall { height_mm, raised_mm, most_mm });
    }
    let [x, y, _] = mesh.bounds().map_or([0.0; 3], |bounds| bounds.size());
    Some(NoPlate::TooWide { across_mm: [x, y], edge_mm: plate.edge_mm })
}

/// What is preferred where several directions may be above.
#[derive(Clone, Copy, PartialEq)]
enum Wanted {
    Low,
    Narrow,
}

struct Run<'a> {
    plate: &'a Plate,
    pieces: &'a [ToPrint],
    options: &'a PlateOptions,
    bed: &'a Mask,
    stances: &'a [Stance],
    pitch_mm: f64,
}

/// Pieces for which room was sought in vain before only free places are looked at.
const TRIES: usize = 3;
/// Above this share of the plate nothing is pushed about any more: no outlines but rectangles
/// cover so much.
const FULL: f64 = 0.97;

impl Run<'_> {
    /// The forms a model may take, the preferred first.
    fn sorted(&self, table: &Table, forms: &[usize], wanted: Wanted) -> Vec<usize> {
        let able = |&form: &usize| {
            table.forms[form].fits() && is_low_enough(self.plate, self.stances[form].size_mm[2])
        };
        let mut sorted: Vec<usize> = forms.iter().copied().filter(able).collect();
        // Heights within a tenth of a millimetre are alike, so that the first direction stays first.
        let height = |form: usize| (self.stances[form].size_mm[2] * 10.0).round() as i64;
        let cells = |form: usize| table.forms[form].cells as i64;
        sorted.sort_by_key(|&form| match wanted {
            Wanted::Low => (height(form), 0),
            Wanted::Narrow => (cells(form), height(form)),
        });
        sorted
    }

    /// Fills plate after plate.
    fn fill(
        &self,
        table: &mut Table,
        choices: Vec<Vec<usize>>,
        able: &[usize],
    ) -> Vec<PackedPlate> {
        let mut waiting: Vec<usize> =
            able.iter().copied().filter(|&n| !choices[self.pieces[n].model].is_empty()).collect();
        // Due first; among those due together the tall share a plate, as do the low.
        let rank = |n: usize| {
            let piece = self.pieces[n];
            let form = choices[piece.model][0];
            let height = (self.stances[form].size_mm[2] * 2.0).round() as i64;
            (piece.due.is_none(), piece.due, -height, -(table.forms[form].cells as i64), n)
        };
        waiting.sort_by_key(|&n| rank(n));
        let mut plates = Vec::new();
        while !waiting.is_empty() {
            let (now, next) = self.one_plate(table, &choices, &waiting);
            if now.is_empty() {
                break;
            }
            plates.push(self.finished(table, &now));
            waiting = next;
        }
        plates
    }

    /// What goes on one plate, and what is left for the next.
    fn one_plate(
        &self,
        table: &mut Table,
        choices: &[Vec<usize>],
        waiting: &[usize],
    ) -> (Vec<(usize, Standing)>, Vec<usize>) {
        let mut on: Vec<usize> = Vec::new();
        let mut standing: Vec<Standing> = Vec::new();
        let mut next = Vec::new();
        let (mut tries, mut covered) = (0, 0);
        // Models that found no free place: a plate only fills up, unless it is pushed about.
        let mut hopeless = vec![false; choices.len()];
        let most = self.bed.count() as f64 * FULL;
        for &n in waiting {
            let model = self.pieces[n].model;
            let forms = &choices[model];
            if hopeless[model] {
                next.push(n);
                continue;
            }
            let mut place = table.free_place(self.bed, &standing, forms);
            let least = forms.iter().map(|&form| table.forms[form].cells).min().unwrap_or(0);
            if place.is_none() && tries < TRIES && (covered + least) as f64 <= most {
                let of_each: Vec<&[usize]> = on
                    .iter()
                    .chain([&n])
                    .map(|&each| choices[self.pieces[each].model].as_slice())
                    .collect();
                if let Some(mut found) = table.make_room(&standing, &of_each, self.options.effort) {
                    place = found.pop();
                    standing = found;
                    hopeless.fill(false);
                } else {
                    tries += 1;
                }
            }
            if let Some(place) = place {
                on.push(n);
                standing.push(place);
                covered = standing.iter().map(|one| table.forms[one.form].cells).sum();
            } else {
                hopeless[model] = true;
                next.push(n);
            }
        }
        (on.into_iter().zip(standing).collect(), next)
    }

    fn finished(&self, table: &Table, on: &[(usize, Standing)]) -> PackedPlate {
        let pieces: Vec<OnPlate> = on
            .iter()
            .map(|&(piece, place)| {
                let stance = &self.stances[place.form];
                OnPlate {
                    piece,
                    up: stance.up,
                    turn_deg: stance.turn_deg,
                    x_mm: self.plate.edge_mm + place.x as f64 * self.pitch_mm,
                    y_mm: self.plate.edge_mm + place.y as f64 * self.pitch_mm,
                    size_mm: stance.size_mm,
                }
            })
            .collect();
        let tallest = pieces.iter().map(|piece| piece.size_mm[2]).fold(0.0, f64::max);
        let cells: usize = on.iter().map(|(_, place)| table.forms[place.form].cells).sum();
        let covered = cells as f64 / self.bed.count() as f64;
        PackedPlate { pieces, height_mm: tallest + self.plate.raised_mm, covered }
    }
}

//! Small pictures of models, for route cards and lists.

mod pixels;

pub use pixels::Pixels;

use std::ops::Range;

use super::{Mesh, Point, vec3};

/// From where a model is seen; parallel lines stay parallel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum View {
    /// From above the front right corner, all three sides visible.
    ThreeQuarter,
    /// From the front, along the y axis.
    Front,
    /// From the right, against the x axis.
    Side,
    /// From above, against the z axis.
    Top,
    /// From a direction given in degrees: around the vertical axis from the x axis
    /// towards the y axis, and above the horizon.
    From {
        /// Around the vertical axis.
        azimuth_deg: f64,
        /// Above the horizon.
        elevation_deg: f64,
    },
}

/// How a picture is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RenderOptions {
    /// Pixels across; 1 to 4096.
    pub width: u32,
    /// Pixels down; 1 to 4096.
    pub height: u32,
    /// From where it is seen.
    pub view: View,
    /// The colour of the surface in full light.
    pub colour: [u8; 3],
}

impl Default for RenderOptions {
    fn default() -> Self {
        Self { width: 256, height: 256, view: View::ThreeQuarter, colour: [214, 204, 190] }
    }
}

/// Samples across a pixel, and down.
const SAMPLES: usize = 3;
/// The largest picture.
const MOST_PIXELS: u32 = 4096;
/// The share of the picture left free at each border.
const MARGIN: f64 = 0.05;
/// Neighbouring facets that meet at less than this are drawn as one smooth surface.
const CREASE_DEG: f64 = 38.0;

/// Draws a mesh, filling the picture, in soft light from the upper left on a transparent ground.
///
/// Both sides of the surface are drawn alike, so a model that is inside out looks right.
/// Sizes outside 1 to 4096 are brought to the nearest one allowed.
#[must_use]
pub fn render(mesh: &Mesh, options: &RenderOptions) -> Pixels {
    draw(mesh, options, None)
}

/// The same with a colour for each point of the mesh in place of one for all; points without a
/// colour have that of the options.
#[must_use]
pub fn render_painted(mesh: &Mesh, options: &RenderOptions, colours: &[[u8; 3]]) -> Pixels {
    draw(mesh, options, Some(colours))
}

fn draw(mesh: &Mesh, options: &RenderOptions, paint: Option<&[[u8; 3]]>) -> Pixels {
    let width = options.width.clamp(1, MOST_PIXELS) as usize;
    let height = options.height.clamp(1, MOST_PIXELS) as usize;
    let mut canvas = Canvas::new(width * SAMPLES, height * SAMPLES);
    let eye = Eye::new(options.view);
    let seen: Vec<Point> = mesh.vertices().iter().map(|&vertex| eye.see(vertex)).collect();
    if let Some(fit) = Fit::new(mesh, &seen, canvas.width, canvas.height) {
        let smooth = smooth_normals(mesh, &seen);
        let crease = CREASE_DEG.to_radians().cos();
        for &triangle in mesh.triangles() {
            let corners = triangle.map(|index| seen[index as usize]);
            let placed = corners.map(|corner| fit.place(corner));
            // Most facets of a fine model lie between the samples.
            let Some(samples) = canvas.within(placed) else { continue };
            let flat = facet_normal(corners);
            let normals = triangle.map(|index| {
                let shared = smooth[index as usize];
                let together = vec3::dot(shared, flat) > crease;
                if together { shared } else { flat }
            });
            let colours = triangle.map(|index| {
                paint.and_then(|paint| paint.get(index as usize)).copied().unwrap_or(options.colour)
            });
            canvas.fill(samples, placed, normals, colours);
        }
    }
    canvas.develop()
}

/// The directions right, up and towards the eye.
struct Eye([Point; 3]);

impl Eye {
    fn new(view: View) -> Self {
        let (azimuth, elevation) = match view {
            View::ThreeQuarter => (-52.0, 30.0),
            View::Front => (-90.0, 0.0),
            View::Side => (0.0, 0.0),
            View::Top => (-90.0, 90.0),
            View::From { azimuth_deg, elevation_deg } => (azimuth_deg, elevation_deg),
        };
        let (sin_a, cos_a) = azimuth.to_radians().sin_cos();
        let (sin_e, cos_e) = elevation.to_radians().sin_cos();
        let towards = [cos_e * cos_a, cos_e * sin_a, sin_e];
        let right = [-sin_a, cos_a, 0.0];
        Self([right, vec3::cross(towards, right), towards])
    }

    fn see(&self, point: Point) -> Point {
        self.0.map(|axis| vec3::dot(axis, point))
    }
}

/// Brings what is seen onto the canvas; the third number stays the nearness.
struct Fit {
    scale: f64,
    middle: [f64; 2],
    half: [f64; 2],
}

impl Fit {
    fn new(mesh: &Mesh, seen: &[Point], width: usize, height: usize) -> Option<Self> {
        let mut least = [f64::INFINITY; 2];
        let mut greatest = [f64::NEG_INFINITY; 2];
        for &index in mesh.triangles().iter().flatten() {
            for axis in 0..2 {
                least[axis] = least[axis].min(seen[index as usize][axis]);
                greatest[axis] = greatest[axis].max(seen[index as usize][axis]);
            }
        }
        let half = [width as f64 / 2.0, height as f64 / 2.0];
        let scale = (0..2)
            .map(|axis| half[axis] * (1.0 - 2.0 * MARGIN) * 2.0 / (greatest[axis] - least[axis]))
            .fold(f64::INFINITY, f64::min);
        let middle = [0, 1].map(|axis| (least[axis] + greatest[axis]) / 2.0);
        // A model without extent, or none, leaves the picture empty.
        scale.is_finite().then_some(Self { scale, middle, half })
    }

    fn place(&self, [right, up, near]: Point) -> Point {
        [
            self.half[0] + (right - self.middle[0]) * self.scale,
            self.half[1] - (up - self.middle[1]) * self.scale,
            near,
        ]
    }
}

fn facet_normal([a, b, c]: [Point; 3]) -> Point {
    vec3::unit(vec3::cross(vec3::sub(b, a), vec3::sub(c, a)))
}

/// For each point the mean direction of the facets around it, weighted by area.
fn smooth_normals(mesh: &Mesh, seen: &[Point]) -> Vec<Point> {
    let mut normals = vec![[0.0; 3]; seen.len()];
    for triangle in mesh.triangles() {
        let [a, b, c] = triangle.map(|index| seen[index as usize]);
        let weighted = vec3::cross(vec3::sub(b, a), vec3::sub(c, a));
        for &index in triangle {
            normals[index as usize] = vec3::add(normals[index as usize], weighted);
        }
    }
    normals.into_iter().map(vec3::unit).collect()
}

/// Light, colour and nearness of every sample.
struct Canvas {
    width: usize,
    height: usize,
    nearness: Vec<f32>,
    light: Vec<f32>,
    colour: Vec<[u8; 3]>,
}

impl Canvas {
    fn new(width: usize, height: usize) -> Self {
        let samples = width * height;
        Self {
            width,
            height,
            nearness: vec![f32::NEG_INFINITY; samples],
            light: vec![0.0; samples],
            colour: vec![[0; 3]; samples],
        }
    }

    /// Columns and rows of the samples that a triangle may cover, if any.
    fn within(&self, corners: [Point; 3]) -> Option<[Range<usize>; 2]> {
        let range = |axis: usize, size: usize| {
            let all = corners.map(|corner| corner[axis]);
            let least = all.into_iter().fold(f64::INFINITY, f64::min);
            let greatest = all.into_iter().fold(f64::NEG_INFINITY, f64::max);
            let from = (least - 0.5).ceil().max(0.0) as usize;
            let to = ((greatest - 0.5).floor() + 1.0).clamp(0.0, size as f64) as usize;
            from..to
        };
        let both = [range(0, self.width), range(1, self.height)];
        both.iter().all(|range| !range.is_empty()).then_some(both)
    }

    /// Draws a triangle wherever it is nearest among the samples it may cover.
    fn fill(
        &mut self,
        [columns, rows]: [Range<usize>; 2],
        corners: [Point; 3],
        normals: [Point; 3],
        colours: [[u8; 3]; 3],
    ) {
        let [a, b, c] = corners;
        let twice_area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        if twice_area == 0.0 {
            return;
        }
        for row in rows {
            let y = row as f64 + 0.5;
            for column in columns.clone() {
                let x = column as f64 + 0.5;
                let share = |p: Point, q: Point| {
                    ((p[0] - x) * (q[1] - y) - (p[1] - y) * (q[0] - x)) / twice_area
                };
                let weights = [share(b, c), share(c, a), share(a, b)];
                if weights.iter().any(|&weight| weight < 0.0) {
                    continue;
                }
                let near: f64 = (0..3).map(|k| weights[k] * corners[k][2]).sum();
                let at = row * self.width + column;
                if near as f32 > self.nearness[at] {
                    self.nearness[at] = near as f32;
                    let normal = (0..3).fold([0.0; 3], |sum, k| {
                        vec3::add(sum, vec3::scale(normals[k], weights[k]))
                    });
                    self.light[at] = brightness(normal) as f32;
                    self.colour[at] = std::array::from_fn(|channel| {
                        let mixed = (0..3).map(|k| weights[k] * f64::from(colours[k][channel]));
                        mixed.sum::<f64>().round() as u8
                    });
                }
            }
        }
    }

    /// Averages the samples of each pixel and colours them.
    fn develop(&self) -> Pixels {
        let (width, height) = (self.width / SAMPLES, self.height / SAMPLES);
        let mut rgba = Vec::with_capacity(width * height * 4);
        for row in 0..height {
            for column in 0..width {
                let mut light = 0.0;
                let mut sum = [0.0; 3];
                let mut covered = 0_u16;
                for sample in 0..SAMPLES * SAMPLES {
                    let y = row * SAMPLES + sample / SAMPLES;
                    let at = y * self.width + column * SAMPLES + sample % SAMPLES;
                    if self.nearness[at] > f32::NEG_INFINITY {
                        light += f64::from(self.light[at]);
                        (0..3).for_each(|k| sum[k] += f64::from(self.colour[at][k]));
                        covered += 1;
                    }
                }
                let samples = f64::from(covered.max(1));
                rgba.extend(sum.map(|channel| shade(channel / samples, light / samples)));
                let share = f64::from(covered) / (SAMPLES * SAMPLES) as f64;
                rgba.push((share * 255.0).round() as u8);
            }
        }
        Pixels { width: width as u32, height: height as u32, rgba }
    }
}

/// The light on a surface with this normal: 1 is full, above it shines.
fn brightness(normal: Point) -> f64 {
    /// From the upper left, in front of the model; of length one.
    const KEY: Point = [-0.470, 0.658, 0.588];
    /// A weak one from the right, so that no side is black.
    const FILL: Point = [0.805, 0.201, 0.559];
    let normal = vec3::unit(normal);
    let normal = if normal[2] < 0.0 { vec3::scale(normal, -1.0) } else { normal };
    let sky = 0.5 + 0.5 * normal[1];
    let key = vec3::dot(normal, KEY).max(0.0);
    let fill = vec3::dot(normal, FILL).max(0.0);
    // The direction halfway between the light and the eye, for a soft shine.
    let half = vec3::unit(vec3::add(KEY, [0.0, 0.0, 1.0]));
    let shine = vec3::dot(normal, half).max(0.0).powi(28);
    // Surfaces seen at a grazing angle are darker, which draws their outline.
    let rim = 0.55 + 0.45 * normal[2].sqrt();
    (0.26 + 0.20 * sky + 0.58 * key + 0.16 * fill) * rim + 0.20 * shine
}

fn shade(base: f64, light: f64) -> u8 {
    let value = if light <= 1.0 { base * light } else { base + (255.0 - base) * (light - 1.0) };
    value.round().clamp(0.0, 255.0) as u8
}

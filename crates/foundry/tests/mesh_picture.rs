//! Pictures of models.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use foundry::mesh::render::{Pixels, RenderOptions, View, render};
use foundry::mesh::{Mesh, measure_mesh};
use foundry::shapes::{Piece, solid};

fn covered(picture: &Pixels) -> f64 {
    picture.rgba.chunks(4).map(|pixel| f64::from(pixel[3]) / 255.0).sum()
}

fn brightness(picture: &Pixels, x: u32, y: u32) -> u32 {
    let at = ((y * picture.width + x) * 4) as usize;
    picture.rgba[at..at + 3].iter().map(|&channel| u32::from(channel)).sum()
}

#[test]
fn a_ball_covers_a_disc_and_is_lit_from_the_upper_left() {
    let options = RenderOptions { width: 200, height: 200, ..RenderOptions::default() };
    let picture = render(&solid::ball(3.0, 96), &options);
    // A disc of 90 % of the picture's width.
    let truth = std::f64::consts::PI * 90.0 * 90.0;
    assert!((covered(&picture) / truth - 1.0).abs() < 2e-3, "{}", covered(&picture));
    assert!(brightness(&picture, 65, 65) > brightness(&picture, 135, 135) + 100);
    assert_eq!(picture.rgba[3], 0, "the corner is transparent");
}

#[test]
fn the_nearer_of_two_bodies_hides_the_other() {
    let front = solid::cuboid([10.0, 1.0, 10.0]);
    let behind = solid::ball(3.0, 32).moved([5.0, 20.0, 5.0]).unwrap();
    let options = RenderOptions { view: View::Front, ..RenderOptions::default() };
    let alone = render(&front, &options);
    assert_eq!(render(&front.joined(&behind).unwrap(), &options), alone);
    assert_eq!(render(&behind.joined(&front).unwrap(), &options), alone);
    let back = RenderOptions {
        view: View::From { azimuth_deg: 90.0, elevation_deg: 0.0 },
        ..RenderOptions::default()
    };
    assert_ne!(render(&front.joined(&behind).unwrap(), &back), render(&front, &back));
}

#[test]
fn a_model_inside_out_looks_the_same() {
    let ring = Piece::ComfortBand.mesh();
    let options = RenderOptions { width: 64, height: 48, ..RenderOptions::default() };
    assert_eq!(render(&ring, &options), render(&ring.flipped(), &options));
}

#[test]
fn odd_sizes_and_empty_models_give_pictures_too() {
    let options = RenderOptions { width: 0, height: 7, ..RenderOptions::default() };
    let picture = render(&solid::cuboid([1.0; 3]), &options);
    assert_eq!((picture.width, picture.height, picture.rgba.len()), (1, 7, 28));
    let empty = render(&Mesh::default(), &RenderOptions::default());
    assert_eq!(covered(&empty), 0.0);
    let flat = Mesh::new(vec![[0.0; 3]; 3], vec![[0, 1, 2]]).unwrap();
    assert_eq!(covered(&render(&flat, &RenderOptions::default())), 0.0);
    assert!(measure_mesh(&flat).is_ok());
}

#[test]
fn the_png_unpacks_to_the_pixels() {
    let options = RenderOptions { width: 30, height: 20, ..RenderOptions::default() };
    let picture = render(&Piece::PlainBand.mesh(), &options);
    let png = picture.png();
    assert_eq!(&png[..8], b"\x89PNG\r\n\x1a\n");
    let at = png.windows(4).position(|w| w == b"IDAT").unwrap();
    let length = u32::from_be_bytes(png[at - 4..at].try_into().unwrap()) as usize;
    let rows = miniz_oxide::inflate::decompress_to_vec_zlib(&png[at + 4..at + 4 + length]).unwrap();
    let mut pixels = Vec::new();
    for row in rows.chunks(1 + 30 * 4) {
        assert_eq!(row[0], 1);
        let start = pixels.len();
        for (x, &step) in row[1..].iter().enumerate() {
            let left: u8 = if x < 4 { 0 } else { pixels[start + x - 4] };
            pixels.push(left.wrapping_add(step));
        }
    }
    assert_eq!(pixels, picture.rgba);
}

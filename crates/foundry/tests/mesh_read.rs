//! Reading model files: what is accepted, how it is recognised, and every refusal.
#![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

use std::io::Read;

use foundry::mesh::write::{PlyEncoding, obj, ply, stl_binary, stl_text, three_mf};
use foundry::mesh::{
    Format, Limits, Mesh, ModelFile, ReadRefusal, Unit, measure, read, read_from, read_within,
};
use foundry::shapes::{Piece, solid};

mod zipped;

fn volume(model: &ModelFile) -> f64 {
    measure(model, Unit::Millimetre).unwrap().volume.unwrap().get()
}

fn all_formats(mesh: &Mesh) -> Vec<(Format, Vec<u8>)> {
    vec![
        (Format::StlBinary, stl_binary(mesh, "ring").unwrap()),
        (Format::StlText, stl_text(mesh, "ring")),
        (Format::Obj, obj(mesh, "ring")),
        (Format::Ply, ply(mesh, PlyEncoding::Text)),
        (Format::Ply, ply(mesh, PlyEncoding::LittleEndian)),
        (Format::Ply, ply(mesh, PlyEncoding::BigEndian)),
        (Format::ThreeMf, three_mf(mesh, "ring", Unit::Millimetre).unwrap()),
    ]
}

#[test]
fn what_is_written_is_read_again_under_any_name() {
    let mesh = Piece::ComfortBand.mesh();
    let truth = measure(&read(&obj(&mesh, ""), "").unwrap(), Unit::Millimetre).unwrap();
    for (format, bytes) in all_formats(&mesh) {
        for name in ["ring.stl", "ring.obj", "RING.3MF", "ring", ""] {
            let model = read(&bytes, name).unwrap();
            assert_eq!(model.format, format);
            assert_eq!(model.mesh.triangles().len(), mesh.triangles().len());
            assert_eq!(model.mesh.vertices().len(), mesh.vertices().len(), "{format} welds");
            // Binary STL has single precision, the others all digits.
            let tolerance = if format == Format::StlBinary { 1e-7 } else { 0.0 };
            let off = volume(&model) / truth.volume.unwrap().get() - 1.0;
            assert!(off.abs() <= tolerance, "{format}: {off}");
        }
    }
}

/// Gives at most seven bytes at a time.
struct Slow<'a>(&'a [u8]);

impl Read for Slow<'_> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        let most = into.len().min(7);
        self.0.read(&mut into[..most])
    }
}

#[test]
fn a_file_that_comes_in_pieces_is_the_same_model() {
    let band = Piece::ComfortBand.mesh();
    let mut damaged = stl_binary(&band, "solid ring").unwrap();
    damaged.extend_from_slice(&[0; 9]);
    let mut wild = stl_binary(&band, "ring").unwrap();
    wild[84 + 50 * 20 + 12..][..4].copy_from_slice(&f32::NAN.to_le_bytes());
    let mut files = all_formats(&band);
    files.extend([damaged, wild].map(|bytes| (Format::StlBinary, bytes)));
    for (_, bytes) in files {
        assert_eq!(read_from(Slow(&bytes), bytes.len() as u64, "ring"), read(&bytes, "ring"));
    }
}

#[test]
fn a_file_that_breaks_off_while_it_is_read_says_so() {
    let bytes = stl_binary(&Piece::ComfortBand.mesh(), "ring").unwrap();
    let whole = bytes.len() as u64;
    let said = read_from(&bytes[..bytes.len() - 30], whole, "ring.stl").unwrap_err();
    assert!(said.to_string().contains("could not be read to its end"), "{said}");
    assert_eq!(read_from(&b""[..], 0, ""), Err(ReadRefusal::Empty));
    let limit = Limits::default().file_bytes;
    let said = read_from(&b""[..], limit as u64 + 1, "").unwrap_err();
    assert_eq!(said, ReadRefusal::FileTooLarge { bytes: limit + 1, limit });
}

#[test]
fn names_are_kept() {
    let mesh = solid::cuboid([1.0; 3]);
    for (format, bytes) in all_formats(&mesh) {
        let names = read(&bytes, "").unwrap().names;
        assert_eq!(names, if format == Format::Ply { vec![] } else { vec!["ring"] }, "{format}");
    }
}

#[test]
fn a_binary_file_may_begin_with_solid_and_be_padded() {
    let mut bytes = stl_binary(&solid::cuboid([2.0, 3.0, 4.0]), "").unwrap();
    bytes[..14].copy_from_slice(b"solid by facet");
    assert_eq!(read(&bytes, "").unwrap().format, Format::StlBinary);
    bytes.extend_from_slice(&[b' '; 77]);
    let model = read(&bytes, "a.stl").unwrap();
    assert_eq!(volume(&model), 24.0);
    assert_eq!(model.notes.len(), 1);
}

#[test]
fn a_text_file_may_hold_several_solids_in_any_case_and_lack_normals() {
    let one = stl_text(&solid::cuboid([1.0; 3]), "one");
    let two = stl_text(&solid::cuboid([1.0; 3]).moved([5.0; 3]).unwrap(), "two words");
    let both = [one, two].concat();
    let model = read(&both, "").unwrap();
    assert_eq!(model.names, ["one", "two words"]);
    assert_eq!(volume(&model), 2.0);
    let shouted = String::from_utf8(both.clone()).unwrap().to_uppercase();
    assert_eq!(volume(&read(shouted.as_bytes(), "").unwrap()), 2.0);
    let text = String::from_utf8(both).unwrap();
    let bare: String = text
        .lines()
        .map(
            |line| {
                if line.starts_with("facet") { "facet\r\n".into() } else { format!("{line}\r\n") }
            },
        )
        .collect();
    assert_eq!(volume(&read(bare.as_bytes(), "").unwrap()), 2.0);
    let wrong = text.replace("facet normal 0 0 -1", "facet normal nan 7 x");
    assert_eq!(volume(&read(wrong.as_bytes(), "").unwrap()), 2.0);
}

#[test]
fn an_obj_file_may_count_backwards_and_use_polygons_and_continued_lines() {
    let text = "# a unit cube\no cube\nv 0 0 0\nv 1 0 0 1.0\nv 1 1 0\nv 0 1 0\nv 0 0 1\nv 1 0 1\nv 1 1 1\nv 0 1 1\n\
        vn 0 0 1\ng lower\nf 4 3 2 1\ng upper\nf -4//1 -3//1 -2//1 -1//1\nf 1 2 6 \\\n5\nf 2/1/1 3/1/1 7/1/1 6/1/1\n\
        f 3 4 8 7\nf 4 1 5 8\nl 1 2\n";
    let model = read(text.as_bytes(), "").unwrap();
    assert_eq!(volume(&model), 1.0);
    assert_eq!(model.names, ["cube", "lower", "upper"]);
    assert_eq!(model.notes, ["1 points, lines or curves were left out."]);
}

/// An L-shaped prism; its two caps are hexagons with one corner that turns inwards.
#[test]
fn concave_polygons_are_cut_right() {
    let outline = [[0, 0], [2, 0], [2, 1], [1, 1], [1, 2], [0, 2]];
    for first in 0..6 {
        let mut text = String::new();
        for z in [0, 3] {
            for [x, y] in outline {
                text += &format!("v {x} {y} {z}\n");
            }
        }
        let from = |at: usize| (at + first) % 6;
        let lower: Vec<String> = (0..6).map(|at| (from(5 - at) + 1).to_string()).collect();
        let upper: Vec<String> = (0..6).map(|at| (from(at) + 7).to_string()).collect();
        text += &format!("f {}\nf {}\n", lower.join(" "), upper.join(" "));
        for at in 0..6 {
            let next = (at + 1) % 6;
            text += &format!("f {} {} {} {}\n", at + 1, next + 1, next + 7, at + 7);
        }
        let model = read(text.as_bytes(), "l.obj").unwrap();
        let measure = measure(&model, Unit::Millimetre).unwrap();
        assert_eq!(measure.volume.unwrap().get(), 9.0, "from corner {first}");
        // The caps have area 3 each only when no triangle lies outside them.
        assert_eq!(measure.area.get(), 30.0, "from corner {first}");
    }
}

#[test]
fn a_ply_file_may_have_other_properties_and_elements_before() {
    let text = "ply\r\nformat ascii 1.0\r\ncomment colours\r\nelement extra 2\r\nproperty list uchar int junk\r\n\
        element vertex 4\r\nproperty uchar red\r\nproperty float z\r\nproperty float x\r\nproperty float y\r\n\
        element face 4\r\nproperty uchar flags\r\nproperty list uchar int vertex_index\r\nend_header\r\n\
        2 7 7\r\n0\r\n255 0 0 0\r\n255 0 1 0\r\n255 0 0 1\r\n255 1 0 0\r\n1 3 0 2 1\r\n1 3 0 1 3\r\n1 3 0 3 2\r\n1 3 1 2 3\r\n";
    assert!((volume(&read(text.as_bytes(), "").unwrap()) - 1.0 / 6.0).abs() < 1e-15);
}

fn three_mf_of(model: &str) -> Vec<u8> {
    zipped::archive(&[("3D/3dmodel.model", model.as_bytes())])
}

const TETRAHEDRON: &str = "<mesh><vertices><vertex x=\"0\" y=\"0\" z=\"0\"/><vertex x=\"1\" y=\"0\" z=\"0\"/>\
    <vertex x=\"0\" y=\"1\" z=\"0\"/><vertex x=\"0\" y=\"0\" z=\"6\"/></vertices><triangles>\
    <triangle v1=\"0\" v2=\"2\" v3=\"1\"/><triangle v1=\"0\" v2=\"1\" v3=\"3\"/>\
    <triangle v1=\"0\" v2=\"3\" v3=\"2\"/><triangle v1=\"1\" v2=\"2\" v3=\"3\"/></triangles></mesh>";

#[test]
fn a_3mf_file_states_its_unit_and_places_components_and_mirrors_them() {
    let model = format!(
        "<model unit=\"inch\" xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\"><resources>\
         <object id=\"1\" name=\"a &amp; b\" type=\"model\">{TETRAHEDRON}</object>\
         <object id=\"2\" type=\"model\"><components><component objectid=\"1\" transform=\"-1 0 0 0 1 0 0 0 1 -9 0 0\"/>\
         <component objectid=\"1\" transform=\"2 0 0 0 2 0 0 0 2 20 0 0\"/></components></object>\
         <object id=\"3\" type=\"support\">{TETRAHEDRON}</object></resources>\
         <build><item objectid=\"2\" transform=\"1 0 0 0 1 0 0 0 1 0 0 50\"/><item objectid=\"1\"/>\
         <item objectid=\"3\"/></build></model>"
    );
    let model = read(&three_mf_of(&model), "x.3mf").unwrap();
    assert_eq!(model.unit, Some(Unit::Inch));
    assert_eq!(model.names, ["a & b"; 3]);
    assert_eq!(model.notes, ["1 support objects were left out."]);
    let measure = measure(&model, Unit::Millimetre).unwrap();
    assert!((measure.volume.unwrap().get() - (1.0 + 8.0 + 1.0)).abs() < 1e-12);
    assert!(!measure.has(foundry::mesh::ProblemKind::InsideOut), "the mirrored one is turned");
    assert_eq!(measure.bounds.greatest[2], 62.0);
    assert_eq!(measure.bounds.least[0], -10.0);
}

#[test]
fn a_3mf_file_may_spread_over_parts_and_be_packed_or_stored() {
    let root = "<model xmlns=\"c\" xmlns:p=\"http://schemas.microsoft.com/3dmanufacturing/production/2015/06\" requiredextensions=\"p\">\
        <resources><object id=\"9\"><components><component p:path=\"/3D/Objects/one.model\" objectid=\"4\"/></components></object></resources>\
        <build><item objectid=\"9\"/></build></model>";
    let part = format!(
        "<model unit=\"millimeter\"><resources><object id=\"4\">{TETRAHEDRON}</object></resources><build/></model>"
    );
    let relationships = "<Relationships><Relationship Id=\"a\" Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\" Target=\"/odd/place.model\"/></Relationships>";
    let bytes = zipped::archive(&[
        ("_rels/.rels", relationships.as_bytes()),
        ("odd/place.model", root.as_bytes()),
        ("3d/objects/ONE.model", part.as_bytes()),
    ]);
    let model = read(&bytes, "").unwrap();
    assert!((volume(&model) - 1.0).abs() < 1e-12);
    assert_eq!(model.unit, Some(Unit::Millimetre), "the specification's default");
}

/// What a refusal is, without its details.
fn refusal(bytes: &[u8], name: &str) -> &'static str {
    let refusal = read(bytes, name).unwrap_err();
    let sentence = refusal.to_string();
    assert!(sentence.len() > 40 && sentence.ends_with('.'), "says what to do: {sentence}");
    match refusal {
        ReadRefusal::Empty => "empty",
        ReadRefusal::FileTooLarge { .. } => "file too large",
        ReadRefusal::NotAMesh { .. } => "not a mesh",
        ReadRefusal::NoTriangles { .. } => "no triangles",
        ReadRefusal::Truncated { .. } => "truncated",
        ReadRefusal::BadCoordinate { .. } => "bad coordinate",
        ReadRefusal::TooManyTriangles { .. } => "too many triangles",
        ReadRefusal::UnpacksTooLarge { .. } => "unpacks too large",
        ReadRefusal::Malformed { .. } => "malformed",
        ReadRefusal::Unsupported { .. } => "unsupported",
        ReadRefusal::Interrupted { .. } => "interrupted",
    }
}

#[test]
fn other_files_are_called_by_their_name() {
    assert_eq!(refusal(b"", "a.stl"), "empty");
    for (bytes, word) in [
        (b"%PDF-1.7 ...".as_slice(), "PDF"),
        (b"\x89PNG\r\n\x1a\n\0\0", "PNG"),
        (b"ISO-10303-21;\nHEADER;", "STEP"),
        (b"glTF\x02\0\0\0", "glTF"),
        (b"hello there", "some other text"),
        (b"\0\x01\x02\x03", "an unknown kind of file"),
    ] {
        let refusal = read(bytes, "model.3mf").unwrap_err();
        assert!(matches!(refusal, ReadRefusal::NotAMesh { .. }));
        assert!(refusal.to_string().contains(word), "{refusal}");
    }
    let photos = zipped::archive(&[("photo.jpg", b"jpeg".as_slice())]);
    assert_eq!(refusal(&photos, "x.3mf"), "not a mesh");
}

/// Random bytes claim a billion triangles; that says nothing of an interrupted transfer.
#[test]
fn bytes_that_are_no_stl_are_not_called_a_damaged_one() {
    let mut state = 0x5eed_u64;
    let mut random = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        state.to_be_bytes()[0]
    };
    let bytes: Vec<u8> = (0..5_000).map(|_| random()).collect();
    let why = read(&bytes, "noise.stl").unwrap_err().to_string();
    assert!(why.contains("not a model that can be read") && why.contains(".stl"), "{why}");
    // The first tenth of a real file is one that was interrupted.
    let ball = stl_binary(&solid::ball(5.0, 48), "ball").unwrap();
    assert_eq!(refusal(&ball[..ball.len() / 10], "a.stl"), "truncated");
}

#[test]
fn a_damaged_stl_file_is_refused_with_its_reason() {
    let cube = solid::cuboid([1.0; 3]);
    let bytes = stl_binary(&cube, "cube").unwrap();
    assert_eq!(refusal(&bytes[..bytes.len() - 20], "a.stl"), "truncated");
    assert_eq!(refusal(&bytes[..60], "a.stl"), "malformed", "a name and blanks");
    assert_eq!(refusal(&bytes[..84], "a.stl"), "truncated");

    let mut claims = bytes.clone();
    claims[80] = 66;
    assert_eq!(refusal(&claims, "a.stl"), "truncated");
    claims[80..84].copy_from_slice(&u32::MAX.to_le_bytes());
    assert_eq!(refusal(&claims, "a.stl"), "truncated", "nothing is reserved for four billion");

    let mut nothing = bytes[..84].to_vec();
    nothing[80] = 0;
    assert_eq!(refusal(&nothing, ""), "no triangles");

    let mut tail = bytes.clone();
    tail.extend_from_slice(b"12345");
    assert_eq!(refusal(&tail, "a.stl"), "malformed");

    for bad in [f32::NAN, f32::INFINITY, 1e30] {
        let mut bytes = bytes.clone();
        bytes[84 + 12..84 + 16].copy_from_slice(&bad.to_le_bytes());
        assert_eq!(refusal(&bytes, ""), "bad coordinate");
    }
    let mut normal = bytes.clone();
    normal[84..88].copy_from_slice(&f32::NAN.to_le_bytes());
    assert!(read(&normal, "").is_ok(), "normals do not matter");
}

#[test]
fn a_damaged_text_is_refused_with_its_line() {
    let text = String::from_utf8(stl_text(&solid::cuboid([1.0; 3]), "cube")).unwrap();
    let cut = text.find("endsolid").unwrap();
    assert_eq!(refusal(&text.as_bytes()[..cut], ""), "truncated");
    assert_eq!(refusal(&text.as_bytes()[..cut / 2], ""), "truncated");
    assert_eq!(refusal(b"solid nothing\nendsolid nothing\n", ""), "no triangles");
    for (from, to, what) in [
        ("vertex 0 1 0", "vertex 0 nan 0", "bad coordinate"),
        ("vertex 0 1 0", "vertex 0 -inf 0", "bad coordinate"),
        ("vertex 0 1 0", "vertex 0 1e300 0", "bad coordinate"),
        ("vertex 0 1 0", "vertex 0 1,5 0", "malformed"),
        ("vertex 0 1 0", "vertex 0 1", "malformed"),
        ("  endloop", "    vertex 1 1 1\n  endloop", "malformed"),
        ("outer loop", "inner loop", "malformed"),
    ] {
        assert!(text.contains(from));
        assert_eq!(refusal(text.replacen(from, to, 1).as_bytes(), ""), what, "{to}");
    }
    let sentence = read(text.replacen("outer", "inner", 1).as_bytes(), "").unwrap_err().to_string();
    assert!(sentence.contains("line "), "{sentence}");
}

#[test]
fn a_damaged_obj_file_is_refused_with_its_line() {
    let start = "v 0 0 0\nv 1 0 0\nv 0 1 0\n";
    for (rest, what) in [
        ("", "no triangles"),
        ("l 1 2\n", "no triangles"),
        ("f 1 2 4\n", "malformed"),
        ("f 1 2 0\n", "malformed"),
        ("f 1 2 -4\n", "malformed"),
        ("f 1 2 -9223372036854775808\n", "malformed"),
        ("f 1 2 x\n", "malformed"),
        ("f 1 2\n", "malformed"),
        ("v 1 2\nf 1 2 3\n", "malformed"),
        ("v 1 2 inf\nf 1 2 3\n", "bad coordinate"),
    ] {
        assert_eq!(refusal(format!("{start}{rest}").as_bytes(), "a.obj"), what, "{rest}");
    }
}

#[test]
fn a_damaged_ply_file_is_refused() {
    let bytes = ply(&solid::cuboid([1.0; 3]), PlyEncoding::LittleEndian);
    assert_eq!(refusal(&bytes[..bytes.len() - 1], ""), "truncated");
    assert_eq!(refusal(&bytes[..60], ""), "truncated");
    let text = String::from_utf8(ply(&solid::cuboid([1.0; 3]), PlyEncoding::Text)).unwrap();
    for (from, to, what) in [
        ("3 0 2 3", "3 0 2 8", "malformed"),
        ("3 0 2 3", "3 0 2 -3", "malformed"),
        ("3 0 2 3", "2 0 2 3", "malformed"),
        ("3 0 2 3", "3 0 2 three", "malformed"),
        ("property double z", "property double w", "malformed"),
        ("property double z", "property word z", "malformed"),
        ("element vertex 8", "element vertex 99999999999", "too many triangles"),
        ("element vertex 8", "element vertex 9", "malformed"),
        ("element face 12", "element face 13", "truncated"),
        ("element face 12", "element face 0", "no triangles"),
        ("format ascii 1.0", "format spoken 1.0", "malformed"),
        ("element face 12", "element tristrips 12", "unsupported"),
        (" 0 0 1\n", " 0 0 nan\n", "bad coordinate"),
    ] {
        assert!(text.contains(from), "{from}");
        assert_eq!(refusal(text.replacen(from, to, 1).as_bytes(), ""), what, "{from} to {to}");
    }
}

#[test]
fn a_damaged_3mf_file_is_refused() {
    let whole = three_mf(&solid::cuboid([1.0; 3]), "cube", Unit::Millimetre).unwrap();
    assert_eq!(refusal(&whole[..whole.len() / 2], ""), "truncated");
    let mut flipped = whole.clone();
    let at = flipped.windows(6).position(|w| w == b"vertex").unwrap();
    flipped[at] = b'w';
    assert_eq!(refusal(&flipped, ""), "malformed", "the check sum");

    let model = |objects: &str, build: &str| {
        let text = format!("<model><resources>{objects}</resources><build>{build}</build></model>");
        three_mf_of(&text)
    };
    let object = format!("<object id=\"1\">{TETRAHEDRON}</object>");
    let item = "<item objectid=\"1\"/>";
    for (bytes, what) in [
        (model(&object, ""), "no triangles"),
        (model(&object, "<item objectid=\"2\"/>"), "malformed"),
        (model(&object, "<item objectid=\"1\" transform=\"1 2 3\"/>"), "malformed"),
        (
            model(&object, "<item objectid=\"1\" transform=\"1 0 0 0 1 0 0 0 nan 0 0 0\"/>"),
            "malformed",
        ),
        (model(&object.replace("v1=\"0\"", "v1=\"4\""), item), "malformed"),
        (model(&object.replace("x=\"1\"", "x=\"\""), item), "malformed"),
        (model(&object.replace("x=\"1\"", "x=\"inf\""), item), "bad coordinate"),
        (model(&object.replace("<mesh>", "<mesh"), item), "malformed"),
        (
            three_mf_of(&format!("<model unit=\"cubit\"><resources>{object}</resources></model>")),
            "malformed",
        ),
        (
            three_mf_of(&format!(
                "<model xmlns:b=\"http://schemas.microsoft.com/3dmanufacturing/beamlattice/2017/02\" requiredextensions=\"b\"><resources>{object}</resources></model>"
            )),
            "unsupported",
        ),
        (
            model(
                "<object id=\"1\"><components><component objectid=\"1\"/></components></object>",
                item,
            ),
            "malformed",
        ),
    ] {
        assert_eq!(refusal(&bytes, ""), what);
    }
    // Each object holds the one before twice: two to the power of thirty tetrahedra.
    let mut doubling = object.clone();
    for id in 2..32 {
        let part = format!("<component objectid=\"{}\"/>", id - 1);
        doubling += &format!("<object id=\"{id}\"><components>{part}{part}</components></object>");
    }
    assert_eq!(refusal(&model(&doubling, "<item objectid=\"31\"/>"), ""), "malformed");
}

#[test]
fn archives_that_unpack_to_too_much_are_refused_before_they_do() {
    let blank = vec![b' '; 64 << 20];
    let bomb = zipped::archive(&[("3D/3dmodel.model", &blank)]);
    assert!(bomb.len() < 1 << 20);
    assert_eq!(refusal(&bomb, ""), "unpacks too large", "by its ratio");
    let limits = Limits { unpacked_bytes: 1000, ..Limits::default() };
    let model = format!(
        "<model><resources><object id=\"1\">{TETRAHEDRON}</object></resources><build><item objectid=\"1\"/></build></model>{}",
        " ".repeat(1000)
    );
    let refusal_of = |limits: &Limits| read_within(&three_mf_of(&model), "", limits).err();
    assert!(matches!(refusal_of(&limits), Some(ReadRefusal::UnpacksTooLarge { .. })));
    assert_eq!(refusal_of(&Limits::default()), None);
    // A part that states less than it holds.
    let mut liar = zipped::archive(&[("3D/3dmodel.model", model.as_bytes())]);
    let entry = liar.windows(4).rposition(|w| w == b"PK\x01\x02").unwrap();
    liar[entry + 24..entry + 28].copy_from_slice(&10_u32.to_le_bytes());
    assert_eq!(refusal(&liar, ""), "malformed");
}

#[test]
fn limits_hold_in_every_format() {
    let mesh = solid::cuboid([1.0; 3]);
    for (format, bytes) in all_formats(&mesh) {
        let limits = Limits { triangles: 11, ..Limits::default() };
        let refused = read_within(&bytes, "", &limits).unwrap_err();
        assert_eq!(refused, ReadRefusal::TooManyTriangles { limit: 11 }, "{format}");
        let limits = Limits { triangles: 12, ..limits };
        assert!(read_within(&bytes, "", &limits).is_ok(), "{format}");
        let limits = Limits { file_bytes: bytes.len() - 1, ..Limits::default() };
        let refused = read_within(&bytes, "", &limits).unwrap_err();
        assert!(matches!(refused, ReadRefusal::FileTooLarge { .. }), "{format}");
    }
}

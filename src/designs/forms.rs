//! What people type about a design.

use foundry::mesh::Unit;

use crate::analysis::{Casting, Method};
use crate::id::ClientId;
use crate::json::feed::SprueJson;
use crate::web::Form;

/// A design as typed, checked.
#[derive(Clone, Debug)]
pub(super) struct DesignForm {
    pub(super) name: String,
    pub(super) client: Option<ClientId>,
    pub(super) note: String,
}

impl DesignForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let name = form.needed("name", 200);
        let client = client(form);
        let note = form.text("note", 4000);
        form.good().then_some(Self { name, client, note })
    }
}

/// Whose design it is; may be left open.
pub(super) fn client(form: &mut Form) -> Option<ClientId> {
    if form.value("client").is_empty() { None } else { form.choice("client") }
}

/// The unit that was told.
pub(super) fn unit(form: &mut Form) -> Option<Unit> {
    let unit = Unit::from_name(form.value("unit"));
    if unit.is_none() {
        form.wrong("unit", "Choose the size that is right.");
    }
    unit
}

/// Sprues that a form has rows for.
pub(super) const SPRUE_ROWS: usize = 6;

/// Where a model is, as far as is known before its surface is read.
#[derive(Clone, Copy, Debug)]
pub(super) struct Extent {
    pub(super) centre_mm: [f64; 3],
    /// Sides of the box around it.
    pub(super) box_mm: [f64; 3],
}

impl Extent {
    /// How far a place certainly is from the model: a body lies within the sides of its box of its
    /// centre of mass.
    fn away_mm(&self, at_mm: [f64; 3]) -> f64 {
        let beyond =
            |axis: usize| ((at_mm[axis] - self.centre_mm[axis]).abs() - self.box_mm[axis]).max(0.0);
        [0, 1, 2].map(beyond).into_iter().fold(0.0, f64::hypot)
    }
}

/// How a version is to be cast, as typed; `None` after noting at each field what is wrong.
pub(super) fn casting(form: &mut Form, model: Option<Extent>) -> Option<Casting> {
    let alloy = form.choice("alloy");
    let method: Option<Method> = form.choice("method");
    let usual = |form: &mut Form, name: &str, used: bool, least, most, otherwise| {
        if used {
            form.number(name, least, most)
        } else {
            form.number_or_none(name, least, most).or(Some(otherwise))
        }
    };
    let vacuum = method == Some(Method::Vacuum);
    let turned = method == Some(Method::Centrifugal);
    let vacuum_kpa = usual(form, "vacuum_kpa", vacuum, 0.0, 101.3, 80.0);
    let turns_per_min = usual(form, "turns_per_min", turned, 50.0, 2000.0, 450.0);
    let arm_mm = usual(form, "arm_mm", turned, 10.0, 2000.0, 180.0);
    let head_mm = form.number("head_mm", 0.0, 1000.0);
    let metal_c = form.number("metal_c", 200.0, 2500.0);
    let flask_c = form.number("flask_c", 0.0, 1500.0);
    let limit_mm = form.number("limit_mm", 0.1, 10.0);
    let mut sprues = Vec::new();
    for row in 1..=SPRUE_ROWS {
        let field = |what: &str| format!("{what}{row}");
        if ["x", "y", "z", "d", "l"].iter().all(|what| form.value(&field(what)).trim().is_empty()) {
            continue;
        }
        let mut read = |what, least, most| form.number(&field(what), least, most);
        let place = [read("x", -1.0e4, 1.0e4), read("y", -1.0e4, 1.0e4), read("z", -1.0e4, 1.0e4)];
        let (diameter, length) = (read("d", 0.3, 50.0), read("l", 0.5, 200.0));
        if let ([Some(x), Some(y), Some(z)], Some(diameter_mm), Some(length_mm)) =
            (place, diameter, length)
        {
            let away_mm = model.map_or(0.0, |model| model.away_mm([x, y, z]));
            if away_mm > diameter_mm {
                let why = format!(
                    "This sprue stands at least {away_mm:.0} mm away from the model. Place it on its surface, in the picture or by the model's own coordinates."
                );
                form.wrong(&field("x"), why);
            }
            sprues.push(SprueJson { at_mm: [x, y, z], diameter_mm, length_mm });
        }
    }
    let casting = Casting {
        alloy: alloy?,
        method: method?,
        vacuum_kpa: vacuum_kpa?,
        turns_per_min: turns_per_min?,
        arm_mm: arm_mm?,
        head_mm: head_mm?,
        metal_c: metal_c?,
        flask_c: flask_c?,
        limit_mm: limit_mm?,
        sprues,
    };
    form.good().then_some(casting)
}

/// The form of how a version is cast, filled with what is kept.
pub(super) fn casting_filled(casting: &Casting, version: i64) -> Form {
    let mut form = Form::filled([
        ("alloy", casting.alloy.to_string()),
        ("method", casting.method.code().to_owned()),
        ("vacuum_kpa", casting.vacuum_kpa.to_string()),
        ("turns_per_min", casting.turns_per_min.to_string()),
        ("arm_mm", casting.arm_mm.to_string()),
        ("head_mm", casting.head_mm.to_string()),
        ("metal_c", casting.metal_c.to_string()),
        ("flask_c", casting.flask_c.to_string()),
        ("limit_mm", casting.limit_mm.to_string()),
        ("version", version.to_string()),
    ]);
    for (row, sprue) in (1..).zip(&casting.sprues) {
        let SprueJson { at_mm: [x, y, z], diameter_mm, length_mm } = sprue;
        for (what, value) in [("x", x), ("y", y), ("z", z), ("d", diameter_mm), ("l", length_mm)] {
            // A hundredth of a millimetre is finer than anybody places a sprue.
            form.put(&format!("{what}{row}"), &((value * 100.0).round() / 100.0).to_string());
        }
    }
    form
}

//! What people type about printers, resins and lots.

use rust_decimal::Decimal;

use crate::clock::Day;
use crate::web::Form;

/// A printer as typed, checked.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct PrinterForm {
    pub(super) name: String,
    pub(super) width_mm: f64,
    pub(super) depth_mm: f64,
    pub(super) height_mm: f64,
    pub(super) layer_um: i32,
    pub(super) exposure_s: f64,
    pub(super) bottom_layers: i32,
    pub(super) bottom_exposure_s: f64,
    pub(super) lift_s: f64,
    pub(super) hour_rate: Decimal,
}

impl PrinterForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let name = form.needed("name", 120);
        let width_mm = form.number("width", 10.0, 2000.0);
        let depth_mm = form.number("depth", 10.0, 2000.0);
        let height_mm = form.number("height", 10.0, 2000.0);
        let layer_um = form.whole("layer", 5, 500);
        let exposure_s = form.number("exposure", 0.05, 3600.0);
        let bottom_layers = form.whole("bottom_layers", 0, 500);
        let bottom_exposure_s = form.number("bottom_exposure", 0.05, 3600.0);
        let lift_s = form.number("lift", 0.0, 3600.0);
        let hour_rate = form.decimal("hour_rate", Decimal::ZERO, Decimal::from(100_000), 4);
        if !form.good() {
            return None;
        }
        Some(Self {
            name,
            width_mm: width_mm?,
            depth_mm: depth_mm?,
            height_mm: height_mm?,
            layer_um: i32::try_from(layer_um?).ok()?,
            exposure_s: exposure_s?,
            bottom_layers: i32::try_from(bottom_layers?).ok()?,
            bottom_exposure_s: bottom_exposure_s?,
            lift_s: lift_s?,
            hour_rate: hour_rate?,
        })
    }
}

/// A resin as typed, checked.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct ResinForm {
    pub(super) name: String,
    pub(super) density_g_cm3: f64,
    /// Linear, as a share of one.
    pub(super) shrinkage: f64,
    pub(super) wash_minutes: i32,
    pub(super) cure_minutes: i32,
    pub(super) source: String,
}

impl ResinForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let name = form.needed("name", 120);
        let density = form.number("density", 0.6, 2.9);
        let shrinkage = form.number("shrinkage", 0.0, 9.9);
        let wash = form.whole("wash", 0, 600);
        let cure = form.whole("cure", 1, 1440);
        let source = form.text("source", 400);
        if !form.good() {
            return None;
        }
        Some(Self {
            name,
            density_g_cm3: density?,
            shrinkage: shrinkage? / 100.0,
            wash_minutes: i32::try_from(wash?).ok()?,
            cure_minutes: i32::try_from(cure?).ok()?,
            source,
        })
    }
}

/// An opened bottle as typed, checked.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct LotForm {
    pub(super) lot: String,
    pub(super) opened_on: Day,
    pub(super) volume_ml: f64,
}

impl LotForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let lot = form.needed("lot", 80);
        let opened_on = form.day("opened_on");
        let volume_ml = form.number("volume", 1.0, 100_000.0);
        if !form.good() {
            return None;
        }
        Some(Self { lot, opened_on: opened_on?, volume_ml: volume_ml? })
    }
}

/// A profile as typed, checked.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct ProfileForm {
    pub(super) name: String,
    pub(super) layer_um: i32,
    pub(super) exposure_s: f64,
    pub(super) bottom_layers: i32,
    pub(super) bottom_exposure_s: f64,
    pub(super) lift_mm: f64,
    pub(super) lift_s: f64,
    pub(super) vat_c: Option<f64>,
}

impl ProfileForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let name = form.needed("name", 120);
        let layer_um = form.whole("layer", 5, 500);
        let exposure_s = form.number("exposure", 0.05, 3600.0);
        let bottom_layers = form.whole("bottom_layers", 0, 500);
        let bottom_exposure_s = form.number("bottom_exposure", 0.05, 3600.0);
        let lift_mm = form.number("lift_mm", 0.1, 50.0);
        let lift_s = form.number("lift", 0.0, 3600.0);
        let vat_c = form.number_or_none("vat_c", 5.0, 80.0);
        if !form.good() {
            return None;
        }
        Some(Self {
            name,
            layer_um: i32::try_from(layer_um?).ok()?,
            exposure_s: exposure_s?,
            bottom_layers: i32::try_from(bottom_layers?).ok()?,
            bottom_exposure_s: bottom_exposure_s?,
            lift_mm: lift_mm?,
            lift_s: lift_s?,
            vat_c,
        })
    }
}

//! What people type about a design.

use foundry::mesh::Unit;

use crate::id::ClientId;
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

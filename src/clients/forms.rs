//! What people type about a client.

use crate::id::ClassId;
use crate::web::Form;

/// A client as typed, checked.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct ClientForm {
    pub(super) name: String,
    pub(super) email: String,
    pub(super) phone: String,
    pub(super) address: String,
    pub(super) note: String,
    /// Whom they are treated like; only owners say so.
    pub(super) class: Option<ClassId>,
}

impl ClientForm {
    /// Reads the form; `None` after noting at each field what is wrong with it.
    pub(super) fn read(form: &mut Form) -> Option<Self> {
        let name = form.line("name", 200);
        if name.is_empty() {
            form.wrong("name", "This is needed.");
        }
        let email = form.line("email", 200);
        if !email.is_empty()
            && !email.split_once('@').is_some_and(|(to, at)| !to.is_empty() && at.contains('.'))
        {
            form.wrong(
                "email",
                "This does not look like an e-mail address; leave it empty if there is none.",
            );
        }
        let phone = form.line("phone", 60);
        let address = form.text("address", 1000);
        let note = form.text("note", 4000);
        let class = form.value("class").parse().ok();
        form.good().then_some(Self { name, email, phone, address, note, class })
    }
}

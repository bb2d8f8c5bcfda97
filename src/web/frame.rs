//! What surrounds every page of the studio.

use crate::web::{Html, Show, asset};

/// Rooms that share an entry of the menu: where each is and what it is called.
type Rooms = &'static [(&'static str, &'static str)];

/// Where pieces are made, in the order in which they come through.
const BENCH: Rooms = &[
    ("/plates", "Plates"),
    ("/cure", "Cure"),
    ("/flasks", "Flasks"),
    ("/loads", "Kiln loads"),
    ("/pours", "Pours"),
    ("/finishing", "Finish"),
    ("/timers", "Clocks"),
];

/// What the owner asks, pays and is paid.
const MONEY: Rooms = &[
    ("/invoices", "Invoices"),
    ("/metal", "Metal"),
    ("/prices", "Price book"),
    ("/letters", "Letters"),
    ("/questions", "Questions"),
];

/// The person a page is made for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Who {
    /// Their name.
    pub name: String,
    /// Whether they own the studio.
    pub owner: bool,
}

/// Handed to every page template as `frame`.
#[derive(Clone, Debug)]
pub struct Frame {
    /// The studio's name.
    pub studio: String,
    /// Who is signed in.
    pub who: Option<Who>,
    /// How figures and times are written.
    pub show: Show,
    /// The path of the page, to mark its room.
    pub path: String,
    /// A message above the page's content.
    pub notice: Option<String>,
}

impl Frame {
    /// The address of a static file.
    #[must_use]
    pub fn asset(&self, name: &str) -> String {
        asset(name)
    }

    /// The same frame with a message on top of the page.
    #[must_use]
    pub fn with_notice(mut self, notice: impl Into<String>) -> Self {
        self.notice = Some(notice.into());
        self
    }

    /// The mark of the room that the page is in.
    #[must_use]
    pub fn current(&self, room: &str) -> Html {
        Html::trusted(if self.inside(room) { " aria-current=\"page\"" } else { "" }.to_owned())
    }

    /// Whether the page is in a room or below it.
    fn inside(&self, room: &str) -> bool {
        let rest = self.path.strip_prefix(room);
        if room == "/" {
            rest == Some("")
        } else {
            rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
        }
    }

    /// The rooms beside the page's own under the same entry of the menu, if it is one of several.
    #[must_use]
    pub fn beside(&self) -> Option<(&'static str, Rooms)> {
        let groups: &[(&str, Rooms)] =
            if self.owner() { &[("Bench", BENCH), ("Money", MONEY)] } else { &[("Bench", BENCH)] };
        groups.iter().find(|(_, rooms)| rooms.iter().any(|(room, _)| self.inside(room))).copied()
    }

    /// The mark of an entry of the menu that stands for several rooms.
    #[must_use]
    pub fn among(&self, name: &str) -> Html {
        let inside = self.beside().is_some_and(|(group, _)| group == name);
        Html::trusted(if inside { " aria-current=\"true\"" } else { "" }.to_owned())
    }

    /// Whether the signed-in person owns the studio.
    #[must_use]
    pub fn owner(&self) -> bool {
        self.who.as_ref().is_some_and(|who| who.owner)
    }

    /// A hidden field with a fresh key, for forms that are one button.
    #[must_use]
    pub fn once(&self) -> Html {
        Html::trusted(format!(
            "<input type=\"hidden\" name=\"once\" value=\"{}\">",
            uuid::Uuid::now_v7()
        ))
    }
}

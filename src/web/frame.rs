//! What surrounds every page of the studio.

use crate::web::{Html, Show, asset};

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
        let inside = if room == "/" {
            self.path == "/"
        } else {
            self.path
                .strip_prefix(room)
                .is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
        };
        Html::trusted(if inside { " aria-current=\"page\"".to_owned() } else { String::new() })
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

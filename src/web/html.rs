//! Ready-made HTML, made only from escaped parts.

use std::fmt::{self, Write as _};

/// A piece of HTML that a template prints as it is.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Html(String);

impl Html {
    /// Takes markup that the program itself wrote.
    #[must_use]
    pub fn trusted(markup: String) -> Self {
        Self(markup)
    }

    /// Escapes text that came from outside.
    #[must_use]
    pub fn escaped(text: &str) -> Self {
        let mut out = String::with_capacity(text.len());
        escape_into(&mut out, text);
        Self(out)
    }

    /// Renders a template, which escapes what it is given.
    #[must_use]
    pub fn of(template: &impl askama::Template) -> Self {
        Self(template.render().unwrap_or_default())
    }

    /// The words without the markup, for papers and letters.
    #[must_use]
    pub fn plain_text(&self) -> String {
        let mut out = String::with_capacity(self.0.len());
        let mut inside = false;
        for letter in self.0.chars() {
            match letter {
                '<' => inside = true,
                '>' => inside = false,
                letter if !inside => out.push(letter),
                _ => {}
            }
        }
        for (written, meant) in
            [("&lt;", "<"), ("&gt;", ">"), ("&quot;", "\""), ("&#39;", "'"), ("&amp;", "&")]
        {
            out = out.replace(written, meant);
        }
        out
    }

    /// The markup.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// Appends text with the five special characters replaced.
pub(crate) fn escape_into(out: &mut String, text: &str) {
    for c in text.chars() {
        match c {
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            other => {
                let _ = out.write_char(other);
            }
        }
    }
}

impl fmt::Display for Html {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl askama::filters::HtmlSafe for Html {}

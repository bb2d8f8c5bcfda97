//! Templates: text with names in braces that stand for what they are in each letter.

use std::fmt::Write as _;

/// Why a template is refused, in words for whoever wrote it.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub(super) enum TemplateFault {
    /// A name that nothing stands behind.
    #[error("{{{name}}} stands for nothing here. Known are {known}.")]
    Unknown {
        /// What was written.
        name: String,
        /// What could be written.
        known: String,
    },
    /// A brace without its other half.
    #[error(
        "A brace is not closed, after “{after}”. Write a name between two braces, as in {{client}}."
    )]
    Open {
        /// What stands before it.
        after: String,
    },
}

/// Puts what names stand for in their place. Names that stand for nothing are refused, so no
/// letter goes out with a brace in it.
pub(super) fn fill<'a>(
    template: &str,
    known: &[&str],
    value: impl Fn(&str) -> &'a str,
) -> Result<String, TemplateFault> {
    let mut out = String::with_capacity(template.len());
    let mut rest = template;
    while let Some(at) = rest.find(['{', '}']) {
        let (before, from) = rest.split_at(at);
        out.push_str(before);
        let open = || TemplateFault::Open { after: tail(before) };
        let inner = from.strip_prefix('{').ok_or_else(open)?;
        let end = inner.find(['{', '}', '\n']).filter(|end| inner[*end..].starts_with('}'));
        let end = end.ok_or_else(open)?;
        let name = inner[..end].trim();
        if !known.contains(&name) {
            return Err(TemplateFault::Unknown { name: name.to_owned(), known: listed(known) });
        }
        out.push_str(value(name));
        rest = &inner[end + 1..];
    }
    out.push_str(rest);
    Ok(out)
}

/// The last few words before a fault.
fn tail(text: &str) -> String {
    let skipped = text.chars().count().saturating_sub(24);
    text.chars().skip(skipped).collect::<String>().trim().to_owned()
}

fn listed(known: &[&str]) -> String {
    let mut out = String::new();
    for (at, name) in known.iter().enumerate() {
        let gap = if at == 0 { "" } else { ", " };
        let _ = write!(out, "{gap}{{{name}}}");
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filled(template: &str) -> Result<String, TemplateFault> {
        fill(
            template,
            &["client", "order"],
            |name| if name == "client" { "Ada {order}" } else { "1001" },
        )
    }

    #[test]
    fn names_are_filled_in_once() {
        assert_eq!(filled("Dear { client }, {order}."), Ok("Dear Ada {order}, 1001.".to_owned()));
        assert_eq!(filled("no names"), Ok("no names".to_owned()));
    }

    #[test]
    fn unknown_names_and_open_braces_are_refused_with_words() {
        let unknown = filled("Dear {clinet}").map_err(|fault| fault.to_string());
        assert_eq!(
            unknown,
            Err("{clinet} stands for nothing here. Known are {client}, {order}.".to_owned())
        );
        for open in ["Dear {client", "Dear client}", "{", "}", "{cli\nent}", "{{client}}"] {
            assert!(matches!(filled(open), Err(TemplateFault::Open { .. })), "{open}");
        }
    }
}

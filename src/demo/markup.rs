//! Reads the program's own pages: just enough HTML to find a form and what it
//! would send. Not for pages of anybody else.

/// The fields of a form, in their order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Fields(pub(super) Vec<(String, String)>);

impl Fields {
    /// Fields with these values; a name given several times is sent several
    /// times, and takes the place of what the page proposed.
    pub(super) fn with(mut self, fields: &[(&str, &str)]) -> Self {
        self.0.retain(|(name, _)| !fields.iter().any(|(given, _)| given == name));
        self.0.extend(fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())));
        self
    }

    /// What stands in a field; the first of several.
    pub(super) fn value(&self, name: &str) -> Option<&str> {
        self.0.iter().find(|(of, _)| of == name).map(|(_, value)| value.as_str())
    }
}

/// What a button of a page would send under a name.
pub(super) fn offered<'a>(page: &'a str, name: &str) -> Option<&'a str> {
    let (_, after) =
        page.split_once(&format!("<button class=\"button quiet\" name=\"{name}\" value=\""))?;
    after.split('"').next()
}

/// The first form of a page that goes to an address with this ending.
pub(super) fn action_ending(page: &str, ending: &str) -> Option<String> {
    page.split(" action=\"")
        .skip(1)
        .filter_map(|after| after.split('"').next())
        .find(|action| action.ends_with(ending))
        .map(unescape)
}

/// The form of a page that goes to `action`.
pub(super) fn find_form(page: &str, action: &str) -> Option<Fields> {
    let mut rest = page;
    while let Some(at) = rest.find("<form") {
        let form = &rest[at..];
        let end = form.find("</form>").unwrap_or(form.len());
        let (head, _) = form.split_once('>')?;
        if attribute(head, "action").as_deref() == Some(action) {
            return Some(fields(&form[head.len()..end]));
        }
        rest = &form[end.max(5)..];
    }
    None
}

fn fields(form: &str) -> Fields {
    let mut out = Vec::new();
    let mut rest = form;
    while let Some(at) = rest.find('<') {
        let tag = &rest[at + 1..];
        let Some(close) = end_of_tag(tag) else { break };
        let head = &tag[..close];
        let after = &tag[close + 1..];
        let name = attribute(head, "name");
        match (head.split([' ', '\n', '>']).next(), name) {
            (Some("input"), Some(name)) => {
                let kind = attribute(head, "type").unwrap_or_default();
                let ticks = kind == "checkbox" || kind == "radio";
                if kind != "file" && (!ticks || has(head, "checked")) {
                    out.push((name, attribute(head, "value").unwrap_or_default()));
                }
            }
            (Some("textarea"), Some(name)) => {
                let text = after.split("</textarea").next().unwrap_or_default();
                out.push((name, unescape(text)));
            }
            (Some("select"), Some(name)) => {
                let list = after.split("</select").next().unwrap_or_default();
                let options: Vec<&str> = list.split("<option").skip(1).collect();
                let chosen = options
                    .iter()
                    .find(|option| has(option.split('>').next().unwrap_or_default(), "selected"))
                    .or(options.first());
                if let Some(option) = chosen {
                    let head = format!("option{}", option.split('>').next().unwrap_or_default());
                    out.push((name, attribute(&head, "value").unwrap_or_default()));
                }
            }
            _ => {}
        }
        rest = after;
    }
    Fields(out)
}

/// Where a tag ends; a `>` between quotes does not end it.
fn end_of_tag(tag: &str) -> Option<usize> {
    let mut quoted = false;
    for (at, c) in tag.char_indices() {
        match c {
            '"' => quoted = !quoted,
            '>' if !quoted => return Some(at),
            _ => {}
        }
    }
    None
}

fn attribute(head: &str, name: &str) -> Option<String> {
    let mark = format!(" {name}=\"");
    let from = head.find(&mark)? + mark.len();
    let to = head[from..].find('"')?;
    Some(unescape(&head[from..from + to]))
}

fn has(head: &str, word: &str) -> bool {
    head.split([' ', '\n']).any(|part| part == word)
}

fn unescape(text: &str) -> String {
    text.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&#34;", "\"")
        .replace("&#39;", "'")
        .replace("&#60;", "<")
        .replace("&#62;", ">")
        .replace("&#38;", "&")
        .replace("&amp;", "&")
}

/// The words of a page's messages, for saying why a form was turned down.
pub(super) fn text_of(page: &str) -> String {
    let mut messages = Vec::new();
    for mark in ["class=\"error\"", "class=\"lead\"", "class=\"notice\""] {
        let mut rest = page;
        while let Some(at) = rest.find(mark) {
            rest = &rest[at..];
            let text = rest.split_once('>').map_or("", |(_, text)| text);
            messages.push(unescape(text.split('<').next().unwrap_or_default()));
            rest = &rest[mark.len()..];
        }
    }
    messages.retain(|message| !message.trim().is_empty());
    messages.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    const PAGE: &str = r#"<form method="post" action="/a"><input type="hidden" name="once" value="k&amp;1">
        <label>Mass <input type="text" name="mass" value="1.5" class="num"></label>
        <input type="checkbox" name="ticked" value="yes" checked><input type="checkbox" name="open" value="yes">
        <select id="s" name="size"><option value="S">S</option><option value="M" selected>M</option></select>
        <textarea name="note" rows="3">a &lt; b</textarea><button>Go</button></form>
        <form action="/b"><select name="first"><option value="x">X</option></select></form>"#;

    #[test]
    fn a_form_is_read_as_a_browser_would_send_it() {
        let form = find_form(PAGE, "/a").unwrap();
        let expected =
            [("once", "k&1"), ("mass", "1.5"), ("ticked", "yes"), ("size", "M"), ("note", "a < b")];
        assert_eq!(form.0, expected.map(|(name, value)| (name.to_owned(), value.to_owned())));
        assert_eq!(find_form(PAGE, "/b").unwrap().0, [("first".to_owned(), "x".to_owned())]);
        assert_eq!(find_form(PAGE, "/c"), None);
    }

    #[test]
    fn given_fields_take_the_place_of_proposed_ones() {
        let form = find_form(PAGE, "/b").unwrap().with(&[("first", "y"), ("first", "z")]);
        assert_eq!(form.0.len(), 2);
        assert_eq!((form.value("first"), form.value("second")), (Some("y"), None));
    }

    #[test]
    fn buttons_and_actions_are_found_by_what_they_say() {
        let page = r#"<button class="button quiet" name="take" value="2026-12-09" formaction="/p">Take</button>
            <form method="post" action="/f/1/mended"></form><form action="/f/2/mended"></form>"#;
        assert_eq!(offered(page, "take"), Some("2026-12-09"));
        assert_eq!(offered(page, "give"), None);
        assert_eq!(action_ending(page, "/mended").as_deref(), Some("/f/1/mended"));
        assert_eq!(action_ending(page, "/back"), None);
    }
}

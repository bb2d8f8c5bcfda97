//! Fields of a table for spreadsheets.

/// A field in quotes. One that a spreadsheet would take for a formula gets an
/// apostrophe in front, so that a name typed by anybody is never run.
pub(super) fn field(text: &str) -> String {
    let formula =
        text.trim_start().starts_with(['=', '+', '-', '@']) || text.starts_with(['\t', '\r']);
    let guard = if formula { "'" } else { "" };
    format!("\"{guard}{}\"", text.replace('"', "\"\""))
}

#[cfg(test)]
mod tests {
    use super::field;

    #[test]
    fn a_formula_in_a_name_stays_a_name() {
        assert_eq!(field("=1+1"), "\"'=1+1\"");
        assert_eq!(field(" @x"), "\"' @x\"");
        assert_eq!(field("12\" plate"), "\"12\"\" plate\"");
    }
}

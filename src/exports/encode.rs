//! Cells and rows as CSV (RFC 4180) and JSON (RFC 8259).

use super::datasets::{Column, Kind};

/// Appends a cell of a CSV file. A text that a spreadsheet would take for a formula gets an
/// apostrophe before it, so that opening a file runs nothing; figures stay as they are.
pub fn csv_cell(out: &mut String, text: &str, kind: Kind) {
    let formula = kind == Kind::Text && text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']);
    let quoted = formula || text.contains([',', '"', '\r', '\n', ';']) || text.trim() != text;
    if !quoted {
        out.push_str(text);
        return;
    }
    out.push('"');
    if formula {
        out.push('\'');
    }
    for letter in text.chars() {
        if letter == '"' {
            out.push('"');
        }
        out.push(letter);
    }
    out.push('"');
}

/// The head of a CSV file.
pub(super) fn csv_head(out: &mut String, columns: &[Column]) {
    for (n, column) in columns.iter().enumerate() {
        if n > 0 {
            out.push(',');
        }
        out.push_str(column.name);
    }
    out.push_str("\r\n");
}

/// A row of a CSV file; what is not known is an empty cell.
pub(super) fn csv_row(out: &mut String, columns: &[Column], cells: &[Option<&str>]) {
    for (n, (column, cell)) in columns.iter().zip(cells).enumerate() {
        if n > 0 {
            out.push(',');
        }
        csv_cell(out, cell.unwrap_or_default(), column.kind);
    }
    out.push_str("\r\n");
}

/// A row as a JSON object; figures keep every digit that the database has.
pub fn json_row(out: &mut String, columns: &[Column], cells: &[Option<&str>]) {
    out.push('{');
    for (n, (column, cell)) in columns.iter().zip(cells).enumerate() {
        if n > 0 {
            out.push(',');
        }
        json_text(out, column.name);
        out.push(':');
        match (cell, column.kind) {
            (None, _) => out.push_str("null"),
            (Some(cell), Kind::Number | Kind::Flag) if is_plain(cell) => out.push_str(cell),
            (Some(cell), _) => json_text(out, cell),
        }
    }
    out.push('}');
}

/// Whether a cell may stand in JSON without quotes.
fn is_plain(cell: &str) -> bool {
    serde_json::from_str::<serde_json::Value>(cell)
        .is_ok_and(|value| value.is_number() || value.is_boolean())
}

pub(super) fn json_text(out: &mut String, text: &str) {
    match serde_json::to_string(text) {
        Ok(quoted) => out.push_str(&quoted),
        Err(_) => out.push_str("\"\""),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cell(text: &str, kind: Kind) -> String {
        let mut out = String::new();
        csv_cell(&mut out, text, kind);
        out
    }

    #[test]
    fn formulas_in_names_are_neutralised_and_figures_are_not() {
        for evil in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1"] {
            let got = cell(evil, Kind::Text);
            assert!(got.starts_with("\"'"), "{got}");
        }
        assert_eq!(cell("=HYPERLINK(\"x\")", Kind::Text), "\"'=HYPERLINK(\"\"x\"\")\"");
        assert_eq!(cell("-12.50", Kind::Number), "-12.50");
        assert_eq!(cell("plain", Kind::Text), "plain");
        assert_eq!(cell("a,b", Kind::Text), "\"a,b\"");
        assert_eq!(cell("two\nlines", Kind::Text), "\"two\nlines\"");
        assert_eq!(cell(" edge", Kind::Text), "\" edge\"");
    }

    #[test]
    fn figures_keep_their_digits_in_json_and_odd_ones_are_quoted() {
        let columns = [
            Column { name: "a", kind: Kind::Number, sql: "", meaning: "" },
            Column { name: "b", kind: Kind::Number, sql: "", meaning: "" },
            Column { name: "c", kind: Kind::Text, sql: "", meaning: "" },
            Column { name: "d", kind: Kind::Flag, sql: "", meaning: "" },
        ];
        let mut out = String::new();
        json_row(&mut out, &columns, &[Some("1.2300"), Some("NaN"), Some("\"x\"\n"), Some("true")]);
        assert_eq!(out, r#"{"a":1.2300,"b":"NaN","c":"\"x\"\n","d":true}"#);
    }
}

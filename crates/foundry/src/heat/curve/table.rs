//! Text cut into rows and fields.

/// Delimiters in the order in which they are preferred when several would do; a space stands for
/// any run of spaces.
const DELIMITERS: [char; 5] = ['\t', ';', '|', ',', ' '];
/// Lines looked at to find the delimiter.
const LOOKED_AT: usize = 200;

/// A row with the number of its line, counted from 1.
#[derive(Debug, Clone)]
pub(super) struct Row {
    pub(super) line: usize,
    pub(super) fields: Vec<String>,
}

/// Cuts a text into rows of fields; lines without anything are left out.
pub(super) fn rows(text: &str, delimiter: char) -> Vec<Row> {
    lines(text).map(|(line, content)| Row { line, fields: fields(content, delimiter) }).collect()
}

fn lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.trim_start_matches('\u{feff}')
        .lines()
        .enumerate()
        .map(|(index, line)| (index + 1, line))
        .filter(|(_, line)| !line.trim().is_empty())
}

/// The delimiter that cuts the most lines into the same number of fields, more than one.
pub(super) fn find_delimiter(text: &str) -> Option<char> {
    let looked_at: Vec<&str> = lines(text).map(|(_, line)| line).take(LOOKED_AT).collect();
    let mut best: Option<(usize, char)> = None;
    for delimiter in DELIMITERS {
        let mut counts: Vec<usize> =
            looked_at.iter().map(|line| fields(line, delimiter).len()).collect();
        counts.sort_unstable();
        let most_alike = counts
            .chunk_by(|a, b| a == b)
            .filter(|alike| alike[0] > 1)
            .map(<[usize]>::len)
            .max()
            .unwrap_or(0);
        if most_alike > 0 && best.is_none_or(|(alike, _)| most_alike > alike) {
            best = Some((most_alike, delimiter));
        }
    }
    best.map(|(_, delimiter)| delimiter)
}

fn fields(line: &str, delimiter: char) -> Vec<String> {
    let mut fields = Vec::new();
    let mut field = String::new();
    let mut quoted = false;
    let mut letters = line.trim_end_matches(['\r', '\n']).chars().peekable();
    while let Some(letter) = letters.next() {
        if letter == '"' {
            if quoted && letters.peek() == Some(&'"') {
                letters.next();
                field.push('"');
            } else {
                quoted = !quoted;
            }
        } else if letter == delimiter && !quoted {
            if delimiter != ' ' || !field.is_empty() {
                fields.push(field.trim().to_owned());
            }
            field.clear();
        } else {
            field.push(letter);
        }
    }
    if delimiter != ' ' || !field.trim().is_empty() {
        fields.push(field.trim().to_owned());
    }
    fields
}

/// A number as a log writes it, perhaps followed by its unit; `None` when it is not one.
pub(super) fn number(field: &str, decimal_comma: bool) -> Option<f64> {
    let text = field.trim();
    let unit_at = text
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+' | '\u{2212}')))
        .unwrap_or(text.len());
    let (digits, unit) = text.split_at(unit_at);
    let plain_unit = matches!(
        unit.trim().trim_start_matches('°').to_ascii_lowercase().as_str(),
        "" | "c" | "f" | "degc" | "degf" | "deg c" | "deg f" | "min" | "s" | "h" | "%"
    );
    if digits.is_empty() || !plain_unit {
        return None;
    }
    let digits = digits.replace('\u{2212}', "-");
    let (point, thousands) = if decimal_comma { (',', '.') } else { ('.', ',') };
    let whole = digits.split(point).next().unwrap_or_default();
    // A sign that groups thousands leaves three digits behind it; anything else is no number.
    if whole.split(thousands).skip(1).any(|group| group.len() != 3) {
        return None;
    }
    let plain: String = digits.chars().filter(|c| *c != thousands).collect();
    let number: f64 = plain.replace(point, ".").parse().ok()?;
    number.is_finite().then_some(number)
}

/// Whether the fields write decimals with a comma.
pub(super) fn find_decimal_comma(rows: &[Row]) -> bool {
    let (mut commas, mut points) = (0, 0);
    for field in rows.iter().take(LOOKED_AT).flat_map(|row| &row.fields) {
        let numeric =
            field.chars().all(|c| c.is_ascii_digit() || matches!(c, ',' | '.' | '-' | '+'));
        if !numeric {
            continue;
        }
        match (field.rfind(','), field.rfind('.')) {
            // Both: the last of them is the decimal sign, the other groups thousands.
            (Some(comma), Some(point)) if comma > point => commas += 1,
            (Some(_), Some(_)) | (None, Some(_)) => points += 1,
            (Some(_), None) => commas += 1,
            (None, None) => {}
        }
    }
    commas > points
}

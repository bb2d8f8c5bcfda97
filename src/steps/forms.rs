//! What people tell at a step.

use serde_json::{Map, Value, json};

use super::sheets::{Kind, Step};
use crate::web::Form;

/// Reads what was told; `None` after noting at each field what is wrong with it. What was
/// left empty is not recorded.
pub(super) fn read(step: &Step, form: &mut Form) -> Option<Map<String, Value>> {
    let mut told = Map::new();
    for field in step.fields {
        let empty = form.value(field.name).trim().is_empty();
        let value = match field.kind {
            _ if empty && field.needed => {
                form.wrong(field.name, "This is needed.");
                None
            }
            _ if empty => None,
            Kind::Number { least, most, .. } => {
                form.number(field.name, least, most).map(|number| json!(number))
            }
            Kind::OneOf(words) => {
                match words.iter().find(|word| **word == form.value(field.name)) {
                    Some(word) => Some(json!(word)),
                    None => {
                        form.wrong(field.name, "Choose one of these.");
                        None
                    }
                }
            }
            Kind::Tick => Some(json!(true)),
            Kind::Words => Some(json!(form.text(field.name, 500))),
        };
        if let Some(value) = value {
            told.insert(field.name.to_owned(), value);
        }
    }
    form.good().then_some(told)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pieces::Stage;
    use crate::steps::sheets::find;

    #[test]
    fn what_is_left_empty_is_not_told_and_what_is_wrong_is_named() {
        let dried = find(Stage::Cure, "dried").unwrap();
        let mut form = Form::parse(b"by=&minutes=");
        assert_eq!(read(dried, &mut form), Some(Map::new()));
        let mut form = Form::parse(b"by=warm+air&minutes=12%2C5");
        let told = read(dried, &mut form).unwrap();
        assert_eq!(told["by"], "warm air");
        assert_eq!(told["minutes"], 12.5);
        let mut form = Form::parse(b"by=the+sun&minutes=-3");
        assert_eq!(read(dried, &mut form), None);
        assert!(form.error("by").is_some() && form.error("minutes").is_some());
    }

    #[test]
    fn a_needed_figure_is_asked_for() {
        let off = find(Stage::Print, "off").unwrap();
        let mut form = Form::parse(b"hours=");
        assert_eq!(read(off, &mut form), None);
        assert!(form.error("hours").is_some());
    }
}

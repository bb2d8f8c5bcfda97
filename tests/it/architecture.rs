//! The rules of DEVELOPERS.md that can be read off the sources.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// A file of the project, named from its top.
struct Source {
    place: String,
    text: String,
}

impl Source {
    /// The lines of code: without comments and what is said in documentation.
    fn code(&self) -> String {
        self.text
            .lines()
            .filter(|line| !line.trim_start().starts_with("//"))
            .collect::<Vec<_>>()
            .join("\n")
    }

    /// The file's own name.
    fn name(&self) -> &str {
        self.place.rsplit('/').next().unwrap_or_default()
    }
}

fn top() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// All files below a folder with an ending.
fn below(folder: &str, ending: &str) -> Vec<Source> {
    let mut open = vec![top().join(folder)];
    let mut found = Vec::new();
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|have| have == ending) {
                let place = path.strip_prefix(top()).unwrap().to_str().unwrap().to_owned();
                found.push(Source { place, text: fs::read_to_string(&path).unwrap() });
            }
        }
    }
    assert!(!found.is_empty(), "nothing below {folder} ends in {ending}");
    found.sort_by(|a, b| a.place.cmp(&b.place));
    found
}

/// Words that follow each place where something stands in a text.
fn words_after<'t>(text: &'t str, mark: &'t str) -> impl Iterator<Item = &'t str> {
    text.split(mark).skip(1).map(|rest| {
        let end = rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(rest.len());
        &rest[..end]
    })
}

fn none(found: &[String], rule: &str) {
    assert!(found.is_empty(), "{rule}\n{}", found.join("\n"));
}

#[test]
fn a_module_uses_only_those_before_it() {
    let lib = fs::read_to_string(top().join("src/lib.rs")).unwrap();
    let order: Vec<&str> = words_after(&lib, "pub mod ").collect();
    assert!(order.len() > 50, "the modules of lib.rs were not read: {order:?}");
    let at = |name: &str| order.iter().position(|one| *one == name);
    let mut found = Vec::new();
    for source in below("src", "rs") {
        let own = source.place.trim_start_matches("src/").trim_end_matches(".rs");
        let Some(own) = at(own.split('/').next().unwrap_or_default()) else { continue };
        let code = source.code();
        let used: BTreeSet<&str> = words_after(&code, "crate::").collect();
        for name in used {
            if at(name).is_some_and(|other| other > own) {
                found.push(format!(
                    "{} uses {name}, which comes after {}",
                    source.place, order[own]
                ));
            }
        }
    }
    none(&found, "The modules stand in reading order in src/lib.rs.");
}

#[test]
fn sql_stands_where_it_is_looked_for() {
    let without = ["actions.rs", "forms.rs", "model.rs", "paths.rs"];
    let found: Vec<String> = below("src", "rs")
        .into_iter()
        .filter(|one| without.contains(&one.name()) || one.place.contains("/pages/"))
        .filter(|one| one.code().contains("sqlx::query"))
        .map(|one| one.place)
        .collect();
    none(&found, "SQL belongs to what stores or views; these decide, read forms, or answer.");
}

#[test]
fn what_acts_never_commits() {
    let without = ["actions.rs", "forms.rs", "model.rs", "view.rs"];
    let found: Vec<String> = below("src", "rs")
        .into_iter()
        .filter(|one| without.contains(&one.name()))
        .filter(|one| {
            let code = one.code();
            code.contains(".begin()") || code.contains("once::begin") || code.contains(".commit(")
        })
        .map(|one| one.place)
        .collect();
    none(&found, "Only handlers and workers begin and commit transactions.");
}

#[test]
fn the_calculations_know_no_web_no_database_no_clock_no_files() {
    let unknown = [
        "std::fs",
        "std::env",
        "std::net",
        "std::process",
        "std::time",
        "println!",
        "tokio",
        "sqlx",
        "axum",
        "askama",
        "serde",
    ];
    let mut found = Vec::new();
    for source in below("crates/foundry/src", "rs") {
        let code = source.code();
        for word in unknown.iter().filter(|word| code.contains(**word)) {
            found.push(format!("{} knows {word}", source.place));
        }
    }
    none(&found, "foundry asks for all it needs.");
}

/// `src/clients/ designs/ orders/` names three folders of `src/`.
#[test]
fn what_the_map_names_is_there() {
    let map = fs::read_to_string(top().join("DEVELOPERS.md")).unwrap();
    let (mut found, mut seen) = (Vec::new(), 0);
    for quoted in map.split('`').skip(1).step_by(2) {
        let mut folder = PathBuf::new();
        for (n, word) in quoted.split_whitespace().enumerate() {
            let place = if n == 0 { PathBuf::from(word) } else { folder.join(word) };
            let begins = ["src/", "crates/", "templates/", "static/", "tests/", "migrations/"];
            if n == 0 && !begins.iter().any(|one| word.starts_with(one)) {
                break;
            }
            if n == 0 {
                folder = place.parent().unwrap().to_path_buf();
            }
            seen += 1;
            if !top().join(&place).exists() {
                found.push(format!("{} is not there", place.display()));
            }
        }
    }
    assert!(seen > 40, "the map was not read: {seen} places");
    none(&found, "DEVELOPERS.md shows the way to what is there.");
}

#[test]
fn every_template_is_used() {
    let (templates, sources) = (below("templates", "html"), below("src", "rs"));
    let mut texts: Vec<&str> = templates.iter().map(|one| one.text.as_str()).collect();
    texts.extend(sources.iter().map(|one| one.text.as_str()));
    let found: Vec<String> = templates
        .iter()
        .map(|one| one.place.trim_start_matches("templates/"))
        .filter(|place| {
            let quoted = format!("\"{place}\"");
            !texts.iter().any(|text| text.contains(&quoted))
        })
        .map(str::to_owned)
        .collect();
    none(&found, "A template that nothing shows is dead.");
}

/// The policy of `src/web/headers.rs` would keep a browser from them.
#[test]
fn templates_hold_no_scripts_and_no_styles() {
    let mut found = Vec::new();
    for template in below("templates", "html") {
        for (n, line) in template.text.lines().enumerate() {
            let script = line.contains("<script") && !line.contains("src=");
            if script || line.contains(" style=\"") || line.contains(" onclick=") {
                found.push(format!("{}:{}: {}", template.place, n + 1, line.trim()));
            }
        }
    }
    none(&found, "Scripts and styles stand in static/.");
}

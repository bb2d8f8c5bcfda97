//! The statement of a client's metal on paper, to be signed by both.

use axum::extract::{Path, Query, State};
use axum::response::Response;

use super::client::Wanted;
use crate::id::ClientId;
use crate::metal::statement::{self, OfAlloy, Span};
use crate::paper::{self, Block, Column, Paper, Size, Table};
use crate::people::Signed;
use crate::web::{App, Fault, Form, Show};

pub(crate) async fn pdf(
    State(app): State<App>,
    signed: Signed,
    Path(id): Path<ClientId>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Fault> {
    let show = &signed.frame.show;
    let name = statement::name_of(&app.pool, id).await?;
    let mut form = Form::filled([("from", wanted.from), ("until", wanted.until)]);
    let from = form.day_or_none("from");
    let until = form.day_or_none("until").unwrap_or_else(|| show.now.day_in(&show.zone));
    let span = Span {
        from: from.map(|day| day.start_in(&show.zone)),
        before: Some(until.plus_days(1).start_in(&show.zone)),
    };
    let statements = statement::statement(&app.pool, id, span).await?;
    let time = match from {
        Some(from) => format!("{} to {}", show.day_text(from), show.day_text(until)),
        None => format!("up to {}", show.day_text(until)),
    };
    let size = paper::size_of(&app.pool).await?;
    let paper = of(&name, time, &statements, show, size, &signed.frame.studio);
    let bytes = paper::pdf(&paper).map_err(|fault| Fault::Unforeseen(fault.into()))?;
    Ok(paper::answer("metal-statement.pdf", bytes))
}

fn of(
    name: &str,
    time: String,
    statements: &[OfAlloy],
    show: &Show,
    size: Size,
    studio: &str,
) -> Paper {
    let mass = |cg: i64| show.centigrams(cg).plain_text();
    let moved = |cg: i64| if cg == 0 { String::new() } else { mass(cg) };
    let mut blocks = vec![
        Block::Parties { left: vec![studio.to_owned()], right: vec![name.to_owned()] },
        Block::Facts(vec![("Time".to_owned(), time)]),
    ];
    if statements.is_empty() {
        blocks.push(Block::Text(format!("No metal of {name} is or was here.")));
    }
    for of in statements {
        blocks.push(Block::Heading(of.alloy.clone()));
        let mut rows = Vec::new();
        if of.opening != 0 {
            let before = "Still with us before";
            rows.push(vec![
                String::new(),
                before.to_owned(),
                String::new(),
                String::new(),
                mass(of.opening),
            ]);
        }
        rows.extend(of.rows.iter().map(|row| {
            let words = match row.note.as_str() {
                "" => row.words(),
                note => format!("{}: {note}", row.words()),
            };
            vec![
                show.moment_text(row.at),
                words,
                moved(row.owed),
                moved(row.drawer),
                mass(row.after),
            ]
        }));
        let columns = vec![
            Column::words("When", 1.3),
            Column::words("What", 2.6),
            Column::figures("Owed", 1.0),
            Column::figures("Drawer", 1.0),
            Column::figures("Still with us", 1.1),
        ];
        blocks.push(Block::Table(Table { columns, rows }));
        blocks.push(Block::Sums(vec![
            ("Brought".to_owned(), mass(of.brought)),
            ("Given back as metal".to_owned(), mass(of.back)),
            ("Handed over in pieces".to_owned(), mass(of.pieces)),
            ("Settled by agreement".to_owned(), mass(of.settled)),
            ("In the drawer".to_owned(), mass(of.drawer)),
            ("In work, or lost in making".to_owned(), mass(of.in_work())),
            ("Still with us".to_owned(), mass(of.owed)),
        ]));
    }
    blocks.push(Block::Small(
        "Weighed to the centigram. “Owed” is what the studio owes the client; “drawer” is what lies apart for them.".to_owned(),
    ));
    Paper { size, studio: studio.to_owned(), title: format!("Metal of {name}"), blocks }
}

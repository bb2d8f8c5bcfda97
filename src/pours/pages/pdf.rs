//! The pour sheet as PDF, in the design of the studio's papers.

use axum::extract::State;
use axum::response::Response;

use crate::kiln_loads::Setting;
use crate::metal;
use crate::paper::{self, Block, Column, Paper, Table};
use crate::people::Signed;
use crate::pours::view;
use crate::web::{App, Fault};

pub(crate) async fn show(State(app): State<App>, signed: Signed) -> Result<Response, Fault> {
    let flasks = view::sheet(&app.pool).await?;
    let alloys: Vec<_> = flasks.iter().map(|flask| flask.alloy_id).collect();
    let fumes = metal::fumes(&app.pool, &alloys).await?;
    let show = &signed.frame.show;
    let columns = vec![
        Column::words("Flask", 0.8),
        Column::words("Alloy", 2.2),
        Column::figures("Charge", 1.4),
        Column::figures("Melt", 1.0),
        Column::figures("Flask", 1.0),
        Column::figures("Time", 1.6),
    ];
    let rows = flasks
        .iter()
        .map(|flask| {
            vec![
                flask.number.to_string(),
                flask.alloy.clone(),
                flask.charge_g.map_or("?".to_owned(), |g| show.grams(g).plain_text()),
                show.celsius(flask.melt_c).plain_text(),
                show.celsius(flask.flask_c).plain_text(),
                show.moment(flask.planned_pour_at),
            ]
        })
        .collect();
    // Below the board, where there is room for words.
    let mut between = Vec::new();
    for (flask, set) in flasks.iter().zip(view::between(&flasks)) {
        let mut told = |when: &str, set: Option<Setting>| {
            let told = |set: Setting| {
                let (number, kiln) = (flask.number, &flask.kiln);
                format!("{when} flask {number}, {kiln}: {}.", set.words(show))
            };
            between.extend(set.map(told));
        };
        told("Before", set.before);
        told("After", set.after);
    }
    let caution = "Molten metal: face shield, heat-proof gloves and apron, closed leather shoes, nothing damp near the melt; water under metal explodes. Never alone. Common practice, no source; after the makers' data sheets and local rules.";
    let mut blocks = vec![Block::Caution(caution.to_owned())];
    blocks.extend(
        fumes.iter().map(|(fume, alloys)| {
            Block::Caution(format!("{}: {alloys}. {}", fume.head, fume.words))
        }),
    );
    blocks.push(Block::Board(Table { columns, rows }));
    if !between.is_empty() {
        blocks.push(Block::Text(between.join("\n")));
    }
    let paper = Paper {
        size: paper::size_of(&app.pool).await?,
        studio: signed.frame.studio.clone(),
        title: format!("Pour sheet, {}", show.day_text(show.now.day_in(&show.zone))),
        blocks,
    };
    let bytes = paper::pdf(&paper).map_err(|fault| Fault::Unforeseen(fault.into()))?;
    Ok(paper::answer("pour-sheet.pdf", bytes))
}

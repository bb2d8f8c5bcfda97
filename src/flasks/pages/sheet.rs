//! The flask sheet: one page that goes with the flask, printed in black.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, State};
use axum::response::Response;

use crate::flasks::map::TreeMap;
use crate::flasks::view::{self, FlaskRow, TreeRow};
use crate::paper::{self, Block, Column, Paper, Table};
use crate::people::Signed;
use crate::web::{App, Fault, Frame};

#[derive(Template, WebTemplate)]
#[template(path = "flasks/sheet.html")]
pub(crate) struct FlaskSheet {
    frame: Frame,
    flask: FlaskRow,
    pieces: Vec<TreeRow>,
    map: Option<TreeMap>,
    by_hand: Vec<String>,
}

pub(crate) async fn show(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
) -> Result<FlaskSheet, Fault> {
    let flask = view::load(&app.pool, number).await?;
    let pieces = view::tree(&app.pool, flask.id).await?;
    let (map, by_hand) = super::show::drawn(&flask, &pieces);
    Ok(FlaskSheet { frame: signed.frame, flask, pieces, map, by_hand })
}

/// The same as PDF, in the design of the studio's papers.
pub(crate) async fn pdf(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
) -> Result<Response, Fault> {
    let flask = view::load(&app.pool, number).await?;
    let pieces = view::tree(&app.pool, flask.id).await?;
    let show = &signed.frame.show;
    let charge = flask.charge_g.map_or("not weighed".to_owned(), |g| show.grams(g).plain_text());
    let mut facts = vec![
        ("Alloy", flask.alloy.clone()),
        ("Melt at", show.celsius(flask.melt_c).plain_text()),
        ("Flask at", show.celsius(flask.flask_c).plain_text()),
        ("Flask", format!("{}, {} × {} mm", flask.flask_type, flask.diameter_mm, flask.height_mm)),
        ("Programme", format!("{}, class {}", flask.family, flask.size_class)),
    ];
    if let (Some(powder), Some(water)) = (flask.powder_g, flask.water_g) {
        let mix = format!(
            "{}: {} powder, {} water",
            flask.investment,
            show.bulk_grams(powder).plain_text(),
            show.bulk_grams(water).plain_text()
        );
        facts.push(("Investment", mix));
    }
    if let Some(at) = flask.set_from_at {
        facts.push(("Fire from", show.moment(at)));
    }
    if let Some(at) = flask.latest_start_at {
        facts.push(("Fire by", show.moment(at)));
    }
    let columns = vec![
        Column::words("Piece", 1.0),
        Column::words("Design", 2.2),
        Column::words("Client", 1.8),
        Column::figures("Tier", 0.6),
        Column::figures("Place", 0.6),
        Column::figures("Sprues", 1.2),
    ];
    let rows = pieces
        .iter()
        .map(|piece| {
            vec![
                piece.label.clone(),
                piece.design.clone(),
                piece.client.clone(),
                piece.tier.to_string(),
                piece.place.to_string(),
                format!("{} × {}", piece.sprues, show.mm(piece.sprue_diameter_mm).plain_text()),
            ]
        })
        .collect();
    let facts = facts.into_iter().map(|(name, fact)| (name.to_owned(), fact)).collect();
    let paper = Paper {
        size: paper::size_of(&app.pool).await?,
        studio: signed.frame.studio.clone(),
        title: format!("Flask {}", flask.number),
        blocks: vec![
            Block::Large("Charge".to_owned(), charge),
            Block::Facts(facts),
            Block::Table(Table { columns, rows }),
        ],
    };
    let bytes = paper::pdf(&paper).map_err(|fault| Fault::Unforeseen(fault.into()))?;
    Ok(paper::answer(&format!("flask-{}.pdf", flask.number), bytes))
}

//! Pieces on and off the tree, and where they sit.

use axum::extract::{Path, State};
use axum::response::Response;

use super::steps::{step, unread};
use crate::flasks::actions::{self, Place};
use crate::flasks::arrange::TreeWish;
use crate::flasks::forms::chosen_pieces;
use crate::people::Signed;
use crate::web::{App, Fault, Form};

pub(crate) async fn add(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let pieces = chosen_pieces(&mut form);
    if !form.good() {
        return unread(&app, &signed, number, form).await;
    }
    step(&app, &signed, number, form, async |conn, seen| {
        actions::add_pieces(conn, &signed, number, seen, &pieces).await
    })
    .await
}

pub(crate) async fn take_off(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(piece) = form.choice("piece") else {
        return unread(&app, &signed, number, form).await;
    };
    step(&app, &signed, number, form, async |conn, seen| {
        actions::take_off(conn, &signed, number, seen, piece).await
    })
    .await
}

/// One form places the whole tree: fields are named after the attempts.
pub(crate) async fn place(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let attempts: Vec<String> = form.all("attempt").map(str::to_owned).collect();
    let mut places = Vec::with_capacity(attempts.len());
    for id in attempts {
        let Ok(attempt) = id.parse() else { continue };
        let tier = form.whole(&format!("tier-{id}"), 1, 50);
        let place = form.whole(&format!("place-{id}"), 1, 200);
        let sprues = form.whole(&format!("sprues-{id}"), 1, 20);
        let diameter = form.number(&format!("sprue-{id}"), 0.5, 30.0);
        if let (Some(tier), Some(place), Some(sprues), Some(sprue_diameter_mm)) =
            (tier, place, sprues, diameter)
        {
            let narrow = |n: i64| i32::try_from(n).unwrap_or(1);
            places.push(Place {
                attempt,
                tier: narrow(tier),
                place: narrow(place),
                sprues: narrow(sprues),
                sprue_diameter_mm,
            });
        }
    }
    if !form.good() {
        form.wrong("", "One of the places on the tree is not a number that makes sense; tiers and places count from 1.");
        return unread(&app, &signed, number, form).await;
    }
    step(&app, &signed, number, form, async |conn, _| actions::place(conn, number, &places).await)
        .await
}

/// Arranges the tree of the flask.
pub(crate) async fn arrange(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let Some(wish) = TreeWish::read(&mut form) else {
        return unread(&app, &signed, number, form).await;
    };
    step(&app, &signed, number, form, async |conn, seen| {
        actions::arrange(&app.pool, conn, number, Some(seen), &wish).await
    })
    .await
}

/// Moves a piece to another flask.
pub(crate) async fn move_piece(
    State(app): State<App>,
    signed: Signed,
    Path(number): Path<i32>,
    mut form: Form,
) -> Result<Response, Fault> {
    let piece = form.choice("piece");
    let to = form.choice("to");
    let (Some(piece), Some(to)) = (piece, to) else {
        form.wrong("", "Choose the flask the piece is to move to.");
        return unread(&app, &signed, number, form).await;
    };
    step(&app, &signed, number, form, async |conn, seen| {
        actions::move_piece(conn, &signed, number, seen, piece, to).await
    })
    .await
}

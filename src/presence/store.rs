//! All SQL that writes hours of people and their days away.

use sqlx::PgConnection;

use super::forms::AwayForm;
use crate::clock::{Day, Moment};
use crate::id::{AbsenceId, PersonId};
use crate::settings::WeekHours;

/// The name of somebody who works here, held until the commit.
pub(super) async fn lock_person(
    conn: &mut PgConnection,
    person: PersonId,
) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar("SELECT name FROM people WHERE id = $1 AND left_at IS NULL FOR UPDATE")
        .bind(person)
        .fetch_optional(conn)
        .await
}

pub(super) async fn insert_absence(
    conn: &mut PgConnection,
    person: PersonId,
    away: AwayForm,
    by: PersonId,
    now: Moment,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "INSERT INTO absences (id, person_id, kind, from_on, to_on, noted_by, noted_at) VALUES ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(AbsenceId::new())
    .bind(person)
    .bind(away.kind)
    .bind(away.from)
    .bind(away.to)
    .bind(by)
    .bind(now)
    .execute(conn)
    .await?;
    Ok(())
}

/// Ends an absence before a day: what lies before that day stays. Whose it was.
pub(super) async fn end_absence(
    conn: &mut PgConnection,
    absence: AbsenceId,
    from: Day,
) -> Result<Option<PersonId>, sqlx::Error> {
    let shortened = sqlx::query_scalar(
        "UPDATE absences SET to_on = $2::date - 1 WHERE id = $1 AND from_on < $2 AND to_on >= $2 RETURNING person_id",
    )
    .bind(absence)
    .bind(from)
    .fetch_optional(&mut *conn)
    .await?;
    if shortened.is_some() {
        return Ok(shortened);
    }
    sqlx::query_scalar("DELETE FROM absences WHERE id = $1 AND from_on >= $2 RETURNING person_id")
        .bind(absence)
        .bind(from)
        .fetch_optional(conn)
        .await
}

/// Puts somebody's hours in place of those before, none for the studio's; says whether nobody
/// else did since.
pub(super) async fn set_hours(
    conn: &mut PgConnection,
    person: PersonId,
    hours: Option<&WeekHours>,
    pours: bool,
    seen: i64,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query(
        "UPDATE people SET pours = $2, hours_version = hours_version + 1 WHERE id = $1 AND hours_version = $3 AND left_at IS NULL",
    )
    .bind(person)
    .bind(pours)
    .bind(seen)
    .execute(&mut *conn)
    .await?;
    if done.rows_affected() == 0 {
        return Ok(false);
    }
    sqlx::query("DELETE FROM person_hours WHERE person_id = $1")
        .bind(person)
        .execute(&mut *conn)
        .await?;
    for (weekday, stretches) in (1_i16..).zip(hours.into_iter().flatten()) {
        for (from, to) in stretches {
            sqlx::query(
                "INSERT INTO person_hours (person_id, weekday, from_min, to_min) VALUES ($1, $2, $3, $4)",
            )
            .bind(person)
            .bind(weekday)
            .bind(from)
            .bind(to)
            .execute(&mut *conn)
            .await?;
        }
    }
    Ok(true)
}

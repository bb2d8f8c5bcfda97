//! Which lots metal is taken from: fresh metal by the lot it was bought in, returns by the flask
//! they were cut off from. The oldest first, unless somebody says otherwise.

use sqlx::{FromRow, PgConnection, PgExecutor};

use super::model::in_grams;
use crate::clock::Day;
use crate::id::{AlloyId, MetalBatchId, MetalLotId, PourId};
use crate::web::{Fault, Refused};

/// A lot of fresh metal with what is left of it.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct LotLeft {
    /// Which.
    pub id: MetalLotId,
    /// Its number, as on the packet.
    pub lot: String,
    /// When it came.
    pub bought_on: Day,
    /// What no melt has taken yet, in centigrams.
    pub left_cg: i64,
}

/// Returns of a flask with what is left of them.
#[derive(Clone, Debug, PartialEq, Eq, FromRow)]
pub struct ReturnsLeft {
    /// The pour they were cut off from.
    pub pour_id: PourId,
    /// The number of its flask.
    pub flask: i32,
    /// What no melt has taken yet, in centigrams.
    pub left_cg: i64,
}

/// What somebody said about the lots of a melt.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Chosen {
    /// Fresh metal by lot; the oldest first when empty.
    pub fresh: Vec<(MetalLotId, i64)>,
    /// Returns by the pour they came from; the oldest first when empty.
    pub returns: Vec<(PourId, i64)>,
}

/// Lots of an alloy of which something is left, the oldest first.
pub async fn lots_left(
    db: impl PgExecutor<'_>,
    alloy: AlloyId,
) -> Result<Vec<LotLeft>, sqlx::Error> {
    sqlx::query_as(
        "SELECT id, lot, bought_on, left_cg FROM metal_lots_left WHERE alloy_id = $1 AND left_cg > 0
         ORDER BY bought_on, lot, id",
    )
    .bind(alloy)
    .fetch_all(db)
    .await
}

/// Returns of an alloy of which something is left, the oldest first.
pub async fn returns_left(
    db: impl PgExecutor<'_>,
    alloy: AlloyId,
) -> Result<Vec<ReturnsLeft>, sqlx::Error> {
    sqlx::query_as(
        "SELECT r.pour_id, f.number AS flask, r.left_cg FROM metal_returns_left r
         JOIN pours p ON p.id = r.pour_id JOIN flasks f ON f.id = p.flask_id
         WHERE r.alloy_id = $1 AND r.left_cg > 0 ORDER BY p.poured_at, f.number",
    )
    .bind(alloy)
    .fetch_all(db)
    .await
}

/// Takes so much from what is left, in the order given; what is not there is of no known lot.
fn in_order<I: Copy>(left: impl IntoIterator<Item = (I, i64)>, cg: i64) -> Vec<(I, i64)> {
    let mut wanted = cg;
    let mut taken = Vec::new();
    for (id, left) in left {
        let part = left.min(wanted);
        if part > 0 {
            taken.push((id, part));
            wanted -= part;
        }
    }
    taken
}

/// Notes which lots the fresh metal of an entry was of. The caller has posted the entry, so
/// that two who take from the same alloy take turns.
pub async fn take_fresh(
    conn: &mut PgConnection,
    batch: MetalBatchId,
    alloy: AlloyId,
    cg: i64,
    chosen: &[(MetalLotId, i64)],
) -> Result<(), Fault> {
    if cg <= 0 {
        return Ok(());
    }
    let left = lots_left(&mut *conn, alloy).await?;
    let taken = if chosen.is_empty() {
        in_order(left.iter().map(|lot| (lot.id, lot.left_cg)), cg)
    } else {
        for (id, wanted) in chosen {
            let lot = left.iter().find(|lot| lot.id == *id);
            let have = lot.map_or(0, |lot| lot.left_cg);
            if *wanted > have {
                let name = lot.map_or("this lot", |lot| lot.lot.as_str());
                return Err(too_much(&format!("Of lot {name}"), have, *wanted));
            }
        }
        chosen.to_vec()
    };
    for (lot, cg) in taken {
        sqlx::query("INSERT INTO metal_batch_lots (batch_id, lot_id, cg) VALUES ($1, $2, $3)")
            .bind(batch)
            .bind(lot)
            .bind(cg)
            .execute(&mut *conn)
            .await?;
    }
    Ok(())
}

/// Notes which flasks the returns of an entry were cut off from.
pub async fn take_returns(
    conn: &mut PgConnection,
    batch: MetalBatchId,
    alloy: AlloyId,
    cg: i64,
    chosen: &[(PourId, i64)],
) -> Result<(), Fault> {
    if cg <= 0 {
        return Ok(());
    }
    let left = returns_left(&mut *conn, alloy).await?;
    let taken = if chosen.is_empty() {
        in_order(left.iter().map(|of| (of.pour_id, of.left_cg)), cg)
    } else {
        for (id, wanted) in chosen {
            let of = left.iter().find(|of| of.pour_id == *id);
            let have = of.map_or(0, |of| of.left_cg);
            if *wanted > have {
                let name = of.map_or("this flask".to_owned(), |of| format!("flask {}", of.flask));
                return Err(too_much(&format!("Of the returns of {name}"), have, *wanted));
            }
        }
        chosen.to_vec()
    };
    for (pour, cg) in taken {
        sqlx::query("INSERT INTO metal_batch_returns (batch_id, pour_id, cg) VALUES ($1, $2, $3)")
            .bind(batch)
            .bind(pour)
            .bind(cg)
            .execute(&mut *conn)
            .await?;
    }
    Ok(())
}

fn too_much(of: &str, have: i64, wanted: i64) -> Fault {
    Refused::conflict(format!(
        "{of} {} g are left, and {} g were to be taken. Nothing was posted. Say how much is of which lot, or leave them empty: then the oldest come first.",
        in_grams(have),
        in_grams(wanted)
    ))
    .into()
}

/// Metal that came into stock otherwise than bought is a lot too, so that it can be followed.
/// It is named after where it came from and its day; of several of one name each has a number.
pub(super) async fn make(
    conn: &mut PgConnection,
    alloy: AlloyId,
    (origin, name): (&'static str, &str),
    cg: i64,
    day: Day,
) -> Result<MetalLotId, sqlx::Error> {
    sqlx::query_scalar(
        "INSERT INTO metal_lots (id, alloy_id, lot, bought_cg, bought_on, origin)
         SELECT $1, $2, $3::text || CASE WHEN n = 0 THEN '' ELSE ' (' || n + 1 || ')' END, $4, $5, $6
           FROM (SELECT count(*) AS n FROM metal_lots
                  WHERE alloy_id = $2 AND (lot = $3 OR lot LIKE $3 || ' (%)')) known
         RETURNING id",
    )
    .bind(MetalLotId::new())
    .bind(alloy)
    .bind(name)
    .bind(cg)
    .bind(day)
    .bind(origin)
    .fetch_one(conn)
    .await
}

#[cfg(test)]
mod tests {
    use super::in_order;

    #[test]
    fn the_oldest_go_first_and_what_is_missing_is_of_no_lot() {
        assert_eq!(in_order([(1, 30), (2, 20), (3, 9)], 40), [(1, 30), (2, 10)]);
        assert_eq!(in_order([(1, 30), (2, 20)], 60), [(1, 30), (2, 20)]);
        assert_eq!(in_order([(1, 0), (2, 20)], 5), [(2, 5)]);
        assert_eq!(in_order([(1, 5)], 0), []);
    }
}

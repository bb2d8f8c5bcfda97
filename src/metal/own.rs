//! Clients' own metal: received, given back, settled, and kept apart while it is worked.

use rust_decimal::Decimal;
use sqlx::{FromRow, PgConnection, PgExecutor};

use super::forms::{OwnForm, SettleForm};
use super::ledger::{self, Entry};
use super::lots;
use super::model::{Account, Kind, MetalRefusal, Move, in_grams};
use crate::id::{AlloyId, ClientId, FlaskId, MetalBatchId, PieceId};
use crate::people::Signed;
use crate::web::{Fault, Refused};

/// A client brought metal: it lies in a drawer of its own, and is owed to them.
pub(super) async fn receive(
    conn: &mut PgConnection,
    signed: &Signed,
    client: ClientId,
    form: &OwnForm,
) -> Result<MetalBatchId, Fault> {
    known(conn, client).await?;
    let moves = [Move::new(Account::Client(client), Account::Own(client), form.cg)];
    post(conn, signed, Kind::Received, client, (form.alloy, &form.note), &moves).await
}

/// A client takes metal out of their drawer.
pub(super) async fn give_back(
    conn: &mut PgConnection,
    signed: &Signed,
    client: ClientId,
    form: &OwnForm,
) -> Result<MetalBatchId, Fault> {
    let moves = [Move::new(Account::Own(client), Account::Client(client), form.cg)];
    post(conn, signed, Kind::Returned, client, (form.alloy, &form.note), &moves).await
}

/// What studio and client agreed upon: a loss that the client bears, or metal from their
/// drawer that the studio keeps. Never more than is owed to them.
pub(super) async fn settle(
    conn: &mut PgConnection,
    signed: &Signed,
    client: ClientId,
    form: &SettleForm,
) -> Result<MetalBatchId, Fault> {
    ledger::lock(conn, form.alloy).await?;
    let owed = -ledger::held(&mut *conn, form.alloy, Account::Client(client)).await?;
    let drawer = ledger::held(&mut *conn, form.alloy, Account::Own(client)).await?;
    let open = if form.kept { owed } else { owed - drawer };
    if form.cg > open {
        let what =
            if form.kept { "is owed to them" } else { "is owed to them beyond their drawer" };
        return Err(Refused::conflict(format!(
            "Only {} g of it {what}, and {} g were to be settled. Nothing was posted.",
            in_grams(open.max(0)),
            in_grams(form.cg)
        ))
        .at("settle_grams")
        .into());
    }
    let mut moves = vec![Move::new(Account::Settled, Account::Client(client), form.cg)];
    let subject = format!("client:{client}");
    let (now, person) = (signed.now, Some(signed.person));
    let mut entry = Entry { note: &form.note, ..Entry::new(Kind::Settled, now, person, &subject) };
    if form.kept {
        moves.push(Move::new(Account::Own(client), Account::Fresh, form.cg));
        let today = signed.now.day_in(&signed.frame.show.zone);
        let name = format!("kept {today}");
        let lot = lots::make(conn, form.alloy, ("kept", &name), form.cg, today).await?;
        entry.lot = Some(lot);
    }
    ledger::post(conn, &entry, form.alloy, &moves).await
}

async fn post(
    conn: &mut PgConnection,
    signed: &Signed,
    kind: Kind,
    client: ClientId,
    (alloy, note): (AlloyId, &str),
    moves: &[Move],
) -> Result<MetalBatchId, Fault> {
    let subject = format!("client:{client}");
    let entry = Entry { note, ..Entry::new(kind, signed.now, Some(signed.person), &subject) };
    ledger::post(conn, &entry, alloy, moves).await
}

async fn known(conn: &mut PgConnection, client: ClientId) -> Result<(), Fault> {
    let there: bool = sqlx::query_scalar(
        "SELECT EXISTS (SELECT 1 FROM clients WHERE id = $1 AND archived_at IS NULL)",
    )
    .bind(client)
    .fetch_one(conn)
    .await?;
    if there {
        return Ok(());
    }
    Err(Refused::conflict("This client is no longer in use; bring them back first.").into())
}

/// A client's drawer of an alloy.
#[derive(Clone, Debug, FromRow)]
pub struct Drawer {
    /// Whose.
    pub client_id: ClientId,
    /// Their name.
    pub client: String,
    /// What is in it.
    pub cg: i64,
}

/// Drawers of an alloy that are not empty, by client.
pub async fn drawers(db: impl PgExecutor<'_>, alloy: AlloyId) -> Result<Vec<Drawer>, sqlx::Error> {
    sqlx::query_as(
        "SELECT c.id AS client_id, c.name AS client, b.cg FROM metal_accounts a
         JOIN metal_balances b ON b.account_id = a.id JOIN clients c ON c.id = a.client_id
         WHERE a.alloy_id = $1 AND a.kind = 'own' AND b.cg > 0 ORDER BY lower(c.name), c.id",
    )
    .bind(alloy)
    .fetch_all(db)
    .await
}

/// Metal owed to a client or lying in their drawer, in words; none when all is settled.
pub async fn open_with(
    db: impl PgExecutor<'_>,
    client: ClientId,
) -> Result<Option<String>, sqlx::Error> {
    let open: Vec<(String, i64)> = sqlx::query_as(
        "SELECT l.name, sum(CASE a.kind WHEN 'client' THEN -b.cg ELSE 0 END)::bigint AS owed
         FROM metal_accounts a JOIN metal_balances b ON b.account_id = a.id JOIN alloys l ON l.id = a.alloy_id
         WHERE a.client_id = $1 AND b.cg <> 0 GROUP BY l.id, l.name ORDER BY lower(l.name)",
    )
    .bind(client)
    .fetch_all(db)
    .await?;
    if open.is_empty() {
        return Ok(None);
    }
    let words: Vec<_> =
        open.iter().map(|(alloy, cg)| format!("{} g of {alloy}", in_grams(*cg))).collect();
    Ok(Some(words.join(", ")))
}

/// How a flask was charged.
#[derive(Clone, Copy, Debug, FromRow)]
struct Charged {
    charged: i64,
    own: i64,
    client: Option<ClientId>,
}

/// Splits what comes out of a flask between the owner of the metal and the studio, by their
/// shares of the charge, to the centigram; the half goes to the client.
const fn of_share(cg: i64, own: i64, charged: i64) -> i64 {
    if charged <= 0 { 0 } else { (2 * cg * own + charged) / (2 * charged) }
}

/// Where the sprues and button of a flask go: into the drawer of whoever's metal was charged,
/// by its share of the charge, the rest to the studio's returns.
pub async fn returns_of(
    conn: &mut PgConnection,
    flask: FlaskId,
    cg: i64,
) -> Result<Vec<Move>, sqlx::Error> {
    let charged: Charged = sqlx::query_as(
        "SELECT fresh_cg + returns_cg + own_cg AS charged, own_cg AS own, own_client_id AS client
         FROM pours WHERE flask_id = $1",
    )
    .bind(flask)
    .fetch_one(conn)
    .await?;
    let Some(client) = charged.client else {
        return Ok(vec![Move::new(Account::Cast, Account::Returns, cg)]);
    };
    let own = of_share(cg, charged.own, charged.charged);
    Ok(vec![
        Move::new(Account::Cast, Account::Own(client), own),
        Move::new(Account::Cast, Account::Returns, cg - own),
    ])
}

/// The client whose metal a piece was cast from, and how much of its mass is theirs: the
/// share of the last pour it came from, if the piece is made for that client.
pub async fn owner_of(
    conn: &mut PgConnection,
    piece: PieceId,
    cg: i64,
) -> Result<Option<(ClientId, i64)>, sqlx::Error> {
    let charged: Option<Charged> = sqlx::query_as(
        "SELECT p.fresh_cg + p.returns_cg + p.own_cg AS charged, p.own_cg AS own, p.own_client_id AS client
         FROM pieces x JOIN orders o ON o.id = x.order_id
         JOIN attempts t ON t.piece_id = x.id AND t.n = x.attempt_n AND t.outcome IS DISTINCT FROM 'cancelled'
         JOIN flask_pieces fp ON fp.attempt_id = t.id JOIN pours p ON p.flask_id = fp.flask_id
         WHERE x.id = $1 AND p.own_client_id = o.client_id ORDER BY p.poured_at DESC LIMIT 1",
    )
    .bind(piece)
    .fetch_optional(conn)
    .await?;
    Ok(charged.and_then(|charged| {
        let own = of_share(cg, charged.own, charged.charged);
        charged.client.map(|client| (client, own)).filter(|(_, own)| *own > 0)
    }))
}

/// Grams of a mass in the ledger, exact.
pub(super) fn grams_of(cg: i64) -> Decimal {
    Decimal::new(cg, 2)
}

/// Refuses to take more of a client's metal than is in their drawer, by name.
pub async fn check_drawer(
    conn: &mut PgConnection,
    alloy: AlloyId,
    client: ClientId,
    cg: i64,
) -> Result<(), Fault> {
    let have = ledger::held(&mut *conn, alloy, Account::Own(client)).await?;
    if cg <= have {
        return Ok(());
    }
    let alloy: String = sqlx::query_scalar("SELECT name FROM alloys WHERE id = $1")
        .bind(alloy)
        .fetch_one(conn)
        .await?;
    Err(Refused::from(MetalRefusal::NotEnough {
        alloy,
        account: Account::Own(client).place(),
        have: in_grams(have),
        wanted: in_grams(cg),
    })
    .into())
}

#[cfg(test)]
mod tests {
    use super::of_share;

    #[test]
    fn shares_of_a_charge_are_rounded_to_the_centigram_and_never_exceed_it() {
        assert_eq!(of_share(1000, 500, 1000), 500);
        assert_eq!(of_share(1, 1, 2), 1, "the half goes to the client");
        assert_eq!(of_share(333, 1000, 1000), 333);
        assert_eq!(of_share(100, 1, 3), 33);
        assert_eq!(of_share(100, 0, 0), 0);
    }
}

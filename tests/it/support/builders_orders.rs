//! What a studio needs before it can take an order.

use foundry::mesh::{Mesh, write};
use foundry::shapes::solid;
use pourday::id::{AlloyId, PieceId};
use pourday::pieces::{self, Act, Happening, Stage};
use sqlx::PgPool;

use super::studio::{Actor, Answer, Studio};

/// A block as a binary STL, with the sides in the file's own numbers.
pub(crate) fn block(sides: [f64; 3]) -> Vec<u8> {
    stl(&solid::cuboid(sides))
}

/// A block with one triangle missing.
pub(crate) fn open_block() -> Vec<u8> {
    let whole = block([10.0, 20.0, 30.0]);
    let mut cut = whole[..whole.len() - 50].to_vec();
    cut[80..84].copy_from_slice(&11_u32.to_le_bytes());
    cut
}

pub(crate) fn stl(mesh: &Mesh) -> Vec<u8> {
    write::stl_binary(mesh, "model").unwrap()
}

/// An alloy of one part copper and the rest silver, by its density.
pub(crate) async fn alloy(pool: &PgPool, name: &str, density_g_cm3: f64) -> AlloyId {
    let id = AlloyId::new();
    sqlx::query(
        "INSERT INTO alloys (id, name, family, density_g_cm3, melt_c, flask_c) VALUES ($1, $2, 'silver', $3, 980, 550)",
    )
    .bind(id)
    .bind(name)
    .bind(density_g_cm3)
    .execute(pool)
    .await
    .unwrap();
    sqlx::query(
        "INSERT INTO alloy_parts (alloy_id, metal, parts_per_thousand) VALUES ($1, 'Ag', 925), ($1, 'Cu', 75)",
    )
    .bind(id)
    .execute(pool)
    .await
    .unwrap();
    id
}

/// A studio with rates, a price of its silver, and an order for two blocks of that to be priced.
pub(crate) async fn ready_to_price() -> (Studio, Actor, i32) {
    let studio = Studio::open().await;
    rates(&studio.db.pool).await;
    let silver = alloy(&studio.db.pool, "Test silver", 10.0).await;
    price(&studio.db.pool, ("alloy", &silver.to_string(), "g"), "0.80", "2026-11-25").await;
    let owner = studio.owner().await;
    let number = order(&owner, silver, 2).await;
    (studio, owner, number)
}

/// An order for a new client with a line of blocks of 6 cm³, by way of its form; its number.
pub(crate) async fn order(actor: &Actor, alloy: AlloyId, quantity: u32) -> i32 {
    let fields = [
        ("new_client", "Ada Quill"),
        ("title", "Drawer knobs"),
        ("alloy", &alloy.to_string()),
        ("quantity", &quantity.to_string()),
        ("finishing_minutes", "30"),
    ];
    let knob = block([10.0, 20.0, 30.0]);
    let answer = actor.upload("/orders/new", &fields, &[("models", "knob.stl", &knob)]).await;
    answer.led_to().rsplit('/').next().unwrap().parse().unwrap()
}

/// The order is agreed without a quote, and its pieces are made.
pub(crate) async fn agree(studio: &Studio, number: i32) -> Vec<PieceId> {
    let mut tx = studio.db.pool.begin().await.unwrap();
    let order = pourday::orders::lock(&mut tx, number).await.unwrap();
    let now = studio.clock.now();
    pourday::orders::mark_agreed(&mut tx, order.id, now).await.unwrap();
    let act = Act::new(now, None);
    pieces::create_for_order(&mut tx, order.id, number, &act).await.unwrap();
    tx.commit().await.unwrap();
    sqlx::query_scalar("SELECT id FROM pieces WHERE order_id = $1 ORDER BY n")
        .bind(order.id)
        .fetch_all(&studio.db.pool)
        .await
        .unwrap()
}

/// Pieces walk through all six stages; their order follows.
pub(crate) async fn make_ready(studio: &Studio, made: &[PieceId]) {
    let mut tx = studio.db.pool.begin().await.unwrap();
    let act = Act::new(studio.clock.now(), None);
    for stage in Stage::ALL {
        pieces::record(&mut tx, made, &Happening::Entered(stage), &act).await.unwrap();
        pieces::record(&mut tx, made, &Happening::Finished(stage), &act).await.unwrap();
    }
    tx.commit().await.unwrap();
}

/// Notes a price that holds from a day on, in euros.
pub(crate) async fn price(
    pool: &PgPool,
    (kind, item, unit): (&str, &str, &str),
    amount: &str,
    from: &str,
) {
    sqlx::query(
        "INSERT INTO prices (id, kind, item, unit, amount, currency, valid_from, noted_at)
         VALUES (gen_random_uuid(), $1, $2, $3, $4::numeric, 'EUR', $5::date, now())",
    )
    .bind(kind)
    .bind(item)
    .bind(unit)
    .bind(amount)
    .bind(from)
    .execute(pool)
    .await
    .unwrap();
}

/// Rates that make a price which can be checked by hand.
pub(crate) async fn rates(pool: &PgPool) {
    sqlx::query(
        "UPDATE studio SET bench_rate = 60, finishing_rate = 48, set_up_minutes = 20, bench_minutes = 15,
             overhead = 0.1, margin = 0.2, tax_name = 'VAT', tax_rate = 0.19, deposit = 0.5, metal_loss = 0.04,
             quote_valid_days = 14",
    )
    .execute(pool)
    .await
    .unwrap();
}

/// What the price form sends when nothing is turned.
pub(crate) const UNTURNED: [(&str, &str); 24] = [
    ("resin", ""),
    ("supports_percent", "30"),
    ("printer", ""),
    ("pieces_on_plate", "8"),
    ("investment", ""),
    ("powder_kg", "0"),
    ("pieces_in_flask", "8"),
    ("kiln", ""),
    ("kiln_kwh", "0"),
    ("kiln_hours", "0"),
    ("flasks_in_load", "8"),
    ("set_up_minutes", "20"),
    ("bench_minutes", "15"),
    ("spares", "0"),
    ("metal_loss_percent", "4"),
    ("overhead_percent", "10"),
    ("margin_percent", "20"),
    ("discount_percent", "0"),
    ("deposit_percent", "50"),
    ("bought0_name", ""),
    ("bought0_amount", ""),
    ("valid_days", "14"),
    ("ready_by", "2026-12-18"),
    ("message", "Dear Ada, here is the price."),
];

/// The price form with some fields turned, made from the order as it is now.
pub(crate) async fn turned(
    studio: &Studio,
    number: i32,
    changes: &[(&'static str, &str)],
) -> Vec<(&'static str, String)> {
    let version: i64 = sqlx::query_scalar("SELECT version FROM orders WHERE number = $1")
        .bind(number)
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let mut fields = vec![("version", version.to_string())];
    for (name, value) in UNTURNED {
        let change = changes.iter().find(|(changed, _)| *changed == name);
        fields.push((name, change.map_or(value, |(_, value)| value).to_owned()));
    }
    fields
}

/// Posts owned fields.
pub(crate) async fn post(actor: &Actor, path: &str, fields: &[(&'static str, String)]) -> Answer {
    let fields: Vec<(&str, &str)> =
        fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
    actor.post(path, &fields).await
}

/// Prices an order as it is and sends the quote; the address of the client's page.
pub(crate) async fn send_quote(studio: &Studio, owner: &Actor, number: i32) -> String {
    let fields = turned(studio, number, &[]).await;
    let draft = post(owner, &format!("/orders/{number}/price"), &fields).await;
    let draft = draft.led_to().to_owned();
    owner.post(&format!("{draft}/send"), &[("message", "Dear Ada")]).await.led_to();
    link(owner, number).await
}

/// The path of the client's page, from the owner's page with the copy button.
pub(crate) async fn link(owner: &Actor, number: i32) -> String {
    let page = owner.get(&format!("/orders/{number}/quotes")).await;
    let address = page.page().split("data-copy=\"").nth(1).unwrap();
    let address = address.split('"').next().unwrap();
    address[address.find("/c/").unwrap()..].to_owned()
}

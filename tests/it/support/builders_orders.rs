//! What a studio needs before it can take an order.

use foundry::mesh::{Mesh, write};
use foundry::shapes::solid;
use pourday::id::AlloyId;
use sqlx::PgPool;

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

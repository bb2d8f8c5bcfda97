//! The invented studio's workshop: people, alloys, machines, prices, stock.

use std::collections::HashMap;

use sqlx::PgPool;

use super::hands::Hands;
use super::{DemoFault, LOGIN, STUDIO};
use crate::clock::Moment;
use crate::people::{self, Role};

/// The usual alloys this studio casts: key of the program's table, name here,
/// melt and flask temperature where the table has none, price a gram, stock in grams.
const ALLOYS: [(&str, &str, &str, &str, &str, &str); 4] = [
    ("silicon-bronze-c87300", "Silicon bronze", "1090", "480", "0.021", "9000"),
    ("sterling-silver", "Sterling silver", "970", "520", "1.06", "1400"),
    ("gold-14k-yellow", "14 ct yellow gold", "980", "560", "58.40", "120"),
    ("yellow-brass-c85300", "Yellow brass", "1010", "450", "0.016", "4000"),
];

/// Founds the studio with its people; one owner, one maker.
pub(super) async fn found(
    pool: &PgPool,
    zone: &str,
    password: &str,
    then: Moment,
) -> Result<(), DemoFault> {
    let hash = people::hash_password(password.to_owned()).await?;
    let mut tx = pool.begin().await?;
    crate::studio::found(&mut tx, STUDIO, zone, "EUR").await?;
    people::add(&mut *tx, "Maren Aldous", LOGIN, Role::Owner, &hash, then).await?;
    people::add(&mut *tx, "Tobin Feyre", "tobin", Role::Maker, &hash, then).await?;
    sqlx::raw_sql(include_str!("workshop.sql")).execute(&mut *tx).await?;
    sqlx::query("UPDATE studio SET dear_hour_min = 1").execute(&mut *tx).await?;
    tx.commit().await?;
    Ok(())
}

/// Alloys from the program's own table, prices, and the first metal.
pub(super) async fn stock(pool: &PgPool, owner: &Hands, then: Moment) -> Result<(), DemoFault> {
    for (key, name, melt_c, flask_c, _, _) in ALLOYS {
        let page = format!("/studio/alloys/new?from={key}");
        let fields = [("name", name), ("melt_c", melt_c), ("flask_c", flask_c)];
        owner.fill(&page, "/studio/alloys", &fields).await?;
    }
    let day = then.day_in(&jiff::tz::TimeZone::UTC);
    let ids: HashMap<String, crate::id::AlloyId> =
        sqlx::query_as::<_, (String, crate::id::AlloyId)>("SELECT name, id FROM alloys")
            .fetch_all(pool)
            .await?
            .into_iter()
            .collect();
    let mut tx = pool.begin().await?;
    for (_, name, _, _, price, grams) in ALLOYS {
        let Some(alloy) = ids.get(name) else { return Err(DemoFault::Missing(name.to_owned())) };
        let broken = |what: &str| DemoFault::Broken(format!("{what} is not a number"));
        let price: rust_decimal::Decimal = price.parse().map_err(|_| broken(price))?;
        let cg = grams.parse::<i64>().map_err(|_| broken(grams))? * 100;
        sqlx::query(
            "INSERT INTO prices (id, kind, item, unit, amount, currency, valid_from, noted_at)
             VALUES (gen_random_uuid(), 'alloy', $1, 'g', $2, 'EUR', $3, $4)",
        )
        .bind(alloy.to_string())
        .bind(price)
        .bind(day)
        .bind(then)
        .execute(&mut *tx)
        .await?;
        let lot = crate::id::MetalLotId::new();
        sqlx::query("INSERT INTO metal_lots (id, alloy_id, lot, bought_cg, bought_on, price_per_g, currency, supplier) VALUES ($1, $2, 'A-1', $3, $4, $5, 'EUR', 'opening stock')")
            .bind(lot)
            .bind(alloy)
            .bind(cg)
            .bind(day)
            .bind(price)
            .execute(&mut *tx)
            .await?;
        let entry = crate::metal::Entry {
            lot: Some(lot),
            ..crate::metal::Entry::new(crate::metal::Kind::Bought, then, None, "lot:A-1")
        };
        let moves = [crate::metal::Move::new(
            crate::metal::Account::Supplier,
            crate::metal::Account::Fresh,
            cg,
        )];
        crate::metal::post(&mut tx, &entry, *alloy, &moves).await.map_err(|fault| {
            DemoFault::Broken(format!("the opening stock was not posted: {fault:?}"))
        })?;
    }
    sqlx::query(
        "INSERT INTO prices (id, kind, item, unit, amount, currency, valid_from, noted_at)
         SELECT gen_random_uuid(), 'resin', id::text, 'ml', 0.19, 'EUR', $1, $2 FROM resins
         UNION ALL SELECT gen_random_uuid(), 'investment', id::text, 'kg', 2.4, 'EUR', $1, $2 FROM investments
         UNION ALL SELECT gen_random_uuid(), 'electricity', '', 'kWh', 0.24, 'EUR', $1, $2
         UNION ALL SELECT gen_random_uuid(), 'fine_metal', v.symbol, 'g', v.price, 'EUR', $1, $2
             FROM (VALUES ('Ag', 1.02), ('Au', 98.6), ('Cu', 0.0115), ('Zn', 0.0034), ('Si', 0.012)) v (symbol, price)
         UNION ALL SELECT gen_random_uuid(), 'exchange', v.code, '1', v.rate, 'EUR', $1 + v.days, $2
             FROM (VALUES ('USD', 1.10, 0), ('USD', 1.12, 21), ('GBP', 0.86, 0), ('JPY', 162, 0)) v (code, rate, days)",
    )
    .bind(day)
    .bind(then)
    .execute(&mut *tx)
    .await?;
    sqlx::query(
        "INSERT INTO resin_lots (id, resin_id, lot, opened_on, volume_ml)
         SELECT gen_random_uuid(), id, upper(left(split_part(name, ' ', 2), 1)) || '-0' || n, $1::date + n, 1000
         FROM resins, generate_series(1, 2) n",
    )
    .bind(day)
    .execute(&mut *tx)
    .await?;
    tx.commit().await?;
    Ok(())
}

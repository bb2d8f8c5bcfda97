//! A flask that stands hot in a kiln, ready to be poured.

use pourday::id::AlloyId;

use super::studio::{Actor, Studio};

impl Studio {
    /// The alloy that a piece is made of.
    pub(crate) async fn alloy_of(&self, label: &str) -> AlloyId {
        sqlx::query_scalar(
            "SELECT l.alloy_id FROM pieces p JOIN order_lines l ON l.id = p.order_line_id WHERE p.label = $1",
        )
        .bind(label)
        .fetch_one(&self.db.pool)
        .await
        .unwrap()
    }

    /// A hot flask in a kiln of its own with some pieces on its tree; its number.
    pub(crate) async fn hot_flask(&self, labels: &[&str], charge_g: f64) -> i32 {
        let alloy = self.alloy_of(labels[0]).await;
        for label in labels {
            self.bring_to(label, pourday::pieces::Stage::Cast).await;
        }
        let now = self.clock.now();
        let pool = &self.db.pool;
        let name = uuid::Uuid::now_v7().to_string();
        let [kind, investment, family, kiln, load, flask] =
            std::array::from_fn(|_| uuid::Uuid::now_v7());
        for (sql, id) in [
            (
                "INSERT INTO flask_types (id, name, diameter_mm, height_mm, size_class) VALUES ($1, $2, 80, 120, 'M')",
                kind,
            ),
            (
                "INSERT INTO investments (id, name, kind, water_per_100) VALUES ($1, $2, 'gypsum', 40)",
                investment,
            ),
            (
                "INSERT INTO burnout_families (id, name, pattern, investment_kind) VALUES ($1, $2, 'resin', 'gypsum')",
                family,
            ),
            (
                "INSERT INTO kilns (id, name, width_mm, depth_mm, height_mm, top_c, power_kw) VALUES ($1, $2, 300, 300, 300, 1000, 3)",
                kiln,
            ),
        ] {
            sqlx::query(sql).bind(id).bind(&name).execute(pool).await.unwrap();
        }
        let number: i32 = sqlx::query_scalar(
            "INSERT INTO flasks (id, flask_type_id, alloy_id, investment_id, family_id, flask_c, created_at, state,
                                 tree_mass_g, base_mass_g, charge_g, powder_g, water_g, mixed_at, set_from_at)
             VALUES ($1, $2, $3, $4, $5, 540, $6, 'hot', 80, 50, $7, 900, 360, $6, $6) RETURNING number",
        )
        .bind(flask)
        .bind(kind)
        .bind(alloy)
        .bind(investment)
        .bind(family)
        .bind(now)
        .bind(charge_g)
        .fetch_one(pool)
        .await
        .unwrap();
        for label in labels {
            sqlx::query("INSERT INTO flask_pieces (flask_id, attempt_id) VALUES ($1, $2)")
                .bind(flask)
                .bind(self.attempt_of(label).await)
                .execute(pool)
                .await
                .unwrap();
        }
        sqlx::query(
            "INSERT INTO kiln_loads (id, kiln_id, state, family_id, size_class, programme, planned_start_at, planned_held_at,
                                     started_at, held_at)
             VALUES ($1, $2, 'held', $3, 'M', '[]', $4, $4, $4 - interval '10 hours', $4)",
        )
        .bind(load)
        .bind(kiln)
        .bind(family)
        .bind(now)
        .execute(pool)
        .await
        .unwrap();
        sqlx::query(
            "INSERT INTO kiln_load_flasks (kiln_load_id, flask_id, x_mm, y_mm, planned_pour_at) VALUES ($1, $2, 100, 100, $3)",
        )
        .bind(load)
        .bind(flask)
        .bind(now)
        .execute(pool)
        .await
        .unwrap();
        number
    }

    /// Cuts a poured flask off, with what castings and returns weigh in grams.
    pub(crate) async fn cut_off(&self, actor: &Actor, flask: i32, castings: &str, returns: &str) {
        let version: i64 = sqlx::query_scalar("SELECT version FROM flasks WHERE number = $1")
            .bind(flask)
            .fetch_one(&self.db.pool)
            .await
            .unwrap();
        let version = version.to_string();
        let fields =
            [("version", version.as_str()), ("pieces_g", castings), ("returns_g", returns)];
        actor.post(&format!("/flasks/{flask}/divest"), &fields).await.led_to();
    }

    /// A piece is finished at the bench, from one weight to another.
    pub(crate) async fn finish(&self, actor: &Actor, label: &str, raw: &str, finished: &str) {
        let place = format!("/finishing/{label}");
        let seen = self.version_of(label).await;
        let begin = [("version", seen.as_str()), ("raw", raw)];
        actor.post(&format!("{place}/begin"), &begin).await.led_to();
        let seen = self.version_of(label).await;
        let pass =
            [("version", seen.as_str()), ("raw", raw), ("finished", finished), ("minutes", "30")];
        actor.post(&format!("{place}/pass"), &pass).await.led_to();
    }

    /// A finished piece goes to its client.
    pub(crate) async fn hand_over(&self, actor: &Actor, label: &str) {
        let seen = self.version_of(label).await;
        let place = format!("/finishing/{label}/hand-over");
        actor.post(&place, &[("version", &seen)]).await.led_to();
    }
}

/// A pour as its form sends it, with further fields.
pub(crate) fn pour<'a>(more: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let usual = [
        ("fresh_g", "0"),
        ("returns_g", "0"),
        ("melt_c", "970"),
        ("flask_c", "540"),
        ("method", "vacuum"),
        ("result", "good"),
    ];
    let kept = usual.into_iter().filter(|(name, _)| !more.iter().any(|(other, _)| other == name));
    kept.chain(more.iter().copied()).collect()
}

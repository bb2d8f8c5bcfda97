//! Flasks and loads that stand where a test needs them.

use pourday::pieces::{self, Act, Happening, Stage};
use uuid::Uuid;

use super::studio::Studio;

impl Studio {
    /// Takes a piece to a stage and begins it.
    pub(crate) async fn in_hand(&self, label: &str, stage: Stage) {
        self.bring_to(label, stage).await;
        self.begin(label, stage).await;
    }

    /// Begins the stage that a piece waits for.
    pub(crate) async fn begin(&self, label: &str, stage: Stage) {
        let mut conn = self.db.pool.acquire().await.unwrap();
        let piece = sqlx::query_scalar("SELECT id FROM pieces WHERE label = $1")
            .bind(label)
            .fetch_one(&mut *conn)
            .await
            .unwrap();
        let act = Act::new(self.clock.now(), None);
        pieces::record(&mut conn, &[piece], &Happening::Entered(stage), &act).await.unwrap();
    }

    /// A flask of the demo's workshop in a state, with these pieces on its tree; its number.
    pub(crate) async fn flask(&self, labels: &[String], state: &str) -> i32 {
        let number: i32 = sqlx::query_scalar(
            "INSERT INTO flasks (id, flask_type_id, alloy_id, investment_id, family_id, flask_c, created_at, state,
                                 tree_mass_g, base_mass_g, charge_g, powder_g, water_g, mixed_at, set_from_at, latest_start_at)
             SELECT gen_random_uuid(), t.id, l.alloy_id, i.id, b.id, 520, $2, $3, 80, 50, 200, 900, 360,
                    $2 - interval '3 hours', $2 - interval '1 hour', $2 + interval '2 days'
             FROM flask_types t, investments i, burnout_families b, pieces p JOIN order_lines l ON l.id = p.order_line_id
             WHERE t.name = 'Middle' AND b.name = 'Resin' AND p.label = $1 RETURNING number",
        )
        .bind(&labels[0])
        .bind(self.clock.now())
        .bind(state)
        .fetch_one(&self.db.pool)
        .await
        .unwrap();
        for label in labels {
            let attempt = self.attempt_of(label).await;
            sqlx::query("INSERT INTO flask_pieces (flask_id, attempt_id) SELECT id, $2 FROM flasks WHERE number = $1")
                .bind(number)
                .bind(attempt)
                .execute(&self.db.pool)
                .await
                .unwrap();
        }
        number
    }

    /// A load that is held at casting temperature in the big kiln, with these flasks; its number.
    pub(crate) async fn held_load(&self, flasks: &[i32]) -> i32 {
        let (id, now) = (Uuid::now_v7(), self.clock.now());
        let number = sqlx::query_scalar(
            "INSERT INTO kiln_loads (id, kiln_id, state, family_id, size_class, programme, planned_start_at, planned_held_at, started_at, held_at)
             SELECT $1, k.id, 'held', f.id, 'M', '[{\"kind\":\"ramp\",\"target_c\":730,\"minutes\":240}]', $2, $2, $2 - interval '9 hours', $2 - interval '1 hour'
             FROM kilns k, burnout_families f WHERE k.name = 'Big kiln' AND f.name = 'Resin' RETURNING number",
        )
        .bind(id)
        .bind(now)
        .fetch_one(&self.db.pool)
        .await
        .unwrap();
        sqlx::query(
            "INSERT INTO kiln_load_flasks (kiln_load_id, flask_id, x_mm, y_mm, planned_pour_at)
             SELECT $1, id, 100, 100, $3 FROM flasks WHERE number = ANY($2)",
        )
        .bind(id)
        .bind(flasks)
        .bind(now)
        .execute(&self.db.pool)
        .await
        .unwrap();
        number
    }
}

//! Pieces that wait for print, and a printer with resin to print them on.

use pourday::id::AttemptId;
use pourday::pieces::{self, Act};
use uuid::Uuid;

use super::studio::Studio;

/// A printer and an opened bottle.
pub(crate) struct PrintRoom {
    pub(crate) printer: String,
    pub(crate) lot: String,
}

impl Studio {
    /// A printer with a plate of 120 × 68 mm, prints up to 155 mm tall, and a bottle of 500 ml.
    pub(crate) async fn print_room(&self) -> PrintRoom {
        let (printer, resin, lot) = (Uuid::now_v7(), Uuid::now_v7(), Uuid::now_v7());
        let pool = &self.db.pool;
        sqlx::query("INSERT INTO printers (id, name, width_mm, depth_mm, height_mm) VALUES ($1, $2, 120, 68, 155)")
            .bind(printer)
            .bind(format!("Printer {printer}"))
            .execute(pool)
            .await
            .unwrap();
        sqlx::query("INSERT INTO resins (id, name, density_g_cm3, wash_minutes, cure_minutes) VALUES ($1, $2, 1.12, 4, 25)")
            .bind(resin)
            .bind(format!("Resin {resin}"))
            .execute(pool)
            .await
            .unwrap();
        sqlx::query("INSERT INTO resin_lots (id, resin_id, lot, opened_on, volume_ml) VALUES ($1, $2, 'L-1', '2026-11-01', 500)")
            .bind(lot)
            .bind(resin)
            .execute(pool)
            .await
            .unwrap();
        PrintRoom { printer: printer.to_string(), lot: lot.to_string() }
    }

    /// An agreed order for so many copies of a model of 20 × 10 × 15 mm and 1500 mm³;
    /// the labels of its pieces.
    pub(crate) async fn pieces(&self, copies: i32, due_on: Option<&str>) -> Vec<String> {
        self.pieces_of_size(copies, due_on, [20.0, 10.0, 15.0]).await
    }

    /// The same, for a model of another size.
    pub(crate) async fn pieces_of_size(
        &self,
        copies: i32,
        due_on: Option<&str>,
        size_mm: [f64; 3],
    ) -> Vec<String> {
        let now = self.clock.now();
        let mut conn = self.db.pool.acquire().await.unwrap();
        let [client, file, design, version, order, line, alloy] =
            std::array::from_fn(|_| Uuid::now_v7());
        sqlx::query("INSERT INTO clients (id, name, created_at) VALUES ($1, 'Ada Quill', $2)")
            .bind(client)
            .bind(now)
            .execute(&mut *conn)
            .await
            .unwrap();
        sqlx::query("INSERT INTO files (id, sha256, name, media_type, size_bytes, created_at) VALUES ($1, $2, 'model.stl', 'model/stl', 0, $3)")
            .bind(file)
            .bind(file.as_bytes().to_vec())
            .bind(now)
            .execute(&mut *conn)
            .await
            .unwrap();
        sqlx::query("INSERT INTO designs (id, name, created_at) VALUES ($1, 'Leaf pendant', $2)")
            .bind(design)
            .bind(now)
            .execute(&mut *conn)
            .await
            .unwrap();
        sqlx::query(
            "INSERT INTO design_versions (id, design_id, n, file_id, file_name, unit, unit_origin, format, triangles, shells,
                 closed, volume_mm3, area_mm2, box_x_mm, box_y_mm, box_z_mm, measured_at)
             VALUES ($1, $2, 1, $3, 'model.stl', 'mm', 'told', 'stl', 12, 1, true, 1500, 900, $4, $5, $6, $7)",
        )
        .bind(version)
        .bind(design)
        .bind(file)
        .bind(size_mm[0])
        .bind(size_mm[1])
        .bind(size_mm[2])
        .bind(now)
        .execute(&mut *conn)
        .await
        .unwrap();
        sqlx::query("INSERT INTO alloys (id, name, family, density_g_cm3, melt_c, flask_c) VALUES ($1, $2, 'silver', 10.36, 960, 540)")
            .bind(alloy)
            .bind(format!("Silver 925 {alloy}"))
            .execute(&mut *conn)
            .await
            .unwrap();
        let number: i32 = sqlx::query_scalar(
            "INSERT INTO orders (id, client_id, title, state, due_on, created_at, agreed_at)
             VALUES ($1, $2, 'Pendants', 'agreed', $3::text::date, $4, $4) RETURNING number",
        )
        .bind(order)
        .bind(client)
        .bind(due_on)
        .bind(now)
        .fetch_one(&mut *conn)
        .await
        .unwrap();
        sqlx::query("INSERT INTO order_lines (id, order_id, n, design_version_id, alloy_id, quantity) VALUES ($1, $2, 1, $3, $4, $5)")
            .bind(line)
            .bind(order)
            .bind(version)
            .bind(alloy)
            .bind(copies)
            .execute(&mut *conn)
            .await
            .unwrap();
        let act = Act::new(now, None);
        pieces::create_for_order(&mut conn, pourday::id::OrderId(order), number, &act)
            .await
            .unwrap();
        (1..=copies).map(|n| format!("{number}-{n}")).collect()
    }

    /// The attempt at a piece that is under way.
    pub(crate) async fn attempt_of(&self, label: &str) -> AttemptId {
        sqlx::query_scalar(
            "SELECT t.id FROM attempts t JOIN pieces p ON p.id = t.piece_id
             WHERE p.label = $1 AND t.ended_at IS NULL",
        )
        .bind(label)
        .fetch_one(&self.db.pool)
        .await
        .unwrap()
    }

    /// Where a piece is: stage, standing, attempt.
    pub(crate) async fn state_of(&self, label: &str) -> (String, String, i32) {
        sqlx::query_as("SELECT stage::text, standing, attempt_n FROM pieces WHERE label = $1")
            .bind(label)
            .fetch_one(&self.db.pool)
            .await
            .unwrap()
    }

    /// The version of a piece that its page carries.
    pub(crate) async fn version_of(&self, label: &str) -> String {
        let version: i64 = sqlx::query_scalar("SELECT version FROM pieces WHERE label = $1")
            .bind(label)
            .fetch_one(&self.db.pool)
            .await
            .unwrap();
        version.to_string()
    }

    /// Takes a piece through all stages before one, as its batches would.
    pub(crate) async fn bring_to(&self, label: &str, stage: pieces::Stage) {
        self.bring_to_from(label, pieces::Stage::Print, stage).await;
    }

    /// The same for a piece that waits at a later stage than print.
    pub(crate) async fn bring_to_from(
        &self,
        label: &str,
        from: pieces::Stage,
        stage: pieces::Stage,
    ) {
        let mut conn = self.db.pool.acquire().await.unwrap();
        let piece = sqlx::query_scalar("SELECT id FROM pieces WHERE label = $1")
            .bind(label)
            .fetch_one(&mut *conn)
            .await
            .unwrap();
        let act = Act::new(self.clock.now(), None);
        for before in pieces::Stage::ALL.into_iter().filter(|at| (from..stage).contains(at)) {
            for happening in
                [pieces::Happening::Entered(before), pieces::Happening::Finished(before)]
            {
                pieces::record(&mut conn, &[piece], &happening, &act).await.unwrap();
            }
        }
    }

    /// Pieces that take so many days to each stage, one after the other, until they are ready.
    pub(crate) async fn come_through(&self, labels: &[String], days: i64) {
        for stage in pieces::Stage::ALL {
            self.clock.set(self.clock.now().plus_minutes(days * 24 * 60));
            let mut conn = self.db.pool.acquire().await.unwrap();
            let made: Vec<pourday::id::PieceId> =
                sqlx::query_scalar("SELECT id FROM pieces WHERE label = ANY($1)")
                    .bind(labels)
                    .fetch_all(&mut *conn)
                    .await
                    .unwrap();
            let act = Act::new(self.clock.now(), None);
            for happening in [pieces::Happening::Entered(stage), pieces::Happening::Finished(stage)]
            {
                pieces::record(&mut conn, &made, &happening, &act).await.unwrap();
            }
        }
    }
}

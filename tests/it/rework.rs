//! Rework: back to a stage, a spare in another's place, pieces to another order; the plan is told.

use axum::http::StatusCode;
use pourday::pieces::Stage;

use crate::support::studio::{Actor, Studio};

async fn sent_back(studio: &Studio, actor: &Actor, label: &str, to: &str) -> StatusCode {
    let seen = studio.version_of(label).await;
    let form = [("version", seen.as_str()), ("to", to), ("note", "tacky inside")];
    actor.post(&format!("/pieces/{label}/rework/back"), &form).await.status
}

async fn open_attempts(studio: &Studio) -> i64 {
    sqlx::query_scalar("SELECT count(*) FROM attempts WHERE ended_at IS NULL")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pattern_goes_back_to_cure_as_the_same_attempt() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = studio.pieces(1, None).await;
    let label = &labels[0];
    studio.bring_to(label, Stage::Invest).await;
    let page = maker.get(&format!("/pieces/{label}/rework")).await;
    assert!(page.page().contains("Back to cure") && !page.body.contains("Back to cast<"));
    assert_eq!(sent_back(&studio, &maker, label, "cast").await, StatusCode::CONFLICT);
    assert_eq!(sent_back(&studio, &maker, label, "cure").await, StatusCode::SEE_OTHER);
    assert_eq!(studio.state_of(label).await, ("cure".into(), "waiting".into(), 1));
    let boxes: Vec<String> = sqlx::query_scalar("SELECT stage::text FROM attempt_stages")
        .fetch_all(&studio.db.pool)
        .await
        .unwrap();
    assert_eq!(boxes, ["print"], "the box of cure is empty again");
    let stale = [("version", "1"), ("to", "cure")];
    let stale = maker.post(&format!("/pieces/{label}/rework/back"), &stale).await;
    assert_eq!(stale.status, StatusCode::CONFLICT);
    assert!(maker.get(&format!("/pieces/{label}")).await.page().contains("Sent back to cure"));
    assert!(
        maker.get(&format!("/pieces/{label}/rework")).await.page().contains("Sent back to cure")
    );
    studio.bring_to_from(label, Stage::Cure, Stage::Finish).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn days_and_costs_are_told_from_records_and_not_guessed() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let labels = studio.pieces(6, None).await;
    let page = owner.get(&format!("/pieces/{}/rework", labels[0])).await;
    assert!(page.page().contains("not known yet"), "nothing has come through any stage");
    // Five pieces take two days to each stage.
    studio.come_through(&labels[1..], 2).await;
    // Twelve days from Monday 7 December.
    let page = owner.get(&format!("/pieces/{}/rework", labels[0])).await;
    assert!(page.page().contains("Sat 19 Dec"), "{}", page.body);
    assert!(page.body.contains("median of 5"), "it opens into how it was reckoned");
    assert!(page.body.contains("no rate is kept for washing"), "what is not known is said");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_spare_piece_takes_the_place_of_one_that_failed() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = studio.pieces(2, None).await;
    let elsewhere = studio.pieces(1, None).await;
    let stranger = studio.pieces(1, None).await;
    // The second order is for the same model in the same alloy.
    sqlx::query(
        "UPDATE order_lines SET (design_version_id, alloy_id) =
           (SELECT l.design_version_id, l.alloy_id FROM order_lines l JOIN pieces p ON p.order_line_id = l.id WHERE p.label = $1)
         WHERE id = (SELECT order_line_id FROM pieces WHERE label = $2)",
    )
    .bind(&labels[0])
    .bind(&elsewhere[0])
    .execute(&studio.db.pool)
    .await
    .unwrap();
    studio.bring_to(&elsewhere[0], Stage::Finish).await;
    studio.bring_to(&labels[0], Stage::Cast).await;
    studio.bring_to(&labels[1], Stage::Finish).await;
    studio.bring_to(&stranger[0], Stage::Finish).await;
    let seen = studio.version_of(&labels[0]).await;
    let failed = [("version", seen.as_str()), ("stage", "cast"), ("cause", "incomplete fill")];
    maker.post(&format!("/pieces/{}/failed", labels[0]), &failed).await.led_to();
    let place = format!("/pieces/{}/rework", labels[0]);
    let page = maker.get(&place).await;
    assert!(page.page().contains(&elsewhere[0]) && !page.body.contains(&stranger[0]));
    // Another piece of the same order is no gain.
    assert!(!page.body.contains(&labels[1]), "{}", page.body);
    let seen = studio.version_of(&labels[0]).await;
    let other = [("version", seen.as_str()), ("with", stranger[0].as_str())];
    let refused = maker.post(&format!("{place}/swap"), &other).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    let spare = [("version", seen.as_str()), ("with", elsewhere[0].as_str())];
    maker.post(&format!("{place}/swap"), &spare).await.led_to();
    assert_eq!(studio.state_of(&labels[0]).await, ("finish".into(), "waiting".into(), 2));
    assert_eq!(studio.state_of(&elsewhere[0]).await, ("print".into(), "waiting".into(), 1));
    assert_eq!(open_attempts(&studio).await, 4, "one for each piece");
    // Both go on from there, and the failure of the first stays with it.
    let seen = studio.version_of(&labels[0]).await;
    let begin = [("version", seen.as_str()), ("raw", "9.00"), ("sure", "yes")];
    maker.post(&format!("/finishing/{}/begin", labels[0]), &begin).await.led_to();
    studio.bring_to(&elsewhere[0], Stage::Invest).await;
    assert!(maker.get(&format!("/pieces/{}", labels[0])).await.page().contains("incomplete fill"));
    let again = maker.post(&format!("{place}/swap"), &spare).await;
    assert_eq!(again.status, StatusCode::CONFLICT, "that was seen before they changed");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_order_is_split_and_merged_again_and_its_labels_stay() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let labels = studio.pieces(3, Some("2026-12-20")).await;
    let number: i32 = labels[0].split('-').next().unwrap().parse().unwrap();
    let id = |label: String| {
        let pool = studio.db.pool.clone();
        async move {
            let id: uuid::Uuid = sqlx::query_scalar("SELECT id FROM pieces WHERE label = $1")
                .bind(label)
                .fetch_one(&pool)
                .await
                .unwrap();
            id.to_string()
        }
    };
    let first = id(labels[0].clone()).await;
    let place = format!("/orders/{number}/split");
    assert!(owner.get(&place).await.page().contains(&labels[0]));
    let nobody = [("version", "1"), ("to", "new")];
    assert_eq!(owner.post(&place, &nobody).await.status, StatusCode::UNPROCESSABLE_ENTITY);
    let form =
        [("version", "1"), ("to", "new"), ("due_on", "2026-12-05"), ("pieces", first.as_str())];
    let new = owner.post(&place, &form).await.led_to().to_owned();
    let of = |number: i32| {
        let pool = studio.db.pool.clone();
        async move {
            let row: (String, i64, Option<i64>) = sqlx::query_as(
                "SELECT o.state, (SELECT count(*) FROM pieces WHERE order_id = o.id),
                        (SELECT sum(quantity) FROM order_lines WHERE order_id = o.id AND removed_at IS NULL)
                 FROM orders o WHERE o.number = $1",
            )
            .bind(number)
            .fetch_one(&pool)
            .await
            .unwrap();
            row
        }
    };
    let second: i32 = new.rsplit('/').next().unwrap().parse().unwrap();
    assert_eq!(of(number).await, ("agreed".into(), 2, Some(2)));
    assert_eq!(of(second).await, ("agreed".into(), 1, Some(1)));
    assert!(
        owner.get(&format!("/orders/{second}")).await.page().contains(&labels[0]),
        "its label stays"
    );
    let stale = owner.post(&place, &form).await;
    assert_eq!(stale.status, StatusCode::CONFLICT);
    // And all of them into the second one.
    let (b, c) = (id(labels[1].clone()).await, id(labels[2].clone()).await);
    let to = second.to_string();
    let merge =
        [("version", "2"), ("to", to.as_str()), ("pieces", b.as_str()), ("pieces", c.as_str())];
    owner.post(&place, &merge).await.led_to();
    assert_eq!(of(second).await.1, 3);
    assert_eq!(of(number).await, ("cancelled".into(), 0, None));
    // Somebody else's order takes none of them.
    let stranger = studio.pieces(1, None).await;
    let stranger: String = stranger[0].split('-').next().unwrap().to_owned();
    let wrong = [("version", "2"), ("to", stranger.as_str()), ("pieces", first.as_str())];
    let refused = owner.post(&format!("/orders/{second}/split"), &wrong).await;
    assert!(refused.status.is_client_error(), "{}", refused.status);
    let maker = studio.maker().await;
    assert_eq!(maker.get(&place).await.status, StatusCode::FORBIDDEN);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_plan_is_told_what_happened_since_it_was_accepted() {
    let studio = Studio::with_workshop().await;
    let owner = studio.owner().await;
    let labels = studio.pieces(2, Some("2026-12-20")).await;
    studio.bring_to(&labels[0], Stage::Invest).await;
    sqlx::query(
        "INSERT INTO plans (id, state, day_zero, instance, result, made_at, accepted_at)
         VALUES (gen_random_uuid(), 'accepted', '2026-11-25', '{}', '{}', $1, $1)",
    )
    .bind(studio.clock.now())
    .execute(&studio.db.pool)
    .await
    .unwrap();
    assert!(!owner.get("/plan").await.page().contains("it does not know"));
    studio.clock.set(studio.clock.now().plus_minutes(5));
    assert_eq!(sent_back(&studio, &owner, &labels[0], "cure").await, StatusCode::SEE_OTHER);
    let page = owner.get("/plan").await;
    assert!(
        page.page().contains("went back to cure") && page.body.contains(&labels[0]),
        "{}",
        page.body
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_piece_goes_back_to_print_from_any_stage_as_a_new_attempt_and_is_told_at_once() {
    let studio = Studio::open().await;
    sqlx::raw_sql("UPDATE studio SET bench_rate = 60, bench_minutes = 15")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let owner = studio.owner().await;
    let records = studio.pieces(12, None).await;
    studio.come_through(&records, 2).await;
    for stage in &Stage::ALL[1..] {
        let labels = studio.pieces(1, Some("2026-12-20")).await;
        let label = &labels[0];
        studio.bring_to(label, *stage).await;
        let place = format!("/pieces/{label}/rework");
        assert!(owner.get(&place).await.page().contains("Back to print"), "{stage}");
        // Without a reason nothing happens.
        let seen = studio.version_of(label).await;
        let bare = [("version", seen.as_str()), ("to", "print"), ("note", "")];
        let refused = owner.post(&format!("{place}/back"), &bare).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(refused.body.contains("Say what is wrong with it"), "{}", refused.body);
        assert_eq!(sent_back(&studio, &owner, label, "print").await, StatusCode::SEE_OTHER);
        assert_eq!(studio.state_of(label).await, ("print".into(), "waiting".into(), 2), "{stage}");
        let failed: (String, String) = sqlx::query_as(
            "SELECT failed_at_stage::text, cause FROM attempts t JOIN pieces p ON p.id = t.piece_id
             WHERE p.label = $1 AND t.outcome = 'failed'",
        )
        .bind(label)
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
        assert_eq!(failed, (stage.name().to_owned(), "tacky inside".to_owned()));
        // Two days a stage from Monday 7 December: all six instead of what was left.
        let left = 2 * Stage::ALL.iter().filter(|each| *each >= stage).count();
        let instead = format!(
            "Ready about Sat 19 Dec instead of {}",
            ["", "", "Wed 9", "", "Fri 11", "", "Sun 13", "", "Tue 15", "", "Thu 17"][left]
        );
        let page = owner.get(&place).await;
        assert!(page.page().contains(&instead), "{stage}: {instead}: {}", page.body);
        // The bench's quarter of an hour at 60 is spent again from invest on.
        let cost =
            if *stage >= Stage::Invest { "about 15.00 EUR more" } else { "about 0.00 EUR more" };
        assert!(page.body.contains(cost), "{stage}: {}", page.body);
        // By mistake: it is where it was.
        let seen = studio.version_of(label).await;
        owner.post(&format!("/pieces/{label}/undo"), &[("version", &seen)]).await.led_to();
        assert_eq!(studio.state_of(label).await, (stage.name().into(), "waiting".into(), 1));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_ready_piece_that_is_printed_again_gives_its_metal_to_the_returns() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let labels = studio.pieces(1, None).await;
    let label = &labels[0];
    studio.bring_to(label, Stage::Finish).await;
    let alloy = sqlx::query_scalar("SELECT alloy_id FROM order_lines")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let mut tx = studio.db.pool.begin().await.unwrap();
    let entry =
        pourday::metal::Entry::new(pourday::metal::Kind::Bought, studio.clock.now(), None, "test");
    let moves = [pourday::metal::Move::new(
        pourday::metal::Account::Supplier,
        pourday::metal::Account::Pieces,
        1_000,
    )];
    pourday::metal::post(&mut tx, &entry, alloy, &moves).await.unwrap();
    tx.commit().await.unwrap();
    let place = format!("/finishing/{label}");
    let seen = studio.version_of(label).await;
    let begin = [("version", seen.as_str()), ("raw", "9.00"), ("sure", "yes")];
    owner.post(&format!("{place}/begin"), &begin).await.led_to();
    let seen = studio.version_of(label).await;
    let passed = [
        ("version", seen.as_str()),
        ("raw", "9.00"),
        ("finished", "8.40"),
        ("minutes", "12"),
        ("sure", "yes"),
    ];
    owner.post(&format!("{place}/pass"), &passed).await.led_to();
    let held = |kind: &'static str| {
        let pool = studio.db.pool.clone();
        async move {
            let cg: Option<i64> = sqlx::query_scalar(
                "SELECT sum(b.cg)::bigint FROM metal_balances b JOIN metal_accounts a ON a.id = b.account_id WHERE a.kind = $1",
            )
            .bind(kind)
            .fetch_one(&pool)
            .await
            .unwrap();
            cg.unwrap_or(0)
        }
    };
    assert_eq!((held("pieces").await, held("returns").await), (940, 0));
    assert_eq!(sent_back(&studio, &owner, label, "print").await, StatusCode::SEE_OTHER);
    assert_eq!(studio.state_of(label).await, ("print".into(), "waiting".into(), 2));
    assert_eq!((held("pieces").await, held("returns").await), (100, 840));
    let seen = studio.version_of(label).await;
    owner.post(&format!("/pieces/{label}/undo"), &[("version", &seen)]).await.led_to();
    assert_eq!(studio.state_of(label).await, ("finish".into(), "waiting".into(), 1));
    assert_eq!((held("pieces").await, held("returns").await), (940, 0));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_plan_is_told_of_a_piece_that_is_printed_again_and_its_tree_is_weighed_again() {
    let studio = Studio::with_workshop().await;
    let owner = studio.owner().await;
    let labels = studio.pieces(2, Some("2026-12-20")).await;
    for label in &labels {
        studio.bring_to(label, Stage::Invest).await;
        let mut conn = studio.db.pool.acquire().await.unwrap();
        let piece = sqlx::query_scalar("SELECT id FROM pieces WHERE label = $1")
            .bind(label)
            .fetch_one(&mut *conn)
            .await
            .unwrap();
        let act = pourday::pieces::Act::new(studio.clock.now(), None);
        pourday::pieces::record(
            &mut conn,
            &[piece],
            &pourday::pieces::Happening::Entered(Stage::Invest),
            &act,
        )
        .await
        .unwrap();
    }
    sqlx::query(
        "WITH f AS (INSERT INTO flasks (id, flask_type_id, alloy_id, investment_id, family_id, flask_c, created_at, state, tree_mass_g, base_mass_g, charge_g)
             SELECT gen_random_uuid(), t.id, l.alloy_id, i.id, b.id, 520, $1, 'weighed', 80, 50, 200
             FROM flask_types t, investments i, burnout_families b, (SELECT alloy_id FROM order_lines LIMIT 1) l WHERE t.name = 'Middle' AND b.name = 'Resin' RETURNING id)
         INSERT INTO flask_pieces (flask_id, attempt_id) SELECT f.id, t.id FROM f, attempts t",
    )
    .bind(studio.clock.now())
    .execute(&studio.db.pool)
    .await
    .unwrap();
    sqlx::query(
        "INSERT INTO plans (id, state, day_zero, instance, result, made_at, accepted_at)
         VALUES (gen_random_uuid(), 'accepted', '2026-11-25', '{}', '{}', $1, $1)",
    )
    .bind(studio.clock.now())
    .execute(&studio.db.pool)
    .await
    .unwrap();
    studio.clock.set(studio.clock.now().plus_minutes(5));
    assert_eq!(sent_back(&studio, &owner, &labels[0], "print").await, StatusCode::SEE_OTHER);
    assert_eq!(studio.state_of(&labels[1]).await, ("invest".into(), "in_hand".into(), 1));
    let flask: (String, i64) = sqlx::query_as(
        "SELECT state, (SELECT count(*) FROM flask_pieces WHERE left_at IS NULL) FROM flasks",
    )
    .fetch_one(&studio.db.pool)
    .await
    .unwrap();
    assert_eq!(flask, ("treeing".into(), 1), "its tree has to be weighed again");
    let page = owner.get("/plan").await;
    assert!(page.page().contains("failed at invest: tacky inside"), "{}", page.body);
}

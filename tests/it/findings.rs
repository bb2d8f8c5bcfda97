//! What is found on pieces: at the plate, on a picture, mended before they pass.

use axum::body::Body;
use axum::http::StatusCode;
use foundry::shapes::Piece;
use pourday::pieces::Stage;

use crate::support::builders_orders::stl;
use crate::support::studio::Studio;

async fn found(
    studio: &Studio,
    label: &str,
) -> Vec<(String, String, bool, Option<f64>, Option<f64>)> {
    sqlx::query_as(
        "SELECT f.what, f.place, f.to_mend, f.x, f.y FROM findings f JOIN attempts t ON t.id = f.attempt_id
         JOIN pieces p ON p.id = t.piece_id WHERE p.label = $1 AND f.taken_back_at IS NULL ORDER BY f.at, f.id",
    )
    .bind(label)
    .fetch_all(&studio.db.pool)
    .await
    .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plate_says_where_pieces_failed_and_which_have_scars() {
    let studio = Studio::open().await;
    let (maker, room) = (studio.maker().await, studio.print_room().await);
    let labels = studio.pieces(3, None).await;
    let mut attempts = Vec::new();
    for label in &labels {
        attempts.push(studio.attempt_of(label).await.to_string());
    }
    let mut form = vec![
        ("printer", room.printer.as_str()),
        ("lot", &room.lot),
        ("supports", "heavy"),
        ("first_contact", "yes"),
        ("orientation", "tilted"),
    ];
    form.extend(attempts.iter().map(|attempt| ("pieces", attempt.as_str())));
    let place = maker.post("/plates", &form).await.led_to().to_owned();
    maker.post(&format!("{place}/start"), &[("version", "1")]).await.led_to();
    let page = maker.get(&place).await;
    assert!(page.page().contains("heavy, more at first contact") && page.body.contains("tilted"));
    let (cause, at) = (format!("cause-{}", attempts[0]), format!("where-{}", attempts[0]));
    let form = [
        ("version", "2"),
        ("failed", attempts[0].as_str()),
        (cause.as_str(), "delaminated"),
        (at.as_str(), "at first contact"),
        ("scars", attempts[1].as_str()),
        ("sure", "yes"),
    ];
    maker.post(&format!("{place}/finish"), &form).await.led_to();
    let scars = found(&studio, &labels[1]).await;
    assert_eq!(scars, [("support scars to fill".to_owned(), String::new(), true, None, None)]);
    let failed = found(&studio, &labels[0]).await;
    assert_eq!(
        failed,
        [("delaminated".to_owned(), "at first contact".to_owned(), false, None, None)]
    );
    assert!(found(&studio, &labels[2]).await.is_empty());
    assert!(maker.get(&place).await.page().contains("delaminated, at first contact"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_place_on_a_picture_is_kept_mended_and_only_then_the_piece_passes() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let labels = studio.pieces(1, None).await;
    let label = &labels[0];
    // The model of these pieces, as somebody sent it.
    let band = stl(&Piece::ComfortBand.mesh());
    let mut conn = studio.db.pool.acquire().await.unwrap();
    let file = pourday::files::put(&mut conn, &band, "band.stl", "model/stl", studio.clock.now())
        .await
        .unwrap();
    sqlx::query("UPDATE design_versions SET file_id = $1, file_name = 'band.stl'")
        .bind(file)
        .execute(&mut *conn)
        .await
        .unwrap();
    drop(conn);
    studio.bring_to(label, Stage::Finish).await;
    let seen = studio.version_of(label).await;
    maker
        .post(
            &format!("/finishing/{label}/begin"),
            &[("version", &seen), ("raw", "8.00"), ("sure", "yes")],
        )
        .await
        .led_to();

    for look in ["corner", "front", "right", "back", "left", "top"] {
        let request = maker
            .request("GET", &format!("/pieces/{label}/seen/{look}"))
            .body(Body::empty())
            .unwrap();
        let (status, _, png) = maker.bytes(request).await;
        assert_eq!(status, StatusCode::OK, "{look}");
        let picture = image::load_from_memory(&png).unwrap().to_rgba8();
        let drawn = picture.pixels().filter(|pixel| pixel.0[3] > 0).count();
        assert!(drawn > 2_000, "{look}: {drawn} pixels of the model");
    }
    assert_eq!(
        maker.get(&format!("/pieces/{label}/seen/inside")).await.status,
        StatusCode::NOT_FOUND
    );

    let place = format!("/pieces/{label}/findings");
    assert!(maker.get(&place).await.page().contains("type=\"image\""));
    let nothing = maker.post(&place, &[("front.x", "10"), ("front.y", "10")]).await;
    assert_eq!(nothing.status, StatusCode::UNPROCESSABLE_ENTITY, "it has to be said what it is");
    let click =
        [("known", "gas porosity"), ("then", "mend"), ("right.x", "150"), ("right.y", "75")];
    maker.post(&place, &click).await.led_to();
    let kept = found(&studio, label).await;
    assert_eq!(kept, [("gas porosity".to_owned(), String::new(), true, Some(0.5), Some(0.25))]);
    let page = maker.get(&place).await;
    assert!(page.page().contains("cx=\"150\" cy=\"75\""), "{}", page.body);

    let seen = studio.version_of(label).await;
    let pass = [
        ("version", seen.as_str()),
        ("raw", "8.00"),
        ("finished", "8.00"),
        ("minutes", "20"),
        ("sure", "yes"),
    ];
    let refused = maker.post(&format!("/finishing/{label}/pass"), &pass).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.body.contains("not mended: gas porosity"), "{}", refused.body);
    let id: uuid::Uuid =
        sqlx::query_scalar("SELECT id FROM findings").fetch_one(&studio.db.pool).await.unwrap();
    maker.post(&format!("{place}/{id}/mended"), &[]).await.led_to();
    assert_eq!(maker.post(&format!("{place}/{id}/mended"), &[]).await.status, StatusCode::CONFLICT);
    maker.post(&format!("/finishing/{label}/pass"), &pass).await.led_to();
    assert_eq!(studio.state_of(label).await, ("finish".into(), "ready".into(), 1));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_profile_sets_a_plate_and_stays_what_it_is() {
    let studio = Studio::open().await;
    let (owner, room) = (studio.owner().await, studio.print_room().await);
    let other = studio.print_room().await;
    let labels = studio.pieces(2, None).await;
    let printer = format!("/studio/printers/{}", room.printer);
    let fine = [
        ("name", "Fine"),
        ("layer", "25"),
        ("exposure", "4.5"),
        ("bottom_layers", "4"),
        ("bottom_exposure", "30"),
        ("lift_mm", "5"),
        ("lift", "7"),
        ("vat_c", "28"),
    ];
    owner.post(&format!("{printer}/profiles"), &fine).await.led_to();
    let again = owner.post(&format!("{printer}/profiles"), &fine).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    assert!(again.body.contains("a profile of that name already"));
    let profile: uuid::Uuid = sqlx::query_scalar("SELECT id FROM printer_profiles")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let profile = profile.to_string();
    let attempt = studio.attempt_of(&labels[0]).await.to_string();
    let form = |printer: &str, lot: &str| {
        [
            ("printer", printer.to_owned()),
            ("lot", lot.to_owned()),
            ("profile", profile.clone()),
            ("supports", "light".to_owned()),
            ("pieces", attempt.clone()),
        ]
    };
    let wrong = form(&other.printer, &other.lot);
    let wrong: Vec<(&str, &str)> =
        wrong.iter().map(|(name, value)| (*name, value.as_str())).collect();
    let refused = owner.post("/plates", &wrong).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.body.contains("belongs to another printer"), "{}", refused.body);
    let right = form(&room.printer, &room.lot);
    let right: Vec<(&str, &str)> =
        right.iter().map(|(name, value)| (*name, value.as_str())).collect();
    let place = owner.post("/plates", &right).await.led_to().to_owned();
    let page = owner.get(&place).await;
    // 15 mm and 5 mm of supports in layers of 0.025 mm.
    assert!(page.page().contains("800 layers") && page.body.contains("Fine"), "{}", page.body);
    owner.post(&format!("{place}/start"), &[("version", "1")]).await.led_to();
    let minutes: f64 = sqlx::query_scalar("SELECT estimated_min FROM plates")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    // 4 × 30 s + 796 × 4.5 s of light and 800 × 7 s of lifts are 9302 s.
    assert!((minutes - 9302.0 / 60.0).abs() < 1e-6, "{minutes}");
    owner
        .post(
            &format!("{printer}/profiles/{profile}/retire"),
            &[("version", "1"), ("retire", "yes")],
        )
        .await
        .led_to();
    let attempt = studio.attempt_of(&labels[1]).await.to_string();
    let mut late = right.clone();
    late.retain(|(name, _)| *name != "pieces");
    late.push(("pieces", &attempt));
    assert_eq!(owner.post("/plates", &late).await.status, StatusCode::UNPROCESSABLE_ENTITY);
}

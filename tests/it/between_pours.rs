//! Flasks of one load that are cast at different temperatures: what the controller is to be set
//! to between their pours is said wherever somebody looks who pours.

use crate::support::studio::{Actor, Studio};

/// Three flasks, to be cast at 520, 480 and 450 °C, in a load that is held at 520 °C.
async fn load_of_three(studio: &Studio) -> (i32, [i32; 3]) {
    let pool = &studio.db.pool;
    sqlx::raw_sql(include_str!("../../src/demo/workshop.sql")).execute(pool).await.unwrap();
    let mut flasks = [0; 3];
    for (flask, celsius) in flasks.iter_mut().zip([520.0, 480.0, 450.0]) {
        let labels = studio.pieces(1, None).await;
        *flask = studio.flask(&labels, "hot").await;
        sqlx::query("UPDATE flasks SET flask_c = $2 WHERE number = $1")
            .bind(*flask)
            .bind(celsius)
            .execute(pool)
            .await
            .unwrap();
    }
    let load = studio.held_load(&flasks).await;
    sqlx::raw_sql(
        "UPDATE kiln_loads SET programme = '[{\"kind\":\"ramp\",\"target_c\":730,\"minutes\":240},
             {\"kind\":\"ramp\",\"target_c\":520,\"minutes\":240},{\"kind\":\"hold\",\"target_c\":520,\"minutes\":60}]';
         UPDATE kiln_load_flasks x SET planned_pour_at = planned_pour_at + (520 - f.flask_c) * interval '1 minute'
         FROM flasks f WHERE f.id = x.flask_id",
    )
    .execute(pool)
    .await
    .unwrap();
    (load, flasks)
}

/// The words of a page, without its marks.
async fn words(actor: &Actor, place: &str) -> String {
    let answer = actor.get(place).await;
    let mut words = String::new();
    let mut inside = false;
    for letter in answer.page().chars() {
        match letter {
            '<' => inside = true,
            '>' => inside = false,
            '\u{a0}' | '\u{202f}' | '\u{2009}' => words.push(' '),
            letter if !inside => words.push(letter),
            _ => {}
        }
    }
    words
}

/// The places at which texts stand, which have to follow each other.
fn in_order(words: &str, texts: &[&str]) {
    let mut at = 0;
    for text in texts {
        let found = words[at..].find(text);
        at += found.unwrap_or_else(|| panic!("{text} is missing after {at}: {words}")) + text.len();
    }
}

/// The big kiln takes 55 min for 100 K: 22 min for 40 K and 16.5, rounded up, for 30 K.
#[tokio::test(flavor = "multi_thread")]
async fn the_controller_is_turned_down_between_the_pours_of_a_load() {
    let studio = Studio::open().await;
    let (load, flasks) = load_of_three(&studio).await;
    let maker = studio.maker().await;
    let [first, second, third] = flasks.map(|flask| flask.to_string());
    let after = "After this pour, Big kiln: controller to 480 °C, about 22 min";
    let then = "After this pour, Big kiln: controller to 450 °C, about 17 min";
    let sheet = words(&maker, "/pours").await;
    in_order(&sheet, &[&first, after, &second, then, &third]);
    in_order(
        &sheet,
        &[
            &format!("Record the pour of flask {second}"),
            "This flask is to have 480 °C",
            "After it: controller to 450 °C",
        ],
    );
    let of_load = words(&maker, &format!("/loads/{load}")).await;
    let between = |celsius| format!("After this pour: controller to {celsius} °C, about");
    in_order(&of_load, &[&between(480), &second, &between(450), &third]);
    let now = words(&maker, "/now").await;
    let asked = format!("Pour flask {first}");
    in_order(&now, &[&asked, "after it, controller to", "480 °C, about 22 min"]);
    let paper = crate::paper::text_of(&maker, "/pours/sheet.pdf").await;
    let down = format!("After flask {first}, Big kiln: controller to 480 °C, about 22 min");
    let more = format!("After flask {second}, Big kiln: controller to 450 °C, about 17 min");
    in_order(&paper, &[&first, &second, &third, &down, &more]);

    // One of them was poured: the kiln still has to come down for the next.
    sqlx::query(
        "INSERT INTO pours (id, flask_id, kiln_load_id, fresh_cg, returns_cg, own_cg, melt_c, flask_c, method, result, poured_at)
         SELECT gen_random_uuid(), f.id, l.id, 20000, 0, 0, 1000, 520, 'vacuum', 'good', $3
         FROM flasks f, kiln_loads l WHERE f.number = $1 AND l.number = $2",
    )
    .bind(flasks[0])
    .bind(load)
    .bind(studio.clock.now())
    .execute(&studio.db.pool)
    .await
    .unwrap();
    sqlx::query("UPDATE flasks SET state = 'poured' WHERE number = $1")
        .bind(flasks[0])
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let sheet = words(&maker, "/pours").await;
    in_order(
        &sheet,
        &["Before this pour, Big kiln: controller to 480 °C, about 22 min", &second, then, &third],
    );
    let now = words(&maker, "/now").await;
    let asked = format!("Pour flask {second}");
    in_order(&now, &[&asked, "first, controller to", "480 °C", "after it, controller to"]);
}

/// Where all are cast at the temperature of the programme's end, nothing is said.
#[tokio::test(flavor = "multi_thread")]
async fn nothing_is_said_where_nothing_is_to_be_turned() {
    let studio = Studio::open().await;
    load_of_three(&studio).await;
    sqlx::query("UPDATE flasks SET flask_c = 520").execute(&studio.db.pool).await.unwrap();
    let maker = studio.maker().await;
    for place in ["/pours", "/now"] {
        assert!(!words(&maker, place).await.contains("controller to"), "{place}");
    }
    let paper = crate::paper::text_of(&maker, "/pours/sheet.pdf").await;
    assert!(!paper.contains("controller"), "{paper}");
}

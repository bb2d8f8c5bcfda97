//! What is usually lost, by process, by job and by person, with limits that were worked out by hand.

use pourday::id::AlloyId;
use pourday::metal::{self, Account, Entry, Kind, Move};

use crate::support::builders_orders::alloy;
use crate::support::studio::Studio;

/// A passed piece whose finishing took so much of 20.00 g, by whom, so many days ago.
async fn filed(studio: &Studio, label: &str, filed_cg: i64, login: &str, days_ago: i64) {
    let at = studio.clock.now().plus_minutes(-60 * 24 * days_ago);
    sqlx::query(
        "INSERT INTO finishing (id, attempt_id, begun_at, raw_cg, finished_cg, minutes, passed, ended_at, person_id)
         SELECT gen_random_uuid(), $1, $2, 2000, 2000 - $3, 30, true, $2, id FROM people WHERE login = $4",
    )
    .bind(studio.attempt_of(label).await)
    .bind(at)
    .bind(filed_cg)
    .bind(login)
    .execute(&studio.db.pool)
    .await
    .unwrap();
}

/// A flask that was charged with 100.00 g, poured and cut off, so many days ago.
async fn poured(studio: &Studio, alloy: AlloyId, lost_cg: i64, login: &str, days_ago: i64) {
    let at = studio.clock.now().plus_minutes(-60 * 24 * days_ago);
    let mut tx = studio.db.pool.begin().await.unwrap();
    // What else a flask and a pour refer to is left out.
    sqlx::query("SET LOCAL session_replication_role = replica").execute(&mut *tx).await.unwrap();
    let number: i32 = sqlx::query_scalar(
        "WITH f AS (INSERT INTO flasks (id, flask_type_id, alloy_id, investment_id, family_id, flask_c, created_at, state,
                tree_mass_g, base_mass_g, charge_g, powder_g, water_g, mixed_at, set_from_at)
            VALUES (gen_random_uuid(), gen_random_uuid(), $1, gen_random_uuid(), gen_random_uuid(), 540, $2, 'divested',
                80, 50, 100, 900, 360, $2, $2) RETURNING id, number),
         p AS (INSERT INTO pours (id, flask_id, kiln_load_id, fresh_cg, returns_cg, melt_c, flask_c, poured_at, result, person_id)
            SELECT gen_random_uuid(), f.id, gen_random_uuid(), 10000, 0, 970, 540, $2, 'good', n.id FROM f, people n WHERE n.login = $3)
         SELECT number FROM f",
    )
    .bind(alloy)
    .bind(at)
    .bind(login)
    .fetch_one(&mut *tx)
    .await
    .unwrap();
    sqlx::query("SET LOCAL session_replication_role = DEFAULT").execute(&mut *tx).await.unwrap();
    let subject = format!("flask:{number}");
    let entry = |kind| Entry::new(kind, at, None, &subject);
    let charge = [
        Move::new(Account::Supplier, Account::Fresh, 10_000),
        Move::new(Account::Fresh, Account::Cast, 10_000),
    ];
    metal::post(&mut tx, &entry(Kind::Poured), alloy, &charge).await.unwrap();
    let cut = [
        Move::new(Account::Cast, Account::Pieces, 10_000 - lost_cg),
        Move::new(Account::Cast, Account::Loss, lost_cg),
    ];
    metal::post(&mut tx, &entry(Kind::Divested), alloy, &cut).await.unwrap();
    tx.commit().await.unwrap();
}

/// The part of a page under a heading.
fn under<'p>(page: &'p str, heading: &str) -> &'p str {
    let rest = page.split(&format!("<h2>{heading}</h2>")).nth(1).unwrap();
    rest.split("</section>").next().unwrap()
}

/// The row of a table that begins with some words, with what its figures open into.
fn row<'p>(part: &'p str, words: &str) -> &'p str {
    let rest = part.split(&format!("<tr><td>{words}")).nth(1);
    let rest = rest.unwrap_or_else(|| panic!("no row of {words} in {part}"));
    rest.split("<tr><td>").next().unwrap()
}

/// 10, 11, 10, 11, 10 and 40 % of six jobs: the mean is 15.33 %, the steps are 1, 1, 1, 1 and 30, so
/// 6.8 in the mean, and the upper limit is 15.33 + 3 × 6.8 ÷ 1.128 = 33.41 %.
#[tokio::test(flavor = "multi_thread")]
async fn a_job_of_which_much_is_filed_off_is_told_apart_by_limits_of_the_process() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let mut last = String::new();
    for (n, cg) in [200, 220, 200, 220, 200, 800].into_iter().enumerate() {
        if n == 4 {
            let early = owner.get("/metal/losses").await;
            let process = under(early.page(), "By process");
            assert!(row(process, "finishing").contains("from five jobs on"), "{process}");
            assert!(!early.body.contains("not as usual"));
        }
        let labels = studio.pieces(2, None).await;
        for label in &labels {
            filed(&studio, label, cg, "owner", 20 - n as i64).await;
        }
        last.clone_from(&labels[0]);
    }
    let page = owner.get("/metal/losses").await;
    let process = under(page.page(), "By process");
    let finishing = row(process, "finishing");
    assert!(finishing.contains("0.00 to 33.41") && finishing.contains("1 beyond"), "{finishing}");
    assert!(finishing.contains("rough, of 6"), "six are few, and that is said");
    assert!(finishing.contains("6.3.2.2"), "the limits open into their source");
    assert!(process.contains("finishing, job by job") && process.contains("class=\"beyond\""));
    let jobs = under(&page.body, "By job");
    let number = last.split('-').next().unwrap();
    let job = row(jobs, &format!("<a href=\"/orders/{number}\">"));
    assert!(job.contains(">40.00<span") && job.contains("not as usual"), "{job}");
    assert_eq!(jobs.matches("not as usual").count(), 1);
}

/// Two people, twelve pieces of one design: 10 and 11 % in turn, 14 and 15 % in turn. Within, s is
/// √(12 × 0.25 ÷ 10) = 0.5477; 12.5 ± 3 × 0.5477 × √(6 ÷ 72) is 12.03 to 12.97.
#[tokio::test(flavor = "multi_thread")]
async fn who_files_off_more_of_the_same_design_is_told_only_when_it_is_more_than_chance() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    studio.maker().await;
    let labels = studio.pieces(12, None).await;
    for (n, label) in labels.iter().enumerate() {
        if n == 8 {
            let early = owner.get("/metal/losses").await;
            let people = under(early.page(), "Taken off in finishing");
            assert_eq!(people.matches("too few to say").count(), 2, "of four each: {people}");
        }
        let (login, more) = if n % 2 == 0 { ("owner", 0) } else { ("maker", 80) };
        let cg = 200 + more + if n / 2 % 2 == 0 { 0 } else { 20 };
        filed(&studio, label, cg, login, 20 - n as i64).await;
    }
    let page = owner.get("/metal/losses").await;
    let people = under(page.page(), "Taken off in finishing");
    for (name, mean, verdict) in [
        ("owner", "10.50", "less than chance explains"),
        ("maker", "14.50", "more than chance explains"),
    ] {
        let person = row(people, name);
        assert!(person.contains(&format!(">{mean}<span")), "{person}");
        assert!(person.contains("12.03 to 12.97") && person.contains(verdict), "{person}");
        assert!(person.contains("Industrial Quality Control"), "the limits open into their source");
    }
    // The same shares of designs that nobody shares say nothing of people.
    sqlx::query("DELETE FROM finishing").execute(&studio.db.pool).await.unwrap();
    for (login, cg) in [("owner", 200), ("maker", 300)] {
        for (n, label) in studio.pieces(6, None).await.iter().enumerate() {
            filed(&studio, label, cg + n as i64, login, 20).await;
        }
    }
    let page = owner.get("/metal/losses").await;
    let people = under(page.page(), "Taken off in finishing");
    assert_eq!(people.matches("too few to say").count(), 2, "{people}");
}

/// 1.0 and 1.2 % in turn, 2.0 and 2.2 % in turn: s is √(12 × 0.01 ÷ 10) = 0.1095, and
/// 1.6 ± 3 × 0.1095 × √(6 ÷ 72) is 1.51 to 1.69. In another alloy both lose alike.
#[tokio::test(flavor = "multi_thread")]
async fn who_pours_is_held_against_others_in_the_same_alloy_only() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    studio.maker().await;
    let sterling = alloy(&studio.db.pool, "Sterling", 10.4).await;
    for n in 0..12_i64 {
        let (login, more) = if n % 2 == 0 { ("owner", 0) } else { ("maker", 100) };
        poured(&studio, sterling, 100 + more + 20 * (n / 2 % 2), login, 40 - n).await;
    }
    let page = owner.get("/metal/losses").await;
    let people = under(page.page(), "By who poured");
    let maker = row(people, "maker");
    assert!(maker.contains("1.51 to 1.69") && maker.contains("more than chance"), "{maker}");
    assert!(row(people, "owner").contains("less than chance explains"));
    // Gold loses much in the maker's hands, but nobody else pours it: that changes nothing.
    let gold = alloy(&studio.db.pool, "Gold", 15.0).await;
    for n in 0..6_i64 {
        poured(&studio, gold, 900, "maker", 20 - n).await;
    }
    let page = owner.get("/metal/losses").await;
    let people = under(page.page(), "By who poured");
    assert!(row(people, "maker").contains("1.51 to 1.69"), "{people}");
    assert!(row(people, "maker").contains(">5.55<span"), "the plain share is of everything");
    let process = under(&page.body, "By process");
    assert!(
        process.contains("casting, flask by flask"),
        "of two alloys casting is drawn as a whole"
    );
}

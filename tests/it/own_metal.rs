//! Clients' own metal and alloying: what is brought stays owed until it is given back, handed
//! over or settled; a melt makes as much as went in.

use axum::http::StatusCode;
use pourday::id::{AlloyId, ClientId};
use pourday::metal::{self, Account};
use sqlx::PgPool;

use crate::support::builders_orders;
use crate::support::hot::pour;
use crate::support::studio::{Actor, Studio};

async fn client(pool: &PgPool, name: &str) -> ClientId {
    let id = ClientId::new();
    sqlx::query("INSERT INTO clients (id, name, created_at) VALUES ($1, $2, now())")
        .bind(id)
        .bind(name)
        .execute(pool)
        .await
        .unwrap();
    id
}

/// An alloy of one precious metal and copper.
async fn alloy_of(pool: &PgPool, name: &str, metal: &str, parts: i32) -> AlloyId {
    let id = builders_orders::alloy(pool, name, 12.0).await;
    sqlx::query("DELETE FROM alloy_parts WHERE alloy_id = $1")
        .bind(id)
        .execute(pool)
        .await
        .unwrap();
    for (metal, parts) in [(metal, parts), ("Cu", 1000 - parts)] {
        if parts > 0 {
            sqlx::query("INSERT INTO alloy_parts VALUES ($1, $2, $3)")
                .bind(id)
                .bind(metal)
                .bind(parts)
                .execute(pool)
                .await
                .unwrap();
        }
    }
    id
}

async fn held(pool: &PgPool, alloy: AlloyId, account: Account) -> i64 {
    metal::held(pool, alloy, account).await.unwrap()
}

async fn bring(actor: &Actor, client: ClientId, alloy: AlloyId, grams: &str) {
    let alloy = alloy.to_string();
    let fields = [("alloy", alloy.as_str()), ("grams", grams), ("note", "two old rings")];
    actor.post(&format!("/metal/clients/{client}/receive"), &fields).await.led_to();
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_client_brings_is_owed_until_it_is_back_or_settled() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let alloy = builders_orders::alloy(pool, "Sterling", 10.4).await;
    let ada = client(pool, "Ada Quill").await;
    let page = format!("/metal/clients/{ada}");
    assert!(owner.get(&page).await.page().contains("has no metal here"));
    assert!(owner.get("/metal/clients").await.page().contains("No metal of a client is here"));
    bring(&owner, ada, alloy, "50.00").await;
    assert_eq!(held(pool, alloy, Account::Own(ada)).await, 5_000);
    assert_eq!(held(pool, alloy, Account::Client(ada)).await, -5_000);
    assert_eq!(held(pool, alloy, Account::Fresh).await, 0, "it is not the studio's");

    let id = alloy.to_string();
    let more = [("alloy", id.as_str()), ("grams", "50.01")];
    let refused = owner.post(&format!("{page}/give-back"), &more).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.body.contains("only 50.00 g of Sterling in the client&#39;s drawer"));
    assert!(refused.body.contains("value=\"50.01\""), "what was typed is kept");
    let some = [("alloy", id.as_str()), ("grams", "12.5")];
    owner.post(&format!("{page}/give-back"), &some).await.led_to();
    assert_eq!(held(pool, alloy, Account::Own(ada)).await, 3_750);

    // Nothing is lost while all of it lies in the drawer, so there is no loss to bear.
    let settle = |what: &str, grams: &str| {
        [
            ("what", what.to_owned()),
            ("settle_alloy", id.clone()),
            ("settle_grams", grams.to_owned()),
            ("settle_note", "as agreed by telephone".to_owned()),
        ]
    };
    let send = |fields: [(&'static str, String); 4]| {
        let (owner, page) = (owner.clone(), page.clone());
        async move { builders_orders::post(&owner, &format!("{page}/settle"), &fields).await }
    };
    let refused = send(settle("loss", "0.01")).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.body.contains("Only 0.00 g of it is owed to them beyond their drawer"));
    send(settle("kept", "7.5")).await.led_to();
    assert_eq!(held(pool, alloy, Account::Own(ada)).await, 3_000);
    assert_eq!(held(pool, alloy, Account::Client(ada)).await, -3_000);
    assert_eq!(held(pool, alloy, Account::Fresh).await, 750);
    let wordless = [("what", "kept"), ("settle_alloy", &id), ("settle_grams", "1")];
    let refused = owner.post(&format!("{page}/settle"), &wordless).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);

    let statement = owner.get(&page).await;
    for words in ["brought to us", "given back", "settled by agreement", "two old rings"] {
        assert!(statement.page().contains(words), "{words}");
    }
    // Until the day before nothing had been brought.
    let before = owner.get(&format!("{page}?until=2026-11-24")).await;
    assert!(before.page().contains("Nothing moved in this time"));
    assert!(owner.get("/metal/clients").await.page().contains("Ada Quill"));
    let wrong = owner.get(&format!("{page}?from=soon")).await;
    assert!(wrong.page().contains("A day is needed"));
    let nobody = format!("/metal/clients/{}", ClientId::new());
    assert_eq!(owner.get(&nobody).await.status, StatusCode::NOT_FOUND);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_reversed_entry_stands_in_the_statement_with_its_opposite() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let alloy = builders_orders::alloy(pool, "Sterling", 10.4).await;
    let ada = client(pool, "Ada Quill").await;
    bring(&owner, ada, alloy, "20").await;
    let batch: uuid::Uuid =
        sqlx::query_scalar("SELECT id FROM metal_batches WHERE kind = 'received'")
            .fetch_one(pool)
            .await
            .unwrap();
    owner.post(&format!("/metal/entries/{batch}"), &[("reason", "it was 10.00 g")]).await.led_to();
    let statement = owner.get(&format!("/metal/clients/{ada}")).await;
    assert!(statement.page().contains("taken back: brought to us"));
    assert_eq!(held(pool, alloy, Account::Own(ada)).await, 0);
    assert_eq!(metal::open_with(pool, ada).await.unwrap(), None);
}

async fn buy(actor: &Actor, alloy: AlloyId, lot: &str, grams: &str) {
    let alloy = alloy.to_string();
    let fields =
        [("alloy", alloy.as_str()), ("lot", lot), ("grams", grams), ("bought_on", "2026-11-25")];
    actor.post("/metal/buy", &fields).await.led_to();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_melt_is_worked_out_from_stock_and_makes_what_went_in() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let ten = alloy_of(pool, "Ten karat", "Au", 417).await;
    let fine = alloy_of(pool, "Fine gold", "Au", 1000).await;
    let target = alloy_of(pool, "Five eight five", "Au", 585).await;
    buy(&owner, ten, "A", "100").await;
    buy(&owner, fine, "B", "60").await;
    assert!(owner.get("/metal/melt").await.page().contains("What is in hand"));
    // 100·(585 − 417)/(1000 − 585) = 40.4819 g, by arithmetic; 40.49 g on the scale.
    let query =
        format!("/metal/melt?alloy={ten}&account=fresh&grams=100&metal=Au&target=585&step=0.01");
    let page = owner.get(&query).await;
    assert!(page.page().contains("Exactly 40.4819 g"), "{}", page.body);
    assert!(page.body.contains("40.49") && page.body.contains("585.02"));
    let typed = |add: &'static str, into: AlloyId, after: &'static str| {
        vec![
            ("alloy", ten.to_string()),
            ("account", "fresh".to_owned()),
            ("grams", "100".to_owned()),
            ("metal", "Au".to_owned()),
            ("target", "585".to_owned()),
            ("step", "0.01".to_owned()),
            ("with", fine.to_string()),
            ("add", add.to_owned()),
            ("into", into.to_string()),
            ("after", after.to_owned()),
        ]
    };
    let melt = |fields: Vec<(&'static str, String)>| {
        let owner = owner.clone();
        async move { builders_orders::post(&owner, "/metal/melt", &fields).await }
    };
    // A hundredth less and it is no 585 any more.
    let short = melt(typed("40.48", target, "140.48")).await;
    assert_eq!(short.status, StatusCode::CONFLICT);
    assert!(short.body.contains("not fine enough"), "{}", short.body);
    let heavy = melt(typed("40.49", target, "140.50")).await;
    assert_eq!(heavy.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(heavy.body.contains("cannot weigh more than what went in"));
    let gone = melt(typed("70", target, "170")).await;
    assert_eq!(gone.status, StatusCode::CONFLICT);
    assert!(gone.body.contains("only 60.00 g of Fine gold in fresh"));
    let entry = melt(typed("40.49", target, "140.30")).await.led_to().to_owned();
    assert!(owner.get(&entry).await.page().contains("melted over"));
    assert_eq!(held(pool, ten, Account::Fresh).await, 0);
    assert_eq!(held(pool, fine, Account::Fresh).await, 1_951);
    assert_eq!(held(pool, target, Account::Fresh).await, 14_030);
    assert_eq!(held(pool, target, Account::Loss).await, 19);
    let melted: i64 = sqlx::query_scalar(
        "SELECT sum(b.cg)::bigint FROM metal_balances b JOIN metal_accounts a ON a.id = b.account_id WHERE a.kind = 'melted'",
    )
    .fetch_one(pool)
    .await
    .unwrap();
    assert_eq!(melted, 0, "what is melted from alloys is what others are made of");
    // And back.
    owner.post(&entry, &[("reason", "wrong alloy")]).await.led_to();
    assert_eq!(held(pool, ten, Account::Fresh).await, 10_000);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_database_refuses_a_melt_that_makes_more_than_went_in() {
    let studio = Studio::open().await;
    let pool = &studio.db.pool;
    let one = builders_orders::alloy(pool, "One", 10.4).await;
    let other = builders_orders::alloy(pool, "Other", 10.4).await;
    // Each alloy balances by itself, yet the melt makes a gram from nothing.
    let refused = sqlx::raw_sql(sqlx::AssertSqlSafe(format!(
        "INSERT INTO metal_accounts (id, kind, alloy_id)
           SELECT gen_random_uuid(), k, a FROM unnest(ARRAY['fresh', 'melted', 'supplier']) k, unnest(ARRAY['{one}'::uuid, '{other}'::uuid]) a;
         INSERT INTO metal_batches (id, kind, at) VALUES ('00000000-0000-0000-0000-000000000001', 'melted', now());
         INSERT INTO metal_postings (batch_id, account_id, cg)
           SELECT '00000000-0000-0000-0000-000000000001', id,
             CASE kind WHEN 'melted' THEN CASE alloy_id WHEN '{one}' THEN 500 ELSE -600 END
                       ELSE CASE alloy_id WHEN '{one}' THEN -500 ELSE 600 END END
           FROM metal_accounts WHERE kind IN ('supplier', 'melted');"
    )))
    .execute(pool)
    .await
    .unwrap_err();
    assert!(refused.to_string().contains("melts more or less than it makes"), "{refused}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_fineness_may_be_typed_in_karats_and_nonsense_is_told() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let ten = alloy_of(pool, "Ten karat", "Au", 375).await;
    alloy_of(pool, "Fine gold", "Au", 1000).await;
    let ask = |target: &str| {
        let owner = owner.clone();
        let query = format!("/metal/melt?alloy={ten}&grams=10&metal=Au&target={target}&step=0.01");
        async move { owner.get(&query).await.page().to_owned() }
    };
    // 10·(750 − 375)/(1000 − 750) = 15 g.
    assert!(ask("18k").await.contains("Exactly 15 g"));
    assert!(ask("18k").await.contains("There is too little of it"));
    assert!(ask("25k").await.contains("karats run from 0 to 24"));
    assert!(ask("lots").await.contains("Parts per thousand are needed"));
    assert!(ask("375").await.contains("has that fineness already"));
    assert!(ask("0").await.contains("above 0"));
    assert!(ask("100").await.contains("less fine"));
}

/// Marsaglia's xorshift: the same numbers on every run.
struct Chance(u64);

impl Chance {
    fn below(&mut self, n: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % n
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn whatever_is_done_with_a_clients_metal_it_adds_up() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let alloy = builders_orders::alloy(pool, "Sterling", 10.4).await;
    let ada = client(pool, "Ada Quill").await;
    let page = format!("/metal/clients/{ada}");
    let id = alloy.to_string();
    let mut chance = Chance(0x2545_F491_4F6C_DD1D);
    // A second book, kept beside the ledger: owed to her, in her drawer, kept by the studio.
    let (mut owed, mut drawer, mut kept) = (0_i64, 0_i64, 0_i64);
    let (mut done, mut refused) = (0, 0);
    for _ in 0..150 {
        let cg = chance.below(3_000) as i64 + 1;
        let grams = format!("{}.{:02}", cg / 100, cg % 100);
        let fields = [("alloy", id.as_str()), ("grams", grams.as_str())];
        let settle = |what| {
            [
                ("what", what),
                ("settle_alloy", id.as_str()),
                ("settle_grams", grams.as_str()),
                ("settle_note", "agreed"),
            ]
        };
        let (possible, answer) = match chance.below(4) {
            0 => (true, owner.post(&format!("{page}/receive"), &fields).await),
            1 => (cg <= drawer, owner.post(&format!("{page}/give-back"), &fields).await),
            2 => {
                let possible = cg <= drawer && cg <= owed;
                (possible, owner.post(&format!("{page}/settle"), &settle("kept")).await)
            }
            _ => {
                // Some of it is melted and lost on the way, so that there is a loss to bear.
                let melted = cg.min(drawer);
                if melted > 0 {
                    let mut tx = pool.begin().await.unwrap();
                    let entry =
                        metal::Entry::new(metal::Kind::Poured, studio.clock.now(), None, "flask:1");
                    let moves = [metal::Move::new(Account::Own(ada), Account::Loss, melted)];
                    metal::post(&mut tx, &entry, alloy, &moves).await.unwrap();
                    tx.commit().await.unwrap();
                    drawer -= melted;
                }
                let possible = cg <= owed - drawer;
                let answer = owner.post(&format!("{page}/settle"), &settle("loss")).await;
                if possible {
                    owed -= cg;
                }
                (possible, answer)
            }
        };
        assert_eq!(answer.status == StatusCode::SEE_OTHER, possible, "{}", answer.body);
        if possible {
            done += 1
        } else {
            refused += 1
        }
        // What was done is read back from the kind of answer, by the second book's own rules.
        let (was_owed, was_drawer) = (owed, drawer);
        owed = -held(pool, alloy, Account::Client(ada)).await;
        drawer = held(pool, alloy, Account::Own(ada)).await;
        let fresh = held(pool, alloy, Account::Fresh).await;
        let change = (owed - was_owed, drawer - was_drawer, fresh - kept);
        kept = fresh;
        if possible {
            assert!(
                [(cg, cg, 0), (-cg, -cg, 0), (-cg, -cg, cg), (0, 0, 0)].contains(&change),
                "{change:?}"
            );
        } else {
            assert_eq!(change, (0, 0, 0), "what is refused changes nothing");
        }
        assert!(drawer >= 0 && owed >= drawer);
    }
    assert!(done > 60 && refused > 20, "{done} {refused}");
    let sum: i64 = sqlx::query_scalar("SELECT sum(cg)::bigint FROM metal_balances")
        .fetch_one(pool)
        .await
        .unwrap();
    assert_eq!(sum, 0);
    let months: i64 = sqlx::query_scalar(
        "SELECT count(*) FROM metal_balances b
         FULL JOIN (SELECT account_id, sum(cg) AS cg FROM metal_months GROUP BY 1) m ON m.account_id = b.account_id
         FULL JOIN (SELECT account_id, sum(cg) AS cg FROM metal_days GROUP BY 1) d ON d.account_id = b.account_id
         WHERE b.cg IS DISTINCT FROM m.cg OR b.cg IS DISTINCT FROM d.cg",
    )
    .fetch_one(pool)
    .await
    .unwrap();
    assert_eq!(months, 0, "the months add up to the balances");
}

#[tokio::test(flavor = "multi_thread")]
async fn everything_that_can_be_weighed_is_counted_at_once() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let one = alloy_of(pool, "One", "Ag", 925).await;
    let other = alloy_of(pool, "Other", "Ag", 958).await;
    let ada = client(pool, "Ada Quill").await;
    buy(&owner, one, "A", "100").await;
    bring(&owner, ada, other, "20").await;
    let page = owner.get("/metal/count").await;
    assert!(page.page().contains("drawer of Ada Quill"));
    let fields = [
        (format!("fresh_{one}"), "99.5".to_owned()),
        (format!("seen_fresh_{one}"), "10000".to_owned()),
        (format!("own_{other}{ada}"), "20.1".to_owned()),
        (format!("seen_own_{other}{ada}"), "2000".to_owned()),
        (format!("returns_{other}"), "3".to_owned()),
        (format!("seen_returns_{other}"), "0".to_owned()),
        ("confirmed".to_owned(), "yes".to_owned()),
    ];
    let fields: Vec<(&str, &str)> =
        fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    owner.post("/metal/count", &fields).await.led_to();
    assert_eq!(held(pool, one, Account::Fresh).await, 9_950);
    assert_eq!(held(pool, other, Account::Own(ada)).await, 2_010);
    assert_eq!(held(pool, other, Account::Returns).await, 300);
    assert_eq!(held(pool, other, Account::Difference).await, -310);
    let stale = owner.post("/metal/count", &fields).await;
    assert_eq!(stale.status, StatusCode::CONFLICT);
    assert_eq!(held(pool, one, Account::Fresh).await, 9_950);
    let nothing = owner.post("/metal/count", &[("count_note", "x")]).await;
    assert_eq!(nothing.status, StatusCode::UNPROCESSABLE_ENTITY);
    // 99.50 g × 925 + (20.10 + 3.00) g × 958 parts in a thousand are 114.1673 g of silver.
    let fine = owner.get("/metal/fine/Ag").await;
    assert!(fine.page().contains("114.17"), "{}", fine.body);
    assert!(fine.body.contains("come to 0 g"));
    assert_eq!(owner.get("/metal/fine/Xx").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_large_difference_is_asked_about_before_it_is_posted() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let gold = alloy_of(pool, "Gold", "Au", 750).await;
    buy(&owner, gold, "A", "46").await;
    let item = gold.to_string();
    crate::support::builders_orders::price(pool, ("alloy", &item, "g"), "60", "2026-11-01").await;
    let (field, seen) = (format!("fresh_{gold}"), format!("seen_fresh_{gold}"));
    let nought = [(field.as_str(), "0"), (seen.as_str(), "4600"), ("count_note", "Friday")];
    let asked = owner.post("/metal/count", &nought).await;
    assert_eq!(asked.status, StatusCode::OK);
    assert!(asked.page().contains("Nothing is posted yet"));
    for words in ["−", ">46.00<span", ">−2760.00<span", "can be reversed", "value=\"Friday\""] {
        assert!(asked.body.contains(words), "{words}: {}", asked.body);
    }
    assert_eq!(held(pool, gold, Account::Fresh).await, 4_600);
    let maker = studio.maker().await;
    assert!(!maker.post("/metal/count", &nought).await.page().contains("Worth"), "no prices");
    let mut again = nought.to_vec();
    again.push(("again", "yes"));
    let back = owner.post("/metal/count", &again).await;
    assert!(back.page().contains("Post the stock take") && back.body.contains("value=\"0\""));
    // Half of a hundredth is what a scale does; it is posted as it is.
    let close = [(field.as_str(), "45.80"), (seen.as_str(), "4600")];
    owner.post("/metal/count", &close).await.led_to();
    assert_eq!(held(pool, gold, Account::Fresh).await, 4_580);
    let single = [("fresh", "0"), ("seen_fresh", "4580")];
    let place = format!("/metal/alloys/{gold}/count");
    let asked = owner.post(&place, &single).await;
    assert!(asked.page().contains("Nothing is posted yet"));
    let meant = [("fresh", "0"), ("seen_fresh", "4580"), ("confirmed", "yes")];
    owner.post(&place, &meant).await.led_to();
    assert_eq!(held(pool, gold, Account::Fresh).await, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_refiner_settles_comes_back_or_is_lost() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let sterling = alloy_of(pool, "Sterling", "Ag", 925).await;
    let fine = alloy_of(pool, "Fine silver", "Ag", 1000).await;
    buy(&owner, sterling, "A", "100").await;
    let place = format!("/metal/alloys/{sterling}");
    let count = [("filings", "40"), ("seen_filings", "0"), ("confirmed", "yes")];
    owner.post(&format!("{place}/count"), &count).await.led_to();
    let sent = [("from", "filings"), ("sent", "40")];
    owner.post(&format!("{place}/refine"), &sent).await.led_to();
    assert!(owner.get(&place).await.page().contains("Back from the refiner"));
    let fine_id = fine.to_string();
    let back = |settled: &'static str, came: &'static str| {
        [("settled", settled), ("came", came), ("into", fine_id.as_str())]
    };
    let more = owner.post(&format!("{place}/refined"), &back("41", "35")).await;
    assert_eq!(more.status, StatusCode::CONFLICT);
    assert!(more.body.contains("Only 40.00 g of it are with the refiner"));
    let heavier = owner.post(&format!("{place}/refined"), &back("40", "41")).await;
    assert_eq!(heavier.status, StatusCode::UNPROCESSABLE_ENTITY);
    owner.post(&format!("{place}/refined"), &back("40", "36.2")).await.led_to();
    assert_eq!(held(pool, sterling, Account::Refiner).await, 0);
    assert_eq!(held(pool, sterling, Account::Loss).await, 380);
    assert_eq!(held(pool, fine, Account::Fresh).await, 3_620);
    let losses = owner.get("/metal/losses").await;
    assert!(losses.page().contains("refining") && losses.body.contains("3.80"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flask_that_lost_more_than_usual_stands_out() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let alloy = builders_orders::alloy(pool, "Sterling", 10.4).await;
    // Losses of 1.0 and 1.2 % in turn, and 9 % at last: by hand the mean is 1.708 %, the mean
    // moving range 0.833 %, the upper limit 1.708 + 3 × 0.833 ÷ 1.128 = 3.92 %.
    for n in 0..13_i64 {
        let lost = if n == 12 { 900 } else { 100 + 20 * (n % 2) };
        let now = studio.clock.now().plus_minutes(-60 * 24 * (20 - n));
        let subject = format!("flask:{}", n + 1);
        let mut tx = pool.begin().await.unwrap();
        let entry = |kind| metal::Entry::new(kind, now, None, &subject);
        let charge = [
            metal::Move::new(Account::Supplier, Account::Fresh, 10_000),
            metal::Move::new(Account::Fresh, Account::Cast, 10_000),
        ];
        metal::post(&mut tx, &entry(metal::Kind::Poured), alloy, &charge).await.unwrap();
        let cut = [
            metal::Move::new(Account::Cast, Account::Pieces, 5_000),
            metal::Move::new(Account::Cast, Account::Returns, 5_000 - lost),
            metal::Move::new(Account::Cast, Account::Loss, lost),
        ];
        metal::post(&mut tx, &entry(metal::Kind::Divested), alloy, &cut).await.unwrap();
        tx.commit().await.unwrap();
    }
    let page = owner.get("/metal/losses").await;
    assert!(page.page().contains("0.00 to 3.92"), "{}", page.body);
    assert!(page.body.contains("1 beyond"));
    let beyond = page.body.matches("class=\"beyond\"").count();
    assert_eq!(beyond, 1, "the chart has a diamond for the flask beyond the limits");
    assert_eq!(page.body.matches("beyond the limits").count(), 1);
    assert!(page.body.contains("not noted"), "who poured is told, or that it was not noted");
    let earlier = owner.get("/metal/losses?from=2026-11-01&until=2026-11-12").await;
    assert!(!earlier.page().contains("1 beyond"));
    let wrong = owner.get("/metal/losses?from=soon").await;
    assert!(wrong.page().contains("A day is needed"));
}

/// Brought 60.00 g. Charged 50.00: castings 31.00, returns 18.50, lost 0.50. The pieces weigh 14.20
/// and 14.00 finished, 2.80 are filed off. Back from the drawer 10.00 + 18.50; 3.30 are lost and
/// filings, which is agreed. 60.00 − 14.20 − 14.00 − 28.50 − 3.30 = 0.
#[tokio::test(flavor = "multi_thread")]
async fn a_clients_metal_comes_back_as_pieces_and_returns_and_the_statement_ends_at_nothing() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let labels = studio.pieces(2, None).await;
    let alloy = studio.alloy_of(&labels[0]).await;
    let ada: ClientId = sqlx::query_scalar("SELECT id FROM clients").fetch_one(pool).await.unwrap();
    let page = format!("/metal/clients/{ada}");
    bring(&owner, ada, alloy, "60.00").await;

    let flask = studio.hot_flask(&[&labels[0], &labels[1]], 50.0).await;
    let sheet = owner.get("/pours").await;
    assert!(sheet.page().contains("Ada Quill, 60.00 g"), "her drawer is offered: {}", sheet.body);
    assert!(sheet.body.contains("value=\"50.00\""), "and proposed, as all pieces are hers");
    let whose = ada.to_string();
    let charge = pour(&[("own_g", "50"), ("own_client", &whose)]);
    owner.post(&format!("/pours/{flask}"), &charge).await.led_to();
    assert_eq!(held(pool, alloy, Account::Own(ada)).await, 1_000);
    studio.cut_off(&owner, flask, "31.00", "18.50").await;
    assert_eq!(held(pool, alloy, Account::Own(ada)).await, 2_850, "her returns are hers");
    assert_eq!(held(pool, alloy, Account::Returns).await, 0);

    studio.finish(&owner, &labels[0], "15.50", "14.20").await;
    studio.finish(&owner, &labels[1], "15.50", "14.00").await;
    for label in &labels {
        studio.hand_over(&owner, label).await;
    }
    assert_eq!(held(pool, alloy, Account::Client(ada)).await, -(6_000 - 1_420 - 1_400));
    assert_eq!(held(pool, alloy, Account::Delivered).await, 0, "what she got was hers");

    // She cannot be put out of use while metal is open.
    let id = alloy.to_string();
    let back = [("alloy", id.as_str()), ("grams", "28.50"), ("note", "fetched")];
    owner.post(&format!("{page}/give-back"), &back).await.led_to();
    assert!(metal::open_with(pool, ada).await.unwrap().unwrap().starts_with("3.30 g"));
    let borne = [
        ("what", "loss"),
        ("settle_alloy", id.as_str()),
        ("settle_grams", "3.30"),
        ("settle_note", "0.50 lost in the pour, 2.80 filed off, as agreed"),
    ];
    owner.post(&format!("{page}/settle"), &borne).await.led_to();
    assert_eq!(held(pool, alloy, Account::Client(ada)).await, 0);
    assert_eq!(held(pool, alloy, Account::Own(ada)).await, 0);
    assert_eq!(metal::open_with(pool, ada).await.unwrap(), None);
    let statement = owner.get(&page).await;
    for words in ["brought to us", "handed over", "given back", "settled by agreement"] {
        assert!(statement.page().contains(words), "{words}: {}", statement.body);
    }
    let sum: i64 = sqlx::query_scalar("SELECT sum(cg)::bigint FROM metal_balances")
        .fetch_one(pool)
        .await
        .unwrap();
    assert_eq!(sum, 0, "and nothing is lost elsewhere");
}

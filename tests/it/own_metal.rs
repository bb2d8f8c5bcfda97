//! Clients' own metal and alloying: what is brought stays owed until it is given back, handed
//! over or settled; a melt makes as much as went in.

use axum::http::StatusCode;
use pourday::id::{AlloyId, ClientId};
use pourday::metal::{self, Account};
use sqlx::PgPool;

use crate::support::builders_orders;
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

//! The metal ledger: it balances whatever is done, nothing is taken that is not
//! there, a mistake is reversed and never erased.

use std::collections::HashMap;

use axum::http::StatusCode;
use pourday::id::{AlloyId, MetalBatchId};
use pourday::metal::{self, Account, Entry, Kind, Move};
use pourday::web::Fault;
use sqlx::PgPool;

use crate::support::builders_orders;
use crate::support::studio::{Actor, NOW, Studio, moment};

const ONCE: &str = "01890a5d-ac96-774b-bcce-b302099a8057";

/// Posts in a transaction of its own.
async fn post(
    pool: &PgPool,
    kind: Kind,
    subject: &str,
    alloy: AlloyId,
    moves: &[Move],
) -> Result<MetalBatchId, Fault> {
    let mut tx = pool.begin().await?;
    let id =
        metal::post(&mut tx, &Entry::new(kind, moment(NOW), None, subject), alloy, moves).await?;
    tx.commit().await?;
    Ok(id)
}

async fn held(pool: &PgPool, alloy: AlloyId, account: Account) -> i64 {
    metal::held(pool, alloy, account).await.unwrap()
}

/// What must hold of any ledger, asked of the postings themselves.
async fn assert_sound(pool: &PgPool) {
    let unbalanced: i64 = sqlx::query_scalar(
        "SELECT count(*) FROM (SELECT p.batch_id, a.alloy_id FROM metal_postings p
           JOIN metal_accounts a ON a.id = p.account_id GROUP BY 1, 2 HAVING sum(p.cg) <> 0) b",
    )
    .fetch_one(pool)
    .await
    .unwrap();
    assert_eq!(unbalanced, 0, "every batch adds up to nothing");
    let wrong: i64 = sqlx::query_scalar(
        "SELECT count(*) FROM metal_balances b FULL JOIN
           (SELECT account_id, sum(cg) AS cg FROM metal_postings GROUP BY account_id) p
           ON p.account_id = b.account_id WHERE b.cg IS DISTINCT FROM p.cg",
    )
    .fetch_one(pool)
    .await
    .unwrap();
    assert_eq!(wrong, 0, "each balance is the sum of its postings");
    let below: i64 = sqlx::query_scalar(
        "SELECT count(*) FROM metal_balances b JOIN metal_accounts a ON a.id = b.account_id
         WHERE b.cg < 0 AND a.kind IN ('fresh', 'returns', 'cast', 'pieces', 'filings')",
    )
    .fetch_one(pool)
    .await
    .unwrap();
    assert_eq!(below, 0, "nothing in the house is below nothing");
}

/// Marsaglia's xorshift: the same numbers on every run.
struct Chance(u64);

impl Chance {
    fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % n as u64) as usize
    }
}

const STOCK: [Account; 5] =
    [Account::Fresh, Account::Returns, Account::Cast, Account::Pieces, Account::Filings];

const EVERYWHERE: [Account; 10] = [
    Account::Fresh,
    Account::Returns,
    Account::Cast,
    Account::Pieces,
    Account::Filings,
    Account::Supplier,
    Account::Delivered,
    Account::Refiner,
    Account::Loss,
    Account::Difference,
];

#[tokio::test(flavor = "multi_thread")]
async fn the_ledger_stays_sound_through_many_random_entries() {
    let studio = Studio::open().await;
    studio.owner().await;
    let pool = &studio.db.pool;
    let alloys = [
        builders_orders::alloy(pool, "Sterling", 10.4).await,
        builders_orders::alloy(pool, "Britannia", 10.4).await,
    ];
    let mut chance = Chance(0x9E37_79B9_7F4A_7C15);
    // A ledger beside the ledger: plain sums, written down independently.
    let mut expected: HashMap<(AlloyId, &'static str), i64> = HashMap::new();
    let mut standing: Vec<(MetalBatchId, AlloyId, Vec<Move>)> = Vec::new();
    let (mut done, mut refused, mut taken_back) = (0, 0, 0);
    for _ in 0..400 {
        let alloy = alloys[chance.below(2)];
        if chance.below(6) == 0 && !standing.is_empty() {
            let at = chance.below(standing.len());
            let (batch, alloy, moves) = standing[at].clone();
            let back: Vec<Move> =
                moves.iter().map(|each| Move::new(each.to, each.from, each.cg)).collect();
            let after = after(&expected, alloy, &back, Judged::AtTheEnd);
            let mut tx = pool.begin().await.unwrap();
            let result = metal::reverse(&mut tx, batch, moment(NOW), None, "slip").await;
            match (after, result) {
                (Some(after), Ok(_)) => {
                    tx.commit().await.unwrap();
                    expected.extend(after);
                    standing.swap_remove(at);
                    taken_back += 1;
                }
                (None, Err(Fault::Refused(_))) => refused += 1,
                (after, result) => panic!("expected {}, got {result:?}", after.is_some()),
            }
            continue;
        }
        let mut moves = Vec::new();
        for _ in 0..=chance.below(3) {
            let from = EVERYWHERE[chance.below(EVERYWHERE.len())];
            let to = EVERYWHERE[chance.below(EVERYWHERE.len())];
            if from != to {
                moves.push(Move::new(from, to, chance.below(4000) as i64));
            }
        }
        moves.retain(|each| each.cg > 0);
        if moves.is_empty() {
            continue;
        }
        let wanted = after(&expected, alloy, &moves, Judged::MoveByMove);
        match (wanted, post(pool, Kind::Counted, "", alloy, &moves).await) {
            (Some(after), Ok(batch)) => {
                expected.extend(after);
                standing.push((batch, alloy, moves));
                done += 1;
            }
            (None, Err(Fault::Refused(refusal))) => {
                assert!(refusal.message.contains("Nothing was posted"));
                refused += 1;
            }
            (after, result) => panic!("expected {}, got {result:?}", after.is_some()),
        }
    }
    assert!(done > 80 && refused > 30 && taken_back > 20, "{done} {refused} {taken_back}");
    assert_sound(pool).await;
    for alloy in alloys {
        let mut sum = 0;
        for account in EVERYWHERE {
            let cg = held(pool, alloy, account).await;
            assert_eq!(cg, expected.get(&(alloy, account.kind())).copied().unwrap_or(0));
            sum += cg;
        }
        assert_eq!(sum, 0, "metal of an alloy neither comes from nowhere nor goes there");
    }
}

/// The balances after some moves; none when one of them would take what is not
/// there. New moves are judged one by one, a reversal by where it ends.
fn after(
    before: &HashMap<(AlloyId, &'static str), i64>,
    alloy: AlloyId,
    moves: &[Move],
    judged: Judged,
) -> Option<HashMap<(AlloyId, &'static str), i64>> {
    let mut after = before.clone();
    let below = |after: &HashMap<(AlloyId, &'static str), i64>, account: Account| {
        STOCK.contains(&account) && after.get(&(alloy, account.kind())).is_some_and(|cg| *cg < 0)
    };
    for each in moves {
        *after.entry((alloy, each.to.kind())).or_default() += each.cg;
        *after.entry((alloy, each.from.kind())).or_default() -= each.cg;
        if judged == Judged::MoveByMove && below(&after, each.from) {
            return None;
        }
    }
    let ends_below = moves.iter().any(|each| below(&after, each.from));
    (!ends_below).then_some(after)
}

#[derive(PartialEq, Eq)]
enum Judged {
    MoveByMove,
    AtTheEnd,
}

#[tokio::test(flavor = "multi_thread")]
async fn of_two_who_take_the_last_grams_one_is_refused() {
    let studio = Studio::open().await;
    let pool = &studio.db.pool;
    let alloy = builders_orders::alloy(pool, "Sterling", 10.4).await;
    let bought = [Move::new(Account::Supplier, Account::Fresh, 1000)];
    post(pool, Kind::Bought, "lot:1", alloy, &bought).await.unwrap();
    let charge = [Move::new(Account::Fresh, Account::Cast, 700)];
    let (one, other) = tokio::join!(
        post(pool, Kind::Poured, "flask:1", alloy, &charge),
        post(pool, Kind::Poured, "flask:2", alloy, &charge)
    );
    assert_eq!([one.is_ok(), other.is_ok()].iter().filter(|good| **good).count(), 1);
    assert_eq!(held(pool, alloy, Account::Fresh).await, 300);
    assert_sound(pool).await;
}

/// Takes metal from the bench in a transaction of its own.
async fn leave_bench(
    pool: &PgPool,
    kind: Kind,
    alloy: AlloyId,
    to: Account,
    cg: i64,
) -> Result<(), Fault> {
    let mut tx = pool.begin().await?;
    let entry = Entry::new(kind, moment(NOW), None, "piece:1042-1");
    metal::leave_bench(&mut tx, &entry, alloy, to, cg).await?;
    Ok(tx.commit().await?)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_piece_weighed_alone_may_be_a_little_more_than_its_share_of_the_tree() {
    let studio = Studio::open().await;
    let pool = &studio.db.pool;
    let alloy = builders_orders::alloy(pool, "Sterling", 10.4).await;
    let moves = [
        Move::new(Account::Supplier, Account::Fresh, 3000),
        Move::new(Account::Fresh, Account::Cast, 3000),
        Move::new(Account::Cast, Account::Pieces, 1500),
        Move::new(Account::Cast, Account::Returns, 1500),
    ];
    post(pool, Kind::Divested, "flask:1", alloy, &moves).await.unwrap();
    leave_bench(pool, Kind::Finished, alloy, Account::Filings, 65).await.unwrap();
    leave_bench(pool, Kind::Delivered, alloy, Account::Delivered, 655).await.unwrap();
    assert_eq!(held(pool, alloy, Account::Pieces).await, 780);
    // 0.16 g more than is left is beyond two parts in a hundred of 7.96 g; 0.04 g is not.
    let slip = leave_bench(pool, Kind::Scrapped, alloy, Account::Returns, 796).await;
    assert!(matches!(slip, Err(Fault::Refused(_))));
    leave_bench(pool, Kind::Scrapped, alloy, Account::Returns, 784).await.unwrap();
    assert_eq!(held(pool, alloy, Account::Pieces).await, 0);
    assert_eq!(held(pool, alloy, Account::Returns).await, 1500 + 784);
    assert_eq!(held(pool, alloy, Account::Difference).await, -4);
    assert_sound(pool).await;
}

async fn buy(actor: &Actor, alloy: AlloyId, lot: &str, grams: &str, on: &str) -> String {
    let alloy = alloy.to_string();
    let fields = [
        ("alloy", alloy.as_str()),
        ("lot", lot),
        ("grams", grams),
        ("price", "0.98"),
        ("bought_on", on),
        ("supplier", "Quayside Metals"),
    ];
    actor.post("/metal/buy", &fields).await.led_to().to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lot_is_bought_once_and_stands_at_its_day() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let alloy = builders_orders::alloy(pool, "Sterling", 10.4).await;
    let place = buy(&owner, alloy, "K-17", "250.50", "2026-11-20").await;
    assert!(owner.get(&place).await.page().contains("250.50"));
    assert_eq!(held(pool, alloy, Account::Fresh).await, 25_050);
    let id = alloy.to_string();
    let again =
        [("alloy", id.as_str()), ("lot", "K-17"), ("grams", "10"), ("bought_on", "2026-11-25")];
    let refused = owner.post("/metal/buy", &again).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.body.contains("already in the ledger"));
    let before = owner.get("/metal?on=2026-11-19").await;
    assert!(!before.page().contains("250.50"));
    let after = owner.get("/metal?on=2026-11-20").await;
    assert!(after.page().contains("250.50"));
    // 925 parts in a thousand of 250.50 g, by hand.
    assert!(after.body.contains("231.71"), "fine silver by composition");
    assert_sound(pool).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn makers_see_masses_and_no_prices() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let maker = studio.maker().await;
    let pool = &studio.db.pool;
    let alloy = builders_orders::alloy(pool, "Sterling", 10.4).await;
    buy(&owner, alloy, "K-17", "100", "2026-11-25").await;
    buy(&maker, alloy, "K-18", "50", "2026-11-25").await;
    let priced: Vec<bool> =
        sqlx::query_scalar("SELECT price_per_g IS NOT NULL FROM metal_lots ORDER BY lot")
            .fetch_all(pool)
            .await
            .unwrap();
    assert_eq!(priced, [true, false], "a maker's form has no price to read");
    let page = format!("/metal/alloys/{alloy}");
    assert!(owner.get(&page).await.page().contains("0.98"));
    let seen = maker.get(&page).await;
    assert!(seen.page().contains("150.00") && !seen.body.contains("0.98"));
    assert!(!maker.get("/metal/buy").await.page().contains("Paid for a gram"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_count_posts_the_difference_and_a_stale_one_posts_nothing() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let alloy = builders_orders::alloy(pool, "Sterling", 10.4).await;
    buy(&owner, alloy, "K-17", "100", "2026-11-25").await;
    let place = format!("/metal/alloys/{alloy}/count");
    let fields = [
        ("fresh", "99.40"),
        ("seen_fresh", "10000"),
        ("returns", "12.5"),
        ("seen_returns", "0"),
        ("filings", ""),
        ("seen_filings", "0"),
        ("count_note", "Friday"),
        ("confirmed", "yes"),
        ("once", ONCE),
    ];
    let first = owner.post(&place, &fields).await;
    let again = owner.post(&place, &fields).await;
    assert_eq!(first.led_to(), again.led_to(), "a second tap leads to the same entry");
    assert_eq!(held(pool, alloy, Account::Fresh).await, 9_940);
    assert_eq!(held(pool, alloy, Account::Returns).await, 1_250);
    assert_eq!(held(pool, alloy, Account::Difference).await, 60 - 1_250);
    let stale = owner.post(&place, &fields[..8]).await;
    assert_eq!(stale.status, StatusCode::CONFLICT);
    assert!(stale.body.contains("Metal moved while you were counting"));
    assert!(stale.body.contains("value=\"99.40\"") && stale.body.contains("value=\"9940\""));
    for (field, typed, message) in [
        ("fresh", "lots", "“lots” is not a number"),
        ("fresh", "-1", "must be between 0"),
        ("returns", "1.234", "At most 2 decimals"),
        ("note", "x", "Type what the scale shows"),
    ] {
        let answer = owner.post(&place, &[(field, typed)]).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{typed}");
        assert!(answer.body.contains(message), "{message}");
    }
    assert_sound(pool).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn filings_go_to_the_refiner_and_no_more_than_there_are() {
    let studio = Studio::open().await;
    let maker = studio.maker().await;
    let pool = &studio.db.pool;
    let alloy = builders_orders::alloy(pool, "Sterling", 10.4).await;
    let found = [Move::new(Account::Difference, Account::Filings, 4_000)];
    post(pool, Kind::Counted, "", alloy, &found).await.unwrap();
    let place = format!("/metal/alloys/{alloy}/refine");
    let refused = maker.post(&place, &[("from", "filings"), ("sent", "41")]).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.body.contains("There are only 40.00 g of Sterling in filings"));
    maker.post(&place, &[("from", "filings"), ("sent", "38.5")]).await.led_to();
    assert_eq!(held(pool, alloy, Account::Filings).await, 150);
    assert_eq!(held(pool, alloy, Account::Refiner).await, 3_850);
}

#[tokio::test(flavor = "multi_thread")]
async fn an_entry_is_reversed_once_with_a_reason_and_both_stay() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let alloy = builders_orders::alloy(pool, "Sterling", 10.4).await;
    let place = buy(&owner, alloy, "K-17", "100", "2026-11-25").await;
    let silent = owner.post(&place, &[("reason", " ")]).await;
    assert_eq!(silent.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(silent.body.contains("This is needed."));
    let reversal = owner.post(&place, &[("reason", "noted twice")]).await.led_to().to_owned();
    assert_ne!(reversal, place);
    assert_eq!(held(pool, alloy, Account::Fresh).await, 0);
    let again = owner.post(&place, &[("reason", "noted twice")]).await;
    assert_eq!(again.status, StatusCode::CONFLICT);
    assert!(again.body.contains("This entry was reversed already."));
    let back = owner.post(&reversal, &[("reason", "no")]).await;
    assert_eq!(back.status, StatusCode::CONFLICT);
    assert!(back.body.contains("takes back another one and stays"));
    let list = owner.get(&format!("/metal/entries?alloy={alloy}")).await;
    assert!(list.page().contains("reversed since") && list.body.contains("lot K-17"));
    assert!(owner.get(&reversal).await.page().contains("noted twice"));

    // The same lot may be noted again, with its right mass.
    let lots = format!("/metal/alloys/{alloy}");
    assert!(!owner.get(&lots).await.page().contains("K-17"));
    buy(&owner, alloy, "K-17", "90", "2026-11-25").await;
    assert!(owner.get(&lots).await.page().contains("K-17"));
    assert_eq!(held(pool, alloy, Account::Fresh).await, 9_000);

    // What has moved on cannot be taken back under it.
    let second = buy(&owner, alloy, "K-18", "100", "2026-11-25").await;
    let charge = [Move::new(Account::Fresh, Account::Cast, 15_000)];
    post(pool, Kind::Poured, "flask:7", alloy, &charge).await.unwrap();
    let late = owner.post(&second, &[("reason", "wrong lot")]).await;
    assert_eq!(late.status, StatusCode::CONFLICT);
    assert!(late.body.contains("the metal has moved on since"));
    assert_sound(pool).await;
}

/// Bought 100.00 g and then 50.00 g, of which 30.00 g were poured: the account of fresh metal
/// stands at 100.00, 150.00 and 120.00 g.
#[tokio::test(flavor = "multi_thread")]
async fn an_account_can_be_followed_entry_by_entry() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let alloy = builders_orders::alloy(pool, "Sterling", 10.4).await;
    buy(&owner, alloy, "K-1", "100", "2026-11-25").await;
    buy(&owner, alloy, "K-2", "50", "2026-11-25").await;
    let charge = [Move::new(Account::Fresh, Account::Cast, 3_000)];
    post(pool, Kind::Poured, "flask:7", alloy, &charge).await.unwrap();
    let stock = owner.get("/metal").await;
    let place = format!("/metal/entries?alloy={alloy}&#38;account=fresh");
    assert!(stock.page().contains(&place), "{}", stock.body);
    let stands = |page: &str| -> Vec<String> {
        let mark = "data-label=\"stands at\"><b><span class=\"fig\">";
        let figure = |each: &str| each.split('<').next().unwrap().to_owned();
        page.split(mark).skip(1).map(figure).collect()
    };
    let page = owner.get(&place.replace("&#38;", "&")).await;
    assert_eq!(stands(page.page()), ["120.00", "150.00", "100.00"], "{}", page.body);
    assert!(page.body.contains("Sterling, fresh metal"));
    let cast = owner.get(&format!("/metal/entries?alloy={alloy}&account=cast")).await;
    assert_eq!(stands(cast.page()), ["30.00"]);
    // With entries left out between them, nobody can tell what the account stood at.
    let bought = format!("/metal/entries?alloy={alloy}&account=fresh&kind=bought");
    let bought = owner.get(&bought).await;
    assert!(stands(bought.page()).is_empty() && bought.body.contains("lot K-2"));
    let before = owner.get(&format!("/metal/entries?alloy={alloy}&until=2026-10-01")).await;
    assert!(before.page().contains("No entry of that sort"));
    let wrong = owner.get("/metal/entries?until=soon&account=nowhere").await;
    assert!(wrong.page().contains("A day is needed") && wrong.body.contains("No entry"));
}

#[tokio::test(flavor = "multi_thread")]
async fn losses_are_shown_as_a_share_of_the_charge() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let pool = &studio.db.pool;
    let alloy = builders_orders::alloy(pool, "Sterling", 10.4).await;
    let charge = |cg| {
        [
            Move::new(Account::Supplier, Account::Fresh, cg),
            Move::new(Account::Fresh, Account::Cast, cg),
        ]
    };
    assert!(owner.get("/metal/losses").await.page().contains("No flask has been poured"));
    for (flask, charged, lost) in [("flask:7", 8_000, 100), ("flask:8", 2_000, 50)] {
        post(pool, Kind::Poured, flask, alloy, &charge(charged)).await.unwrap();
        let cut = [
            Move::new(Account::Cast, Account::Pieces, charged / 2),
            Move::new(Account::Cast, Account::Returns, charged / 2 - lost),
            Move::new(Account::Cast, Account::Loss, lost),
        ];
        post(pool, Kind::Divested, flask, alloy, &cut).await.unwrap();
    }
    let page = owner.get("/metal/losses").await;
    // 1.00 of 80.00 g, 0.50 of 20.00 g, and 1.50 of 100.00 g together.
    for share in ["1.25", "2.50", "1.50"] {
        assert!(page.page().contains(&format!(">{share}<span class=\"unit\">")), "{share}");
    }
    assert!(page.body.contains("href=\"/flasks/7\""));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_day_that_is_none_and_an_entry_that_is_none_are_told() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    assert!(owner.get("/metal?on=soon").await.page().contains("A day is needed"));
    assert!(owner.get("/metal").await.page().contains("No alloy yet"));
    assert!(owner.get("/metal/entries?alloy=x&kind=bought").await.page().contains("No entry"));
    let nobody = format!("/metal/entries/{}", MetalBatchId::new());
    assert_eq!(owner.get(&nobody).await.status, StatusCode::NOT_FOUND);
    assert_eq!(
        owner.get(&format!("/metal/alloys/{}", AlloyId::new())).await.status,
        StatusCode::NOT_FOUND
    );
    let wrong = [("alloy", "x"), ("lot", ""), ("grams", "0"), ("bought_on", "2026-12-24")];
    let answer = owner.post("/metal/buy", &wrong).await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
}

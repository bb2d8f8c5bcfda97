//! Long lists: whoever turns all pages meets every row once, also while rows are added.

use std::collections::HashSet;

use crate::support::studio::{Actor, Studio};

/// Letters, invoices, entries of the ledger and prices, many of the same moment.
const PAPERS: &str = "SET session_replication_role = replica;
    INSERT INTO outbox (id, kind, recipient, subject, state, created_at, sent_at)
        SELECT gen_random_uuid(), 'quote', 'a@example.com', 'Letter ' || n, (ARRAY['sent', 'draft', 'waiting', 'given_up'])[1 + n % 4],
               timestamptz '2026-11-01 09:00Z' + n / 3 * interval '1 hour', CASE WHEN n % 4 = 0 THEN now() END FROM generate_series(1, 130) n;
    INSERT INTO invoices (id, kind, state, number, label, client_id, purpose, currency, tax_inclusive, tax_rounding, due_days, issued_on, due_on, made_at)
        SELECT gen_random_uuid(), 'invoice', CASE WHEN n <= 120 THEN 'issued' ELSE 'draft' END, CASE WHEN n <= 120 THEN n END, CASE WHEN n <= 120 THEN n::text END,
               (SELECT id FROM clients LIMIT 1), 'other', 'EUR', true, 'line', 14, CASE WHEN n <= 120 THEN date '2026-10-01' + n / 7 END,
               CASE WHEN n <= 120 THEN date '2026-10-15' + n / 7 END, timestamptz '2026-11-01 09:00Z' + n / 3 * interval '1 hour' FROM generate_series(1, 140) n;
    INSERT INTO entry_balances (entry_id, amount, settled) SELECT id, 100, 0 FROM invoices WHERE state = 'issued';
    INSERT INTO metal_batches (id, kind, at) SELECT gen_random_uuid(), 'bought', timestamptz '2026-11-01 09:00Z' + n / 3 * interval '1 hour' FROM generate_series(1, 130) n;
    SET session_replication_role = DEFAULT;";

async fn filled() -> Studio {
    let studio = Studio::open().await;
    let mut conn = studio.db.pool.acquire().await.unwrap();
    let pieces = include_str!("bench_speed.sql").replace("100000", "2000").replace("1577", "7885");
    for sql in [include_str!("../../src/demo/workshop.sql"), &pieces, PAPERS] {
        sqlx::raw_sql(sqlx::AssertSqlSafe(sql.to_owned())).execute(&mut *conn).await.unwrap();
    }
    // What the session was told otherwise does not go back into the pool.
    conn.close().await.unwrap();
    studio
}

/// The rows of a page: what its links to single things lead to.
fn rows(page: &str, to: &str) -> Vec<String> {
    let mut seen = HashSet::new();
    let main = page.split("<main").nth(1).unwrap();
    main.split(&format!("href=\"{to}"))
        .skip(1)
        .map(|rest| rest.split('"').next().unwrap().to_owned())
        .filter(|name| !name.contains(['/', '?']) && name.contains(|c: char| c.is_ascii_digit()))
        .filter(|name| seen.insert(name.clone()))
        .collect()
}

/// Where a link of the page leads on, if it has it.
fn leads(page: &str, rel: &str) -> Option<String> {
    let link = page.split(&format!("rel=\"{rel}\" href=\"")).nth(1)?;
    Some(link.split('"').next()?.replace("&#38;", "&").replace("&amp;", "&"))
}

async fn turned(actor: &Actor, from: &str, rel: &str, to: &str) -> (Vec<Vec<String>>, String) {
    let (mut pages, mut place) = (Vec::new(), from.to_owned());
    loop {
        let answer = actor.get(&place).await;
        pages.push(rows(answer.page(), to));
        match leads(answer.page(), rel) {
            Some(next) => place = next,
            None => return (pages, place),
        }
        assert!(pages.len() < 400, "{from} never ends");
    }
}

/// Every list with the links of its rows, and how many there must be.
const LISTS: [(&str, &str, &str); 17] = [
    ("/pieces?standing=all", "/pieces/", "SELECT count(*) FROM pieces"),
    ("/pieces", "/pieces/", "SELECT count(*) FROM pieces WHERE standing IN ('waiting', 'in_hand')"),
    ("/pieces?standing=handed_over", "/pieces/", "SELECT count(*) FROM pieces WHERE standing = 'handed_over'"),
    ("/pieces?standing=all&search=Design+17", "/pieces/",
     "SELECT count(*) FROM pieces p JOIN order_lines l ON l.id = p.order_line_id JOIN design_versions v ON v.id = l.design_version_id
      JOIN designs d ON d.id = v.design_id WHERE d.name ILIKE '%Design 17%'"),
    ("/orders?state=all", "/orders/", "SELECT count(*) FROM orders"),
    ("/orders", "/orders/", "SELECT count(*) FROM orders WHERE state IN ('enquiry', 'quoted', 'agreed', 'ready')"),
    ("/designs", "/designs/", "SELECT count(*) FROM designs"),
    ("/clients", "/clients/", "SELECT count(*) FROM clients"),
    ("/letters", "/letters/", "SELECT count(*) FROM outbox"),
    ("/invoices?show=all", "/invoices/", "SELECT count(*) FROM invoices"),
    ("/invoices?show=open", "/invoices/", "SELECT count(*) FROM invoices WHERE state = 'issued'"),
    ("/plates?show=ended", "/plates/", "SELECT count(*) FROM plates"),
    ("/cure?show=ended", "/cure/", "SELECT count(*) FROM cure_batches WHERE state = 'done'"),
    ("/flasks?show=old", "/flasks/", "SELECT count(*) FROM flasks WHERE state = 'divested'"),
    ("/loads?show=old", "/loads/", "SELECT count(*) FROM kiln_loads"),
    ("/pours/done", "/flasks/", "SELECT count(*) FROM pours"),
    ("/metal/entries", "/metal/entries/", "SELECT count(*) FROM metal_batches"),
];

#[tokio::test(flavor = "multi_thread")]
async fn whoever_turns_all_pages_meets_every_row_once_forwards_and_backwards() {
    let studio = filled().await;
    let owner = studio.owner().await;
    for (list, to, count) in LISTS {
        let all: i64 = sqlx::query_scalar(count).fetch_one(&studio.db.pool).await.unwrap();
        let (pages, end) = turned(&owner, list, "next", to).await;
        assert!(pages.len() > 1, "{list} has more pages than one: {all} rows");
        let forwards = pages.concat();
        let different: HashSet<&String> = forwards.iter().collect();
        assert_eq!((forwards.len() as i64, different.len() as i64), (all, all), "{list}");
        // From the end back to the beginning, also from the last page by its link.
        let (mut back, _) = turned(&owner, &end, "prev", to).await;
        back.reverse();
        assert_eq!(back.concat(), forwards, "{list} backwards");
        let joint = if list.contains('?') { '&' } else { '?' };
        let (mut back, first) = turned(&owner, &format!("{list}{joint}last=yes"), "prev", to).await;
        back.reverse();
        assert_eq!(back.concat(), forwards, "{list} from its last page");
        let first = owner.get(&first).await;
        assert!(first.page().contains(&format!("of {all}")), "{list}: {}", first.body);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn rows_added_while_pages_are_turned_push_none_past_the_reader() {
    let studio = filled().await;
    let owner = studio.owner().await;
    for list in ["/pieces?standing=all", "/pieces"] {
        let mut place = list.to_owned();
        let (before, _) = turned(&owner, list, "next", "/pieces/").await;
        let before: HashSet<String> = before.concat().into_iter().collect();
        let mut met = Vec::new();
        for n in 0.. {
            let answer = owner.get(&place).await;
            met.extend(rows(answer.page(), "/pieces/"));
            let Some(next) = leads(answer.page(), "next") else { break };
            place = next;
            if n < 5 {
                // Newer and more urgent than all that there is.
                studio.pieces(3, Some("2026-11-01")).await;
            }
        }
        let once: Vec<&String> = met.iter().filter(|label| before.contains(*label)).collect();
        assert_eq!(once.len(), before.len(), "{list}: every row that was there, once");
        assert_eq!(once.into_iter().collect::<HashSet<_>>().len(), before.len(), "{list}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_key_that_is_nonsense_shows_the_first_page_and_one_beyond_the_end_the_way_back() {
    let studio = filled().await;
    let owner = studio.owner().await;
    let first = rows(owner.get("/pieces?standing=all").await.page(), "/pieces/");
    for key in ["x", "1~2", "99999999999999999999~00000000-0000-0000-0000-000000000000", "%00~%00"]
    {
        let page = owner.get(&format!("/pieces?standing=all&after={key}&row=-9")).await;
        assert_eq!(rows(page.page(), "/pieces/"), first, "{key}");
    }
    let beyond = "/pieces?standing=all&after=1~00000000-0000-0000-0000-000000000000&row=7";
    let page = owner.get(beyond).await;
    assert!(page.page().contains("Nothing more here, 2000 in all"), "{}", page.body);
    assert!(page.body.contains(">First</a>") && page.body.contains(">Last</a>"), "{}", page.body);
}

//! Amounts that open into their working, on the client's page and in accounts: each is there, and
//! each adds up when it is reckoned again from what is shown.

use rust_decimal::{Decimal, RoundingStrategy};

use crate::invoices::{agreed, client, issued, one, pay};
use crate::support::builders_orders::{link, order, post, ready_to_price, turned};
use crate::support::studio::{Studio, moment};

/// A step as it is printed: its formula, its numbers, and last of all its result.
struct Step {
    formula: String,
    figures: Vec<(String, Decimal)>,
}

fn steps(page: &str) -> Vec<Step> {
    let each = page.split("<p class=\"formula\">").skip(1);
    each.map(|part| {
        let formula = part.split("</b> = ").nth(1).unwrap().split("</p>").next().unwrap();
        let table = part.split("</table>").next().unwrap();
        let rows = table.split("<th scope=\"row\">").skip(1);
        let figures = rows.map(|row| {
            let name = row.split("</th>").next().unwrap().to_owned();
            let value = row.split("class=\"num\">").nth(1).unwrap().split('<').next().unwrap();
            (name, value.parse().unwrap())
        });
        Step { formula: formula.to_owned(), figures: figures.collect() }
    })
    .collect()
}

fn cents(amount: Decimal) -> Decimal {
    amount.round_dp_with_strategy(2, RoundingStrategy::MidpointAwayFromZero)
}

/// Reckons a step again; whether it could be.
fn reckon(step: &Step) -> bool {
    let numbers: Vec<Decimal> = step.figures.iter().map(|(_, value)| *value).collect();
    let (result, inputs) = numbers.split_last().unwrap();
    let (sum, hundred) = (|all: &[Decimal]| all.iter().sum::<Decimal>(), Decimal::ONE_HUNDRED);
    let again = match step.formula.as_str() {
        "sum of the lines − discount" => {
            let (discount, lines) = inputs.split_last().unwrap();
            sum(lines) - discount
        }
        "net + taxes" | "balance before + this" | "before + this" => sum(inputs),
        other if other.starts_with("sum of ") => sum(inputs),
        "pieces × price of one" => inputs[0] * inputs[1],
        "price × rate ÷ 100, rounded"
        | "total × deposit ÷ 100, rounded"
        | "amount × rate ÷ 100, rounded" => cents(inputs[0] * inputs[1] / hundred),
        "price − price × 100 ÷ (100 + rate), rounded" => {
            inputs[0] - cents(inputs[0] * hundred / (hundred + inputs[1]))
        }
        "brought forward + invoiced − paid" => inputs[0] + inputs[1] - inputs[2],
        "price − discount"
        | "total − deposit"
        | "total − paid"
        | "invoiced − paid"
        | "invoices open − credit"
        | "balance before − this"
        | "still with us − in the drawer"
        | "before + brought − given back − handed over − settled" => {
            let (first, rest) = inputs.split_first().unwrap();
            let brought = if step.formula.contains("brought") {
                rest[0] * Decimal::TWO
            } else {
                Decimal::ZERO
            };
            *first - sum(rest) + brought
        }
        "as it was quoted" | "as agreed in the quote" | "as agreed there" => return false,
        other => panic!("a formula that nobody checks: {other}"),
    };
    assert_eq!(again, *result, "{} of {:?}", step.formula, step.figures);
    true
}

fn all_add_up(page: &str) -> usize {
    steps(page).iter().filter(|step| reckon(step)).count()
}

/// A page whose figures open shows an amount as the head of its working.
fn opens(page: &str, amount: &str) -> bool {
    let head = format!("<details class=\"working\"><summary><span class=\"fig\">{amount}<span");
    page.contains(&head)
}

/// What a client may not read, in words or in the numbers of the order that is priced by hand.
const SECRETS: [&str; 10] = [
    "217.80", "198.00", "19.80", "margin", "overhead", "earned", "cost", "bench", "markup", "loss",
];

/// Two pieces of 136.13 and 10 % off: 272.26 − 27.23 = 245.03; VAT 46.56; 291.59; half is 145.80.
#[tokio::test(flavor = "multi_thread")]
async fn each_amount_of_a_quote_opens_for_the_client_and_adds_up() {
    let (studio, owner, number) = ready_to_price().await;
    let sent = async |more: &[(&'static str, &str)]| {
        let fields = turned(&studio, number, more).await;
        let draft = post(&owner, &format!("/orders/{number}/price"), &fields).await;
        let draft = draft.led_to().to_owned();
        owner.post(&format!("{draft}/send"), &[("message", "")]).await.led_to();
        studio.stranger().get(&link(&owner, number).await).await.page().to_owned()
    };
    let page = sent(&[("discount_percent", "10")]).await;
    for amount in ["272.26", "27.23", "245.03", "46.56", "291.59", "145.80"] {
        assert!(opens(&page, amount), "{amount} opens: {page}");
    }
    assert_eq!(all_add_up(&page), 8, "three of the line, and five of the sums");
    let words = page.to_lowercase();
    for secret in SECRETS {
        assert!(!words.contains(secret), "{secret}");
    }
    // The same with prices that contain the tax.
    sqlx::query("UPDATE studio SET tax_inclusive = true").execute(&studio.db.pool).await.unwrap();
    let page = sent(&[("discount_percent", "10")]).await;
    assert!(page.contains("contained") && all_add_up(&page) == 7, "{page}");
    sqlx::query("UPDATE studio SET tax_inclusive = false, tax_rate = 0")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    let page = sent(&[("deposit_percent", "0")]).await;
    assert_eq!(all_add_up(&page), 2, "without tax and discount the lines are the total: {page}");
    assert!(opens(&page, "272.26"));
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_agreed_paid_and_open_opens_for_the_client() {
    let (studio, owner, number) = agreed().await;
    let page = link(&owner, number).await;
    let guest = studio.stranger();
    let seen = guest.get(&page).await;
    assert!(opens(seen.page(), "162.00") && opens(&seen.body, "161.99"), "deposit and rest");
    let deposit = issued(&owner, number, "deposit").await;
    let ada = client(&studio).await;
    pay(&owner, &ada, "99.30", &deposit).await.led_to();
    let seen = guest.get(&page).await;
    assert!(opens(seen.page(), "62.70") && seen.body.contains("payment of 25 Nov 2026"));
    assert!(opens(&seen.body, "162.00") && opens(&seen.body, "323.99"));
    assert!(all_add_up(&seen.body) > 6);
    let words = seen.body.to_lowercase();
    for secret in SECRETS {
        assert!(!words.contains(secret), "{secret}");
    }
    pay(&owner, &ada, "62.70", &deposit).await.led_to();
    let seen = guest.get(&page).await;
    let paid = "<details class=\"working\"><summary>paid, thank you</summary>";
    assert!(seen.page().contains(paid), "{}", seen.body);
    all_add_up(&seen.body);
    // Nothing of what another client paid is told.
    let silver: uuid::Uuid =
        sqlx::query_scalar("SELECT id FROM alloys").fetch_one(&studio.db.pool).await.unwrap();
    let other = order(&owner, pourday::id::AlloyId(silver), 1).await;
    let fields = turned(&studio, other, &[]).await;
    let draft = post(&owner, &format!("/orders/{other}/price"), &fields).await;
    owner.post(&format!("{}/send", draft.led_to()), &[("message", "")]).await.led_to();
    let theirs = guest.get(&link(&owner, other).await).await;
    assert!(!theirs.page().contains("99.3") && !theirs.body.contains("payment of"));
}

#[tokio::test(flavor = "multi_thread")]
async fn balances_of_an_account_open_and_stand_as_of_their_day() {
    let (studio, owner, number) = agreed().await;
    let deposit = issued(&owner, number, "deposit").await;
    let ada = client(&studio).await;
    pay(&owner, &ada, "99.30", &deposit).await.led_to();
    studio.clock.set(moment("2026-11-27T09:00:00Z"));
    let later = [("amount", "100"), ("on", "2026-11-27"), ("method", "Bank"), ("sure", "yes")];
    owner.post(&format!("/clients/{ada}/payments"), &later).await.led_to();
    let account = format!("/clients/{ada}/account");
    let page = owner.get(&account).await;
    // 162.00, less 99.30 is 62.70, less 100.00 is −37.30.
    for balance in ["162.00", "62.70", "−37.30", "37.30"] {
        assert!(opens(page.page(), balance), "{balance}: {}", page.body);
    }
    assert!(all_add_up(&page.body) >= 6);
    let brought = owner.get(&format!("{account}?from=2026-11-27")).await;
    assert!(brought.page().contains("Brought forward") && opens(&brought.body, "62.70"));
    all_add_up(&brought.body);
    // As of the day before, the later payment is not there yet, and what is open says so.
    let before = owner.get(&format!("{account}?to=2026-11-26")).await;
    let sums = before.page().split("<dl class=\"sums\">").nth(1).unwrap();
    assert!(opens(sums, "62.70"), "{sums}");
    assert!(!before.body.contains("Credit of the client"), "{}", before.body);
    all_add_up(&before.body);
    assert_eq!(one(&studio, "SELECT count(*)::text FROM client_entries").await, "3");
}

#[tokio::test(flavor = "multi_thread")]
async fn metal_that_is_owed_to_a_client_opens() {
    let studio = Studio::open().await;
    let owner = studio.owner().await;
    let labels = studio.pieces(1, None).await;
    let silver = studio.alloy_of(&labels[0]).await.to_string();
    let place = format!("/metal/clients/{}", client(&studio).await);
    let of = |grams: &'static str| [("alloy", silver.as_str()), ("grams", grams), ("note", "")];
    owner.post(&format!("{place}/receive"), &of("60.00")).await.led_to();
    owner.post(&format!("{place}/give-back"), &of("12.50")).await.led_to();
    let page = owner.get(&place).await;
    assert!(opens(page.page(), "47.50") && opens(&page.body, "60.00"), "{}", page.body);
    assert_eq!(all_add_up(&page.body), 4, "what is owed, what is in work, and two rows");
}

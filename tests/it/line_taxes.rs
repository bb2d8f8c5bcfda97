//! Lines of one order with different taxes, from the quote to the invoice and its paper.

use axum::http::StatusCode;

use crate::invoices::{draft, issue, issued, one};
use crate::support::builders_orders::{link, post, price, ready_to_price, turned};
use crate::support::studio::{Actor, Studio};

struct Shop {
    studio: Studio,
    owner: Actor,
    number: i32,
    /// A reduced rate of 7 %.
    reduced: String,
}

/// The order of 272.26 without tax that is priced by hand in the tests of quotes, and a second
/// line of one more piece: direct 89.00, overhead 8.90, over 0.8 that is 122.38.
async fn shop() -> Shop {
    let (studio, owner, number) = ready_to_price().await;
    sqlx::query(
        "INSERT INTO order_lines (id, order_id, n, design_version_id, alloy_id, quantity, finishing_minutes)
         SELECT gen_random_uuid(), order_id, 2, design_version_id, alloy_id, 1, finishing_minutes FROM order_lines",
    )
    .execute(&studio.db.pool)
    .await
    .unwrap();
    let reduced = [("tax_name", "VAT reduced"), ("tax_percent", "7")];
    owner.post("/prices/rules/tax", &reduced).await.led_to();
    let reduced = one(&studio, "SELECT id::text FROM taxes").await;
    Shop { studio, owner, number, reduced }
}

impl Shop {
    async fn fields(
        &self,
        tax: &str,
        more: &[(&'static str, &str)],
    ) -> Vec<(&'static str, String)> {
        let mut fields = turned(&self.studio, self.number, more).await;
        // Setting up is charged to the first line alone here, so that its amounts are those of the
        // tests of quotes.
        fields.retain(|(name, _)| *name != "set_up_minutes" && !name.starts_with("bought0"));
        let first_line = [
            ("set_up_minutes", "0"),
            ("bought0_name", "set-up of the order"),
            ("bought0_amount", "20"),
            ("bought0_line", "1"),
        ];
        fields.extend(first_line.map(|(name, value)| (name, value.to_owned())));
        for (name, value) in [("taxed", "1"), ("tax_of_1", ""), ("taxed", "2"), ("tax_of_2", tax)] {
            fields.push((name, value.to_owned()));
        }
        fields
    }

    async fn preview(&self, tax: &str) -> String {
        let fields = self.fields(tax, &[]).await;
        let place = format!("/orders/{}/price/preview", self.number);
        post(&self.owner, &place, &fields).await.page().to_owned()
    }

    /// The second line at the reduced rate, sent and agreed.
    async fn agreed(&self) {
        let fields = self.fields(&self.reduced, &[]).await;
        let draft = post(&self.owner, &format!("/orders/{}/price", self.number), &fields).await;
        let draft = draft.led_to().to_owned();
        self.owner.post(&format!("{draft}/send"), &[("message", "")]).await.led_to();
        let page = link(&self.owner, self.number).await;
        let seen = self.studio.stranger().get(&page).await;
        for words in ["VAT 19 %", "VAT reduced 7 %", "rounded on each line"] {
            assert!(seen.page().contains(words), "{words}: {}", seen.body);
        }
        let yes = [("quote", "1"), ("name", "Ada Quill")];
        self.studio.stranger().post(&format!("{page}/yes"), &yes).await.led_to();
    }
}

fn figure(amount: &str) -> String {
    format!(">{amount}<span class=\"unit\">")
}

/// VAT 19 % of 272.26 is 51.73, 7 % of 122.38 is 8.57; together 394.64, 60.30, 454.94.
#[tokio::test(flavor = "multi_thread")]
async fn each_line_has_its_tax_and_the_quote_its_totals_by_rate() {
    let shop = shop().await;
    // All of it at 19 %: 394.64, 51.73 + 23.25, 469.62.
    assert!(shop.preview("").await.contains(&figure("469.62")));
    let page = shop.preview(&shop.reduced).await;
    for amount in ["51.73", "8.57", "272.26", "122.38", "454.94"] {
        assert!(page.contains(&figure(amount)), "{amount}: {page}");
    }
    assert!(page.contains("VAT reduced 7 %") && page.contains("VAT reduced of them"));
    // What was chosen stays chosen.
    let chosen = format!("value=\"{}\" selected", shop.reduced);
    let choice = page.split("name=\"tax_of_2\"").nth(1).unwrap();
    assert!(choice.split("</select>").next().unwrap().contains(&chosen), "{page}");
    let place = format!("/prices/rules/tax/{}/retire", shop.reduced);
    shop.owner.post(&place, &[]).await.led_to();
    let fields = shop.fields(&shop.reduced, &[]).await;
    let gone = post(&shop.owner, &format!("/orders/{}/price", shop.number), &fields).await;
    assert_eq!(gone.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(gone.body.contains("is not in use any more; choose another"));
}

/// The deposit of 227.47 is shared out by what each rate comes to, 323.99 and 130.95: 162.00 with
/// 25.87 tax and 65.47 with 4.28 (65.47 × 8.57 ÷ 130.95 = 4.2847).
#[tokio::test(flavor = "multi_thread")]
async fn the_invoices_of_deposit_and_rest_keep_what_is_taxed_at_which_rate() {
    let shop = shop().await;
    shop.agreed().await;
    let deposit = issued(&shop.owner, shop.number, "deposit").await;
    let rest = draft(&shop.owner, shop.number, "rest").await;
    issue(&shop.owner, &rest).await;
    let taxes = "SELECT string_agg(i.number || ' ' || t.name || ' ' || trim_scale(t.base) || ' ' || trim_scale(t.amount), '; '
                   ORDER BY i.number, t.n) FROM invoice_taxes t JOIN invoices i ON i.id = t.invoice_id";
    assert_eq!(
        one(&shop.studio, taxes).await,
        "1 VAT 136.13 25.87; 1 VAT reduced 61.19 4.28; 2 VAT 136.13 25.86; 2 VAT reduced 61.19 4.29"
    );
    let whole = "SELECT trim_scale(sum(net)) || ' ' || trim_scale(sum(tax)) || ' ' || trim_scale(sum(total)) FROM invoices";
    assert_eq!(one(&shop.studio, whole).await, "394.64 60.3 454.94");
    let page = shop.owner.get(&rest).await;
    for words in
        ["Less the deposit, invoice 1: the part with VAT reduced 7 %", "keep the tax agreed there"]
    {
        assert!(page.page().contains(words), "{words}: {}", page.body);
    }
    // A credit note of all of it takes both taxes back.
    let note = shop.owner.post(&format!("{rest}/credit"), &[]).await.led_to().to_owned();
    issue(&shop.owner, &note).await;
    let left = "SELECT trim_scale(sum(CASE i.kind WHEN 'invoice' THEN t.amount ELSE -t.amount END))::text
                  FROM invoice_taxes t JOIN invoices i ON i.id = t.invoice_id WHERE t.name = 'VAT reduced'";
    assert_eq!(one(&shop.studio, left).await, "4.28");
    let paper = shop.owner.get(&format!("{deposit}/pdf")).await;
    assert_eq!(paper.status, StatusCode::OK);
}

/// Metal that moves: 125 g of the first line, 62.5 g of the second, ten cents a gram: 12.50 with
/// 2.38 of 19 %, 6.25 with 0.44 of 7 %.
#[tokio::test(flavor = "multi_thread")]
async fn metal_of_the_day_is_taxed_as_its_line() {
    let shop = shop().await;
    let mut fields = shop.fields(&shop.reduced, &[]).await;
    fields.push(("metal_rule", "day_of_yes".to_owned()));
    let draft = post(&shop.owner, &format!("/orders/{}/price", shop.number), &fields).await;
    let draft = draft.led_to().to_owned();
    shop.owner.post(&format!("{draft}/send"), &[("message", "")]).await.led_to();
    let page = link(&shop.owner, shop.number).await;
    let item = one(&shop.studio, "SELECT id::text FROM alloys").await;
    price(&shop.studio.db.pool, ("alloy", &item, "g"), "0.90", "2026-11-26").await;
    shop.studio.clock.set(crate::support::studio::moment("2026-11-26T09:00:00Z"));
    let seen = shop.studio.stranger().get(&page).await;
    // 454.94 + 12.50 + 2.38 + 6.25 + 0.44 = 476.51.
    assert!(seen.page().contains(&figure("476.51")), "{}", seen.body);
    let yes = [("quote", "1"), ("name", "Ada Quill"), ("total_0", "476.51")];
    shop.studio.stranger().post(&format!("{page}/yes"), &yes).await.led_to();
    issued(&shop.owner, shop.number, "deposit").await;
    issued(&shop.owner, shop.number, "rest").await;
    let taxes =
        "SELECT string_agg(x.name || ' ' || trim_scale(x.amount), '; ' ORDER BY x.name) FROM (
                   SELECT name, sum(amount) AS amount FROM invoice_taxes GROUP BY name) x";
    assert_eq!(one(&shop.studio, taxes).await, "VAT 54.11; VAT reduced 9.01");
}

/// (89 + 20) × 1.1 ÷ 0.8 = 149.875 for one: its price opens into that.
#[tokio::test(flavor = "multi_thread")]
async fn a_price_in_another_number_opens_into_its_working() {
    let shop = shop().await;
    let page = shop.preview("").await;
    let breaks = page.split("id=\"breaks-1\"").nth(1).unwrap();
    let breaks = breaks.split("</details></td>").next().unwrap();
    assert!(breaks.contains(&figure("149.88")), "{breaks}");
    for words in ["cost of set-up of the order", "price of a piece", "149.875", "<details"] {
        assert!(breaks.contains(words), "{words}: {breaks}");
    }
    // Drafts keep it, so that it can be read later.
    let fields = shop.fields("", &[]).await;
    let draft = post(&shop.owner, &format!("/orders/{}/price", shop.number), &fields).await;
    let kept = shop.owner.get(draft.led_to()).await;
    assert!(kept.page().contains("149.875"));
}

/// One piece of the first line costs 89.00 and 20.00 of set-up, (109 × 1.1) ÷ 0.8 = 149.875; two cost
/// 272.25. Priced by the line, only the line's price is rounded, and a piece is about its share.
#[tokio::test(flavor = "multi_thread")]
async fn lines_priced_as_a_whole_show_other_numbers_too() {
    let shop = shop().await;
    let rules = shop.owner.get("/prices/rules").await;
    let version = crate::invoices::hidden(rules.page(), "version");
    let by_line = [
        ("version", version.as_str()),
        ("least_net", "0"),
        ("price_by", "line"),
        ("rounding", "line"),
    ];
    shop.owner.post("/prices/rules", &by_line).await.led_to();
    let page = shop.preview("").await;
    let breaks = page.split("id=\"breaks-1\"").nth(1).unwrap();
    let breaks = breaks.split("<details class=\"breaks\"").next().unwrap();
    for words in
        [&figure("149.88"), "price of the line", "149.875", "about ", "cost of set-up of the order"]
    {
        assert!(breaks.contains(words), "{words}: {breaks}");
    }
    // Five: (445 + 20) × 1.1 ÷ 0.8 = 639.375, about 127.88 each.
    assert!(breaks.contains(&figure("639.38")) && breaks.contains(&figure("127.88")), "{breaks}");
}

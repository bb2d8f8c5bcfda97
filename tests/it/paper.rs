//! Papers read back by another program (poppler): text, fonts, tags, size.

use std::io::Write;
use std::process::{Command, Stdio};

use axum::body::Body;
use pourday::paper::{Block, Column, Paper, Size, Table, pdf};

use crate::invoices::{agreed, issued};
use crate::support::builders_orders::{alloy, link, order, post, price, rates, turned};
use crate::support::studio::{Actor, Studio};

/// Runs one of poppler's programs on a PDF.
fn poppler(program: &str, options: &[&str], pdf: &[u8]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("paper.pdf");
    std::fs::File::create(&file).unwrap().write_all(pdf).unwrap();
    let mut command = Command::new(program);
    command.args(options).arg(&file).stderr(Stdio::piped());
    if program == "pdftotext" {
        command.arg("-");
    }
    let out = command.output().expect("poppler-utils is installed");
    // This version of poppler takes the entry Suspects, a boolean (ISO 32000-1, table 321), for wrong.
    let errors: String = String::from_utf8_lossy(&out.stderr)
        .lines()
        .filter(|line| !line.contains("Suspects object is wrong type (boolean)"))
        .collect();
    assert!(out.status.success() && errors.is_empty(), "{program}: {errors}");
    String::from_utf8_lossy(&out.stdout).into_owned()
}

async fn download(actor: &Actor, path: &str) -> Vec<u8> {
    let request = actor.request("GET", path).body(Body::empty()).unwrap();
    let (status, headers, bytes) = actor.bytes(request).await;
    assert_eq!(status, 200, "{}", String::from_utf8_lossy(&bytes));
    assert_eq!(headers["content-type"], "application/pdf");
    bytes
}

/// The words of a paper in the order in which they are written, with single spaces.
pub(crate) async fn text_of(actor: &Actor, path: &str) -> String {
    let text = poppler("pdftotext", &["-raw"], &download(actor, path).await);
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The words of a line in which a word stands, without the spaces between.
fn line_with<'a>(text: &'a str, word: &str) -> Vec<&'a str> {
    let line =
        text.lines().find(|line| line.contains(word)).unwrap_or_else(|| panic!("{word}: {text}"));
    line.split_whitespace().collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn an_invoice_reads_as_it_was_issued_and_its_fonts_are_inside() {
    let (studio, owner, number) = agreed().await;
    sqlx::query("UPDATE invoicing SET address = E'Harbour Row 4\\n10115 Berlin', tax_number = 'VAT no. XX 123', pay_to = 'Account 0123'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    sqlx::query(
        "UPDATE clients SET name = 'Łucja Ørsted-Ķirsis', address = E'Ulica Złota 7\\nWrocław'",
    )
    .execute(&studio.db.pool)
    .await
    .unwrap();
    issued(&owner, number, "deposit").await;
    let rest = issued(&owner, number, "rest").await;
    let paper = download(&owner, &format!("{rest}/pdf")).await;
    let text = poppler("pdftotext", &["-layout"], &paper);
    for word in [
        "Invoice 2",
        "Test Studio",
        "Harbour Row 4",
        "VAT no. XX 123",
        "Łucja Ørsted-Ķirsis",
        "Ulica Złota 7",
        "25 Nov 2026",
        "9 Dec 2026",
        "Less the deposit, invoice 1",
        "Account 0123",
        "1 of 1",
    ] {
        assert!(text.contains(word), "{word}: {text}");
    }
    let line = line_with(&text, "Knob in");
    assert_eq!(line[line.len() - 2..], ["272.26", "EUR"]);
    assert_eq!(line_with(&text, "To pay")[2..], ["161.99", "EUR"]);
    assert!(line_with(&text, "VAT 19 %").ends_with(&["25.86", "EUR"]));
    let fonts = poppler("pdffonts", &[], &paper);
    let rows: Vec<&str> = fonts.lines().skip(2).collect();
    assert!(!rows.is_empty());
    for row in rows {
        // name, type (two words), encoding, embedded, subset, with a map to Unicode.
        let words: Vec<&str> = row.split_whitespace().collect();
        assert_eq!(words[words.len() - 5..words.len() - 2], ["yes", "yes", "yes"], "{row}");
    }
    let info = poppler("pdfinfo", &[], &paper);
    assert_eq!(line_with(&info, "Tagged"), ["Tagged:", "yes"]);
    assert_eq!(line_with(&info, "Title"), ["Title:", "Invoice", "2"]);
    assert!(info.contains("(A4)"), "{info}");
    let tree = poppler("pdfinfo", &["-struct-text"], &paper);
    for tag in ["H1", "Table", "TH", "TD", "\"Invoice 2\"", "\"Less the deposit, invoice 1\""] {
        assert!(tree.contains(tag), "{tag}: {tree}");
    }
    assert!(!tree.contains("1 of 1"), "what stands on every page is left out of the structure");
}

#[tokio::test(flavor = "multi_thread")]
async fn statements_and_credit_notes_and_letter_paper() {
    let (studio, owner, number) = agreed().await;
    sqlx::query("UPDATE invoicing SET paper = 'letter'").execute(&studio.db.pool).await.unwrap();
    let rest = issued(&owner, number, "rest").await;
    let note = owner.post(&format!("{rest}/credit"), &[]).await.led_to().to_owned();
    let draft = download(&owner, &format!("{note}/pdf")).await;
    assert!(poppler("pdftotext", &[], &draft).contains("Draft of a credit note"));
    let client: String = sqlx::query_scalar("SELECT id::text FROM clients")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    let statement =
        download(&owner, &format!("/clients/{client}/account/pdf?from=2026-11-01")).await;
    let text = poppler("pdftotext", &["-layout"], &statement);
    assert!(text.contains("Statement for Ada Quill"));
    assert!(text.contains("1 Nov 2026 to 25 Nov 2026"));
    assert!(line_with(&text, "Invoice 1").ends_with(&["323.99", "EUR", "323.99", "EUR"]));
    assert_eq!(line_with(&text, "Still to be paid")[4..], ["323.99", "EUR"]);
    assert!(poppler("pdfinfo", &[], &statement).contains("612 x 792 pts (letter)"));
}

#[test]
fn a_long_table_goes_on_with_its_head_on_every_page() {
    let rows: Vec<Vec<String>> = (1..=120)
        .map(|n| {
            vec![
                format!("Row {n}"),
                "A description that is long enough to need more than one line of the column"
                    .to_owned(),
                format!("{n}.00"),
            ]
        })
        .collect();
    let paper = Paper {
        size: Size::A4,
        studio: "Studio".to_owned(),
        title: "Ордер Ωμέγα 7".to_owned(),
        blocks: vec![
            Block::Table(Table {
                columns: vec![
                    Column::words("Number", 1.0),
                    Column::words("Description", 2.0),
                    Column::figures("Amount", 1.0),
                ],
                rows,
            }),
            Block::Text("Supercalifragilistic".repeat(20)),
            Block::Text("銀 and a \u{7} bell".to_owned()),
        ],
    };
    let bytes = pdf(&paper).unwrap();
    let text = poppler("pdftotext", &["-layout"], &bytes);
    let pages: Vec<&str> = text.split('\u{c}').filter(|page| !page.trim().is_empty()).collect();
    assert!(pages.len() > 4, "{}", pages.len());
    for page in &pages[..pages.len() - 1] {
        assert!(page.contains("Description"), "{page}");
        assert!(page.contains("Ордер Ωμέγα 7"), "Greek and Cyrillic have a font");
    }
    for n in 1..=120 {
        assert_eq!(
            text.lines()
                .filter(|line| line.split_whitespace().any(|word| word == format!("{n}.00")))
                .count(),
            1
        );
    }
    assert!(text.contains("? and a"), "a letter that no font has is told by a question mark");
    let tree = poppler("pdfinfo", &["-struct-text"], &bytes);
    assert_eq!(tree.matches("\"Description\"").count(), 1, "a head that is repeated is read once");
}

#[tokio::test(flavor = "multi_thread")]
async fn quote_ticket_and_pour_sheet_share_one_design() {
    let (studio, owner, number) = agreed().await;
    let quote = download(&owner, &format!("/orders/{number}/quote.pdf")).await;
    let text = poppler("pdftotext", &["-layout"], &quote);
    assert!(text.contains(&format!("Quote 1 for order {number}")));
    assert_eq!(line_with(&text, "Total")[1..], ["323.99", "EUR"]);
    assert!(text.contains("Ada Quill said yes"));
    assert!(text.contains("The metal price is fixed.") && !text.contains("what the day asks"));
    assert!(text.contains("half a cent is rounded up"));
    let page = crate::support::builders_orders::link(&owner, number).await;
    let for_client = download(&studio.stranger(), &format!("{page}/quote.pdf")).await;
    assert_eq!(poppler("pdftotext", &["-layout"], &for_client), text);
    let maker = studio.maker().await;
    let ticket = download(&maker, &format!("/pieces/{number}-1/ticket.pdf")).await;
    let text = poppler("pdftotext", &["-layout"], &ticket);
    assert!(text.contains(&format!("Ticket {number}-1")));
    assert!(text.contains("piece") || text.contains("Piece"));
    assert!(
        poppler("pdfinfo", &["-struct-text"], &ticket).contains("Figure"),
        "the code is told in words"
    );
    let sheet = download(&maker, "/pours/sheet.pdf").await;
    assert!(poppler("pdftotext", &[], &sheet).contains("Molten metal"));
    let status = maker.get(&format!("/orders/{number}/quote.pdf")).await.status;
    assert_eq!(status, 403, "prices are the owner's");
}

/// A paper of so many lines with their total, in a currency as given.
fn lines_and_total(size: Size, lines: usize, amount: &str) -> Paper {
    let rows = (1..=lines)
        .map(|n| {
            vec![format!("Row {n}."), format!("A knob in silver, number {n}"), amount.to_owned()]
        })
        .collect();
    let columns = vec![
        Column::words("Number", 1.0),
        Column::words("What", 2.0),
        Column::figures("Amount", 0.5),
    ];
    Paper {
        size,
        studio: "Studio".to_owned(),
        title: "Invoice 7".to_owned(),
        blocks: vec![
            Block::Table(Table { columns, rows }),
            Block::Sums(vec![
                ("Net".to_owned(), amount.to_owned()),
                ("VAT 19 %".to_owned(), amount.to_owned()),
                ("To pay".to_owned(), amount.to_owned()),
            ]),
        ],
    }
}

#[test]
fn a_total_never_stands_alone_on_a_page_and_a_head_never_without_a_row() {
    for size in [Size::A4, Size::Letter] {
        let mut turned = false;
        for lines in 18..40 {
            let text = poppler(
                "pdftotext",
                &["-layout"],
                &pdf(&lines_and_total(size, lines, "1.00 EUR")).unwrap(),
            );
            let pages: Vec<&str> =
                text.split('\u{c}').filter(|page| !page.trim().is_empty()).collect();
            let last = pages.iter().find(|page| page.contains("To pay")).unwrap();
            for row in [format!("Row {lines}."), format!("Row {}.", lines - 1)] {
                assert!(last.contains(&row), "{size:?} {lines}: {text}");
            }
            for page in &pages {
                assert_eq!(
                    page.contains("Number"),
                    page.contains("Row "),
                    "{size:?} {lines}: {page}"
                );
            }
            turned |= pages.len() > 1;
        }
        assert!(turned, "some of them need a second page");
    }
}

#[test]
fn amounts_of_any_currency_stay_on_one_line() {
    for amount in ["12,345,678 JPY", "1,234,567.890 KWD", "999,999,999.99 EUR"] {
        let wide = amount.replace(' ', "\u{a0}");
        let bytes = pdf(&lines_and_total(Size::Letter, 3, &wide)).unwrap();
        let text = poppler("pdftotext", &["-layout"], &bytes);
        assert_eq!(text.matches(amount).count(), 6, "{amount}: {text}");
    }
}

/// An order of many lines in a currency with three decimals, for somebody with a long name, agreed.
async fn many_lines() -> (Studio, Actor, i32) {
    let studio = Studio::open().await;
    let pool = &studio.db.pool;
    rates(pool).await;
    let bronze = alloy(pool, "Silicon bronze, melted from certified recycled stock", 8.36).await;
    price(pool, ("alloy", &bronze.to_string(), "g"), "0.80", "2026-11-25").await;
    let owner = studio.owner().await;
    let number = order(&owner, bronze, 2).await;
    sqlx::query(
        "INSERT INTO order_lines (id, order_id, n, design_version_id, alloy_id, quantity, finishing_minutes)
         SELECT gen_random_uuid(), order_id, n + g, design_version_id, alloy_id, 1 + g % 3, 30 FROM order_lines, generate_series(1, 39) g",
    )
    .execute(pool)
    .await
    .unwrap();
    for sql in [
        "UPDATE clients SET name = 'Freifrau Wilhelmina-Adelgunde von und zu Oberhöchstadt-Niederreifenberg und Söhne', address = E'Zum Kupferhammer 114b\n61476 Kronberg'",
        "UPDATE designs SET name = 'Drawer knob with a fluted stem and a collar, left-handed'",
        "UPDATE invoicing SET address = E'Harrow Lane 12\n1100-148 Lisbon', tax_number = 'Tax no. 000 000 000', pay_to = 'Account XX00 0000 0000 0000, with the number of the invoice.', footer = 'Made by hand; every piece weighed.'",
    ] {
        sqlx::query(sql).execute(pool).await.unwrap();
    }
    let dinars = [("currency", "KWD"), ("rate", "0.33"), ("rate_on", "2026-11-24")];
    let mut fields = turned(&studio, number, &[]).await;
    fields.extend(dinars.iter().map(|(name, value)| (*name, (*value).to_owned())));
    let draft = post(&owner, &format!("/orders/{number}/price"), &fields).await;
    let draft = draft.led_to().to_owned();
    owner
        .post(&format!("{draft}/send"), &[("message", "Dear Freifrau, here is the price.")])
        .await
        .led_to();
    let page = link(&owner, number).await;
    let yes = [("quote", "1"), ("name", "Wilhelmina von Oberhöchstadt")];
    studio.stranger().post(&format!("{page}/yes"), &yes).await.led_to();
    (studio, owner, number)
}

/// Every paper of the studio on both sheets, with names as long as they come and more lines than a
/// sheet holds. They are left in `target/papers`, to be looked at.
#[tokio::test(flavor = "multi_thread")]
async fn every_paper_is_written_on_both_sheets() {
    let (studio, owner, number) = many_lines().await;
    let deposit = issued(&owner, number, "deposit").await;
    let rest = issued(&owner, number, "rest").await;
    let note = owner.post(&format!("{rest}/credit"), &[]).await.led_to().to_owned();
    let flask = studio.hot_flask(&[&format!("{number}-1"), &format!("{number}-2")], 200.0).await;
    let client = crate::invoices::client(&studio).await;
    let papers = [
        ("quote", format!("/orders/{number}/quote.pdf"), "Total"),
        ("deposit", format!("{deposit}/pdf"), "To pay"),
        ("invoice", format!("{rest}/pdf"), "To pay"),
        ("credit-note", format!("{note}/pdf"), "Credited"),
        ("statement", format!("/clients/{client}/account/pdf"), "Still to be paid"),
        ("ticket", format!("/pieces/{number}-1/ticket.pdf"), "Burnout"),
        ("flask-sheet", format!("/flasks/{flask}/sheet.pdf"), "Charge"),
        ("pour-sheet", "/pours/sheet.pdf".to_owned(), "Molten metal"),
        ("metal", format!("/metal/clients/{client}/pdf"), "No metal of"),
    ];
    let kept = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).with_file_name("papers");
    std::fs::create_dir_all(&kept).unwrap();
    for (sheet, points) in
        [("a4", "595.276 x 841.89 pts (A4)"), ("letter", "612 x 792 pts (letter)")]
    {
        sqlx::query("UPDATE invoicing SET paper = $1")
            .bind(sheet)
            .execute(&studio.db.pool)
            .await
            .unwrap();
        for (name, path, words) in &papers {
            let bytes = download(&owner, path).await;
            std::fs::write(kept.join(format!("{name}-{sheet}.pdf")), &bytes).unwrap();
            let text = poppler("pdftotext", &["-layout"], &bytes);
            assert!(text.contains(words), "{path}: {text}");
            let info = poppler("pdfinfo", &[], &bytes);
            assert!(info.contains(points), "{path}: {info}");
            assert_eq!(line_with(&info, "Tagged"), ["Tagged:", "yes"], "{path}");
            let tree = poppler("pdfinfo", &["-struct-text"], &bytes);
            assert!(tree.contains("H1"), "{path}: {tree}");
            let pages: Vec<&str> =
                text.split('\u{c}').filter(|page| !page.trim().is_empty()).collect();
            if ["quote", "invoice", "credit-note"].contains(name) {
                assert!(pages.len() > 1, "{path}");
                let with_rows = pages.iter().filter(|page| page.contains("Drawer knob"));
                assert!(with_rows.clone().all(|page| page.contains("What")), "{path}: {text}");
                let total = pages.iter().find(|page| page.contains(words)).unwrap();
                assert!(
                    total.contains("Drawer knob") || total.contains("Less the deposit"),
                    "{path}: {text}"
                );
            }
        }
    }
}

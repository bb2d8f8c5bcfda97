//! One field on every page: what carries a number or a name is found.

use crate::invoices::{agreed, issued, one};

#[tokio::test(flavor = "multi_thread")]
async fn numbers_labels_and_names_lead_to_their_pages() {
    let (studio, owner, number) = agreed().await;
    let maker = studio.maker().await;
    let invoice = issued(&owner, number, "deposit").await;
    let order = format!("/orders/{number}");
    let piece = format!("/pieces/{number}-1");
    for (typed, place) in [
        (format!("{number}"), order.as_str()),
        (format!("order%20{number}"), &order),
        (format!("{number}-1"), &piece),
        (format!("Piece%20{number}-1"), &piece),
        ("invoice%201".to_owned(), &invoice),
    ] {
        let found = owner.get(&format!("/find?find={typed}")).await;
        assert_eq!(found.led_to(), place, "{typed}");
    }
    // Invoices are the owner's.
    let hidden = maker.get("/find?find=invoice%201").await;
    assert!(hidden.page().contains("Nothing here is called"), "{}", hidden.body);
    // A name that is a part of several: a short list.
    let named = maker.get("/find?find=quill").await;
    let client = one(&studio, "SELECT '/clients/' || id FROM clients").await;
    assert!(named.page().contains(&format!("href=\"{client}\"")), "{}", named.body);
    let titled = maker.get("/find?find=drawer").await;
    assert!(titled.page().contains(&format!("href=\"{order}\"")), "{}", titled.body);
    let nothing = maker.get("/find?find=%3Cb%3E").await;
    assert!(nothing.page().contains("“&#60;b&#62;”"), "{}", nothing.body);
    assert!(maker.get("/find").await.page().contains("Type what is on a ticket"));
    assert!(maker.get("/orders").await.page().contains("action=\"/find\""), "on every page");
}

#[tokio::test(flavor = "multi_thread")]
async fn the_list_of_orders_finds_an_order_by_its_piece() {
    let (_studio, owner, number) = agreed().await;
    let found = owner.get(&format!("/orders?search={number}-2")).await;
    assert!(found.page().contains(&format!("href=\"/orders/{number}\"")), "{}", found.body);
    let none = owner.get("/orders?search=R6").await;
    assert!(none.page().contains("Look for “R6” everywhere"), "{}", none.body);
}

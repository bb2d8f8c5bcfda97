//! The client's page.

use askama::Template;
use askama_web::WebTemplate;
use axum::extract::State;

use crate::invoices::{self, Told};
use crate::orders::OrderState;
use crate::pieces::{Cards, Filter, RouteCard};
use crate::portal::actions;
use crate::portal::guest::Guest;
use crate::portal::questions::{self, Said};
use crate::portal::view::{self, InvoiceRow, PhotoRow};
use crate::portal::words;
use crate::promises::{self, PromiseRow};
use crate::quotes::{self, Change, Content, MetalRule, QuoteRow};
use crate::web::{App, Fault, Form, Show, asset};

/// Pieces that are alike and stand alike.
struct Group {
    card: RouteCard,
    labels: Vec<String>,
}

/// Puts pieces that a client cannot tell apart together.
fn grouped(cards: Vec<RouteCard>, show: &Show) -> Vec<Group> {
    let way = |card: &RouteCard| -> Vec<(&'static str, Option<String>)> {
        card.boxes
            .iter()
            .map(|step| (words::state(step), step.at.map(|at| show.stamp(at))))
            .collect()
    };
    let mut groups: Vec<Group> = Vec::new();
    for card in cards {
        let alike = groups.iter_mut().find(|group| {
            group.card.design_number == card.design_number
                && group.card.alloy == card.alloy
                && words::of(&group.card) == words::of(&card)
                && way(&group.card) == way(&card)
        });
        match alike {
            Some(group) => group.labels.push(card.label),
            None => groups.push(Group { labels: vec![card.label.clone()], card }),
        }
    }
    groups
}

#[derive(Template, WebTemplate)]
#[template(path = "portal/show.html")]
pub(crate) struct ShowPortal {
    guest: Guest,
    show: Show,
    quote: Option<QuoteRow>,
    promise: Option<PromiseRow>,
    groups: Vec<Group>,
    pieces: usize,
    invoices: Vec<(InvoiceRow, Told)>,
    photos: Vec<PhotoRow>,
    said: Vec<Said>,
    offers: Vec<Offer>,
    changes: Vec<Change>,
    form: Form,
}

/// A way to make the order, as it stands today.
struct Offer {
    n: usize,
    name: String,
    content: Content,
    /// No price of today can be told for it.
    unknown: bool,
}

impl Offer {
    /// Whether nothing of it is finished.
    fn as_cast(&self) -> bool {
        self.content.is_as_cast()
    }
}

/// What was asked and the other ways, with metal that moves at today's price while the answer
/// is open.
async fn offers(app: &App, guest: &Guest, quote: &QuoteRow) -> Result<Vec<Offer>, Fault> {
    let content = &quote.content.0;
    let mut offers = Vec::new();
    let open = quote.state == "sent";
    let ways = if open { content.options.len() } else { 0 };
    for n in 0..=ways {
        let Some((chosen, _)) = content.choosing(n) else { continue };
        let name = match (n, content.asked_name()) {
            (0, "") => "As asked".to_owned(),
            (0, name) => name.to_owned(),
            _ => chosen.chosen.clone().unwrap_or_default(),
        };
        let today = if open {
            actions::at_today(&app.pool, guest, &chosen).await?
        } else {
            Some(chosen.clone())
        };
        let unknown = today.is_none();
        offers.push(Offer { n, name, content: today.unwrap_or(chosen), unknown });
    }
    Ok(offers)
}

impl ShowPortal {
    fn asset(&self, name: &str) -> String {
        asset(name)
    }

    /// Whether the quote waits for an answer and still holds.
    fn holds(&self) -> bool {
        self.guest.order.state.is_open_to_change()
            && self.quote.as_ref().is_some_and(|quote| {
                quote.state == "sent"
                    && quote.outdated_at.is_none()
                    && !self.show.past(quote.valid_until)
            })
    }

    /// Whether its metal has no price for today, which a yes would need.
    fn unpriced(&self) -> bool {
        self.offers.iter().any(|offer| offer.unknown)
    }

    /// Whether the quote can be accepted as things stand.
    fn open(&self) -> bool {
        self.holds() && !self.unpriced()
    }

    /// The way that was chosen in a form that came back; nothing is chosen for the client.
    fn chosen(&self, offer: &Offer) -> bool {
        self.form.value("option").parse() == Ok(offer.n)
    }

    /// The chance told with a day, as long as that day still stands.
    fn chance_of(&self, day: &crate::clock::Day) -> Option<String> {
        let promise = self.promise.as_ref().filter(|promise| promise.promised_on == *day)?;
        promise.chance.filter(|chance| *chance >= 0.5).map(promises::chance_words)
    }

    /// How the metal is priced, in all ways alike.
    fn metal_words(&self) -> Option<String> {
        let quote = self.quote.as_ref().filter(|quote| quote.state != "declined")?;
        let until = self.show.day(quote.valid_until);
        let accepted = quote.state == "accepted";
        let words =
            self.offers.iter().find_map(|offer| offer.content.metal_words(accepted, &until))?;
        let moves = quote.content.metal_rule == MetalRule::DayOfYes && quote.state == "sent";
        Some(if moves && !self.unpriced() {
            format!("{words} What you see is today’s.")
        } else {
            words
        })
    }

    /// Whether the studio moved the order to another day than was agreed.
    fn moved_from(&self, due: &crate::clock::Day) -> bool {
        let agreed = self.quote.as_ref().and_then(|quote| quote.ready_by);
        agreed.is_some_and(|agreed| agreed != *due)
    }

    /// Whether the deposit has been invoiced; the invoice says then what is due.
    fn deposit_invoiced(&self) -> bool {
        self.invoices.iter().any(|(invoice, _)| !invoice.is_credit())
    }

    fn is(&self, state: OrderState) -> bool {
        self.guest.order.state == state
    }
}

pub(super) async fn page(app: &App, guest: Guest, form: Form) -> Result<ShowPortal, Fault> {
    let quote = quotes::standing(&app.pool, guest.order.id).await?;
    let promise = match &quote {
        Some(quote) => promises::promised(&app.pool, guest.order.id, quote.n).await?,
        None => None,
    };
    let filter = Filter { order: Some(guest.order.id), by_due: true, ..Filter::default() };
    let cards = Cards::find(&app.pool, &filter, 500).await?;
    let pieces = cards.cards.len();
    let groups = grouped(cards.cards, &guest.show);
    let mut invoices = Vec::new();
    for invoice in view::invoices(&app.pool, guest.order.id).await? {
        let told = invoices::told(&app.pool, invoice.id, &guest.show).await?;
        invoices.push((invoice, told));
    }
    let photos = view::photos(&app.pool, guest.order.id).await?;
    let said = questions::of_order(&app.pool, guest.order.id).await?;
    let (mut ways, mut changes) = (Vec::new(), Vec::new());
    if let Some(quote) = &quote {
        ways = offers(app, &guest, quote).await?;
        if quote.state == "sent"
            && let Some(before) = quotes::sent_before(&app.pool, guest.order.id, quote.n).await?
        {
            changes = quotes::for_client(&before.content.0, &quote.content.0);
        }
    }
    Ok(ShowPortal {
        show: guest.show.clone(),
        guest,
        quote,
        promise,
        groups,
        pieces,
        invoices,
        photos,
        said,
        offers: ways,
        changes,
        form,
    })
}

pub(crate) async fn show(State(app): State<App>, guest: Guest) -> Result<ShowPortal, Fault> {
    if guest.link.opened_at.is_none() {
        quotes::note_opened(&app.pool, guest.link.id, guest.now).await?;
    }
    page(&app, guest, Form::default()).await
}

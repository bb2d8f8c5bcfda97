//! From an enquiry to the client's yes, and from the finished pieces to the hand-over.

use foundry::mesh::{Unit, write};
use foundry::shapes::Piece;
use jiff::civil::Date;

use super::DemoFault;
use super::bench::number_of;
use super::book::{self, Line, Ordered};
use super::hands::Dropped;
use super::markup::offered;
use super::papers::client_link;
use super::story::Story;
use crate::clock::{Day, Moment};

/// A model as a file, in the format in which its draughtsman sends it.
pub(super) fn model(piece: Piece) -> Result<Dropped, DemoFault> {
    let mesh = piece.mesh();
    let slug = piece.slug();
    let broken = |error: &dyn std::fmt::Display| DemoFault::Broken(format!("{slug}: {error}"));
    let (ending, bytes) = match piece {
        Piece::DrawerKnob | Piece::ComfortBand | Piece::Hook => ("obj", write::obj(&mesh, slug)),
        Piece::InstrumentKey | Piece::HingeLeaf => {
            ("3mf", write::three_mf(&mesh, slug, Unit::Millimetre).map_err(|error| broken(&error))?)
        }
        _ => ("stl", write::stl_binary(&mesh, slug).map_err(|error| broken(&error))?),
    };
    Ok(Dropped { name: format!("{slug}.{ending}"), bytes })
}

impl Story<'_> {
    /// Opens an order and drops its models into it; a model that the client had made before is
    /// taken from the studio's designs.
    pub(super) async fn open(&self, number: i32) -> Result<&'static Ordered, DemoFault> {
        let ordered = book::ordered(number)
            .ok_or_else(|| DemoFault::Missing(format!("order {number} in the book")))?;
        self.at(self.calendar.on(ordered.came, 10, 5));
        let known = self.client_id(ordered.client).await?;
        let mut fields = vec![("title", ordered.title)];
        match &known {
            Some(id) => fields.push(("client", id)),
            None => fields.extend([
                ("client", ""),
                ("new_client", ordered.client),
                ("new_email", ordered.email),
            ]),
        }
        let made_before = match ordered.lines.first() {
            Some((piece, ..)) => self.design(*piece, ordered.client).await?,
            None => None,
        };
        let page = match made_before {
            Some(design) => format!("/orders/new?design={design}"),
            None => "/orders/new".to_owned(),
        };
        let mut files = Vec::new();
        let alloy;
        if let Some((piece, of, quantity, finishing)) = ordered.lines.first() {
            alloy = self.alloy(of).await?;
            fields.extend([
                ("alloy", alloy.as_str()),
                ("quantity", quantity),
                ("finishing_minutes", finishing),
            ]);
            if made_before.is_none() {
                files.push(model(*piece)?);
            }
        }
        let place = self.owner.drop_into(&page, "/orders/new", &fields, "files", &files).await?;
        if number_of(&place)? != number {
            return Err(DemoFault::Broken(format!("order {number} came to {place}")));
        }
        if let (Some((piece, ..)), None) = (ordered.lines.first(), made_before) {
            self.cast_so(*piece).await?;
        }
        for line in ordered.lines.iter().skip(1) {
            self.another_line(number, line).await?;
        }
        Ok(ordered)
    }

    async fn another_line(
        &self,
        number: i32,
        (piece, alloy, quantity, finishing): &Line,
    ) -> Result<(), DemoFault> {
        let alloy = self.alloy(alloy).await?;
        let fields =
            [("alloy", alloy.as_str()), ("quantity", quantity), ("finishing_minutes", finishing)];
        let page = format!("/orders/{number}");
        let file = model(*piece)?;
        self.owner.drop_into(&page, &format!("{page}/files"), &fields, "files", &[file]).await?;
        self.cast_so(*piece).await
    }

    /// The newest design of a model that was made for a client.
    async fn design(&self, piece: Piece, client: &str) -> Result<Option<i32>, DemoFault> {
        Ok(sqlx::query_scalar(
            "SELECT max(d.number) FROM designs d JOIN clients c ON c.id = d.client_id WHERE d.name = $1 AND c.name = $2",
        )
        .bind(piece.title())
        .bind(client)
        .fetch_one(self.bench.pool)
        .await?)
    }

    /// Puts the sprue on the model that was dropped last.
    async fn cast_so(&self, piece: Piece) -> Result<(), DemoFault> {
        let number: i32 = sqlx::query_scalar("SELECT max(number) FROM designs")
            .fetch_one(self.bench.pool)
            .await?;
        let so = book::casting(piece);
        let [x, y, z] = so.at;
        let mut fields = vec![("x1", x), ("y1", y), ("z1", z), ("d1", so.diameter), ("l1", "8")];
        if let Some(head) = so.head {
            fields.extend([("method", "gravity"), ("head_mm", head)]);
        }
        let page = format!("/designs/{number}");
        self.owner.fill(&page, &format!("{page}/casting"), &fields).await?;
        Ok(())
    }

    /// Adds a larger version of the newest design of a model.
    pub(super) async fn larger(&self, piece: Piece, times: f64) -> Result<(), DemoFault> {
        let number: i32 = sqlx::query_scalar("SELECT max(number) FROM designs WHERE name = $1")
            .bind(piece.title())
            .fetch_one(self.bench.pool)
            .await?;
        let broken = |error: &dyn std::fmt::Display| DemoFault::Broken(error.to_string());
        let mesh = piece.mesh().scaled(times).map_err(|error| broken(&error))?;
        let bytes = write::stl_binary(&mesh, piece.slug()).map_err(|error| broken(&error))?;
        let file = Dropped { name: format!("{}-larger.stl", piece.slug()), bytes };
        let page = format!("/designs/{number}");
        let action = format!("{page}/versions");
        self.owner.drop_into(&page, &action, &[], "models", &[file]).await?;
        Ok(())
    }

    /// Prices an order, names a day, and sends the quote; returns the client's link.
    pub(super) async fn price(
        &self,
        number: i32,
        day: book::Day,
        turned: &[(&str, &str)],
    ) -> Result<String, DemoFault> {
        let page = format!("/orders/{number}/price");
        let promised = match day {
            book::Day::Open => String::new(),
            book::Day::Offered => self.offered_day(&page, 0).await?,
            book::Day::Sooner(days) => self.offered_day(&page, days).await?,
        };
        let mut fields = turned.to_vec();
        fields.push(("ready_by", &promised));
        let quote = self.owner.fill(&page, &page, &fields).await?;
        let next = self.owner.fill(&quote, &format!("{quote}/send"), &[]).await?;
        // This studio hands the link over by telephone, so the letter begun with it goes.
        if next.starts_with("/letters/") {
            self.owner.fill(&next, &format!("{next}/throw-away"), &[]).await?;
        }
        let shown = self.owner.open(&format!("/orders/{number}/quotes")).await?;
        client_link(&shown)
    }

    /// The day that the price form offers, or so many days sooner.
    async fn offered_day(&self, page: &str, sooner: i32) -> Result<String, DemoFault> {
        let shown = self.owner.open(page).await?;
        let day = offered(&shown, "take")
            .and_then(|day| day.parse::<Date>().ok())
            .ok_or_else(|| DemoFault::Missing(format!("a day to promise on {page}")))?;
        Ok(Day(day).plus_days(-sooner).to_string())
    }

    /// An order from the model to the client's yes.
    pub(super) async fn order(&self, number: i32, spares: &str) -> Result<(), DemoFault> {
        let ordered = self.open(number).await?;
        self.at(self.calendar.on(ordered.came, 11, 30));
        let link = self.price(number, ordered.day, &[("spares", spares)]).await?;
        self.at(self.calendar.on(ordered.came, 19, 10));
        self.client.fill(&link, &format!("{link}/yes"), &[("name", ordered.client)]).await?;
        Ok(())
    }

    /// Hands over those of the orders whose pieces are all ready, one after the other.
    pub(super) async fn hand_over(&self, orders: &[i32], at: Moment) -> Result<(), DemoFault> {
        let ready: Vec<i32> = sqlx::query_scalar(
            "SELECT number FROM orders WHERE number = ANY($1) AND state = 'ready' ORDER BY number",
        )
        .bind(orders)
        .fetch_all(self.bench.pool)
        .await?;
        for (nth, number) in (0..).zip(ready) {
            self.at(self.calendar.next_open(at.plus_minutes(25 * nth)));
            let page = format!("/orders/{number}");
            self.owner.fill(&page, &format!("{page}/hand-over"), &[]).await?;
        }
        Ok(())
    }
}

//! What happened in the invented studio during the last month.

use axum::Router;
use foundry::mesh::Unit;
use foundry::mesh::write;
use foundry::shapes::Piece;
use jiff::tz::TimeZone;
use sqlx::PgPool;

use super::bench::{Bench, Until, number_of};
use super::hands::{Dropped, Hands};
use super::papers::Desk;
use super::{DemoFault, LOGIN, workshop};
use crate::clock::{Clock, Day, Moment};

/// A line of an order: what, in which alloy, how many, minutes of finishing for one.
type Line = (Piece, &'static str, &'static str, &'static str);

/// An order of the story: for whom, what it is called, due so many days from now, lines.
struct Ordered {
    client: &'static str,
    email: &'static str,
    title: &'static str,
    due: i32,
    lines: &'static [Line],
}

const BRONZE: &str = "Silicon bronze";
const SILVER: &str = "Sterling silver";
const GOLD: &str = "14 ct yellow gold";
const BRASS: &str = "Yellow brass";

/// The orders in the order in which they came in.
const ORDERS: [Ordered; 15] = [
    Ordered {
        client: "Ines Calloway",
        email: "ines@calloway.example",
        title: "Rosette pendants for a choir",
        due: -18,
        lines: &[(Piece::Pendant, SILVER, "4", "35")],
    },
    Ordered {
        client: "Restoration at Elm House",
        email: "workshop@elmhouse.example",
        title: "Drawer knobs after the old ones",
        due: -15,
        lines: &[(Piece::DrawerKnob, BRONZE, "6", "15")],
    },
    Ordered {
        client: "Vossberg woodwind repairs",
        email: "bench@vossberg.example",
        title: "Keys for a low clarinet",
        due: -12,
        lines: &[(Piece::InstrumentKey, BRASS, "3", "50")],
    },
    Ordered {
        client: "Bertram Holt",
        email: "b.holt@post.example",
        title: "Cufflinks, a pair",
        due: -4,
        lines: &[(Piece::Cufflink, SILVER, "2", "40")],
    },
    Ordered {
        client: "Odile and Rafe Marsh",
        email: "odile@marsh.example",
        title: "Two bands, comfort fit",
        due: -2,
        lines: &[(Piece::ComfortBand, GOLD, "2", "45")],
    },
    Ordered {
        client: "Restoration at Elm House",
        email: "",
        title: "Hinge leaves for a writing desk",
        due: 3,
        lines: &[(Piece::HingeLeaf, BRONZE, "4", "20")],
    },
    Ordered {
        client: "Ines Calloway",
        email: "",
        title: "A signet ring",
        due: 4,
        lines: &[(Piece::SignetRing, SILVER, "1", "70")],
    },
    Ordered {
        client: "Pell and daughters, outfitters",
        email: "orders@pell.example",
        title: "Coat hooks for the shop",
        due: 6,
        lines: &[(Piece::Hook, BRONZE, "5", "15")],
    },
    Ordered {
        client: "Vossberg woodwind repairs",
        email: "",
        title: "Trill keys",
        due: 8,
        lines: &[(Piece::InstrumentKey, BRASS, "2", "50"), (Piece::PlainBand, BRASS, "2", "10")],
    },
    Ordered {
        client: "Bertram Holt",
        email: "",
        title: "Beads for a watch chain",
        due: 9,
        lines: &[(Piece::LobedBead, SILVER, "6", "15")],
    },
    Ordered {
        client: "Sorrel Anning",
        email: "sorrel@anning.example",
        title: "Pendants, first of an edition",
        due: 11,
        lines: &[(Piece::Pendant, BRONZE, "5", "25")],
    },
    Ordered {
        client: "Restoration at Elm House",
        email: "",
        title: "Knobs, second lot",
        due: 13,
        lines: &[(Piece::DrawerKnob, BRONZE, "4", "15")],
    },
    Ordered {
        client: "Odile and Rafe Marsh",
        email: "",
        title: "Plain bands to stack",
        due: 14,
        lines: &[(Piece::PlainBand, SILVER, "3", "20")],
    },
    Ordered {
        client: "Pell and daughters, outfitters",
        email: "",
        title: "Cufflinks to sell",
        due: 20,
        lines: &[(Piece::Cufflink, SILVER, "8", "35"), (Piece::Cufflink, BRONZE, "8", "30")],
    },
    Ordered {
        client: "Sorrel Anning",
        email: "",
        title: "A hook with leaves, to be drawn",
        due: 30,
        lines: &[],
    },
];

/// A model as a file, in the formats that clients send.
fn model(piece: Piece, nth: usize) -> Result<Dropped, DemoFault> {
    let mesh = piece.mesh();
    let broken =
        |error: &dyn std::fmt::Display| DemoFault::Broken(format!("{}: {error}", piece.slug()));
    let (ending, bytes) = match nth % 3 {
        0 => ("stl", write::stl_binary(&mesh, piece.slug()).map_err(|error| broken(&error))?),
        1 => ("obj", write::obj(&mesh, piece.slug())),
        _ => (
            "3mf",
            write::three_mf(&mesh, piece.slug(), Unit::Millimetre)
                .map_err(|error| broken(&error))?,
        ),
    };
    Ok(Dropped { name: format!("{}.{ending}", piece.slug()), bytes })
}

/// Days of the studio's calendar and times of its wall clock.
pub(super) struct Calendar {
    zone: TimeZone,
    today: Day,
}

impl Calendar {
    /// So many days ago at a time of day, on a weekday: Saturdays and Sundays become the Friday before.
    pub(super) fn ago(&self, days: i32, hour: i8, minute: i8) -> Moment {
        let mut day = self.today.plus_days(-days);
        let weekday = i32::from(day.0.weekday().to_monday_zero_offset());
        if weekday > 4 {
            day = day.plus_days(4 - weekday);
        }
        let wall = day.0.at(hour, minute, 0, 0);
        Moment(self.zone.to_ambiguous_timestamp(wall).compatible().unwrap_or_default())
    }
}

/// Lets the month pass.
pub(super) async fn tell(
    pool: &PgPool,
    clock: &Clock,
    router: Router,
    now: Moment,
    password: &str,
    say: impl Fn(&str),
) -> Result<(), DemoFault> {
    let zone = TimeZone::get("Europe/Lisbon").unwrap_or(TimeZone::UTC);
    let calendar = Calendar { today: now.day_in(&zone), zone };
    let opening = calendar.ago(38, 8, 0);
    clock.set(opening);
    say("founding the studio");
    workshop::found(pool, password, opening).await?;
    let owner = Hands::new(router.clone()).sign_in(LOGIN, password).await?;
    let maker = Hands::new(router.clone()).sign_in("tobin", password).await?;
    workshop::stock(pool, &owner, opening).await?;
    let bench = Bench { pool, clock, maker: &maker, owner: &owner, now };
    let client = Hands::new(router);
    let story = Story { bench: &bench, owner: &owner, client: &client, calendar: &calendar };

    say("three weeks ago: pendants, knobs and keys");
    let (pendants, pendants_page) = story.order(0, 34).await?;
    let (knobs, knobs_page) = story.order(1, 33).await?;
    let (keys, keys_page) = story.order(2, 33).await?;
    let failed = format!("{keys}-2");
    story.batch(&[pendants, knobs, keys], 31, &[(&failed, "delaminated")]).await?;

    say("two weeks ago: cufflinks and bands");
    let (cufflinks, cufflinks_page) = story.order(3, 21).await?;
    let (bands, bands_page) = story.order(4, 20).await?;
    story.batch(&[keys, cufflinks, bands], 18, &[]).await?;

    say("this week");
    let (hinges, hinges_page) = story.order(5, 12).await?;
    let (signet, signet_page) = story.order(6, 11).await?;
    story.cast(&[hinges, signet], 9, Until::Divested).await?;
    story.begin_finishing(&[hinges, signet], 3).await?;

    let (hooks, hooks_page) = story.order(7, 8).await?;
    let (trills, _) = story.order(8, 8).await?;
    let (beads, _) = story.order(9, 7).await?;
    story.to_the_kiln(&[hooks, trills, beads], now).await?;

    let (edition, _) = story.order(10, 5).await?;
    let (more_knobs, _) = story.order(11, 4).await?;
    let (stack, _) = story.order(12, 4).await?;
    story.on_the_bench(edition, more_knobs, stack, now).await?;

    say("sprues on the models");
    story.sprue("Signet ring", ["0", "0", "12.6"], "6").await?;
    story.sprue("Drawer knob", ["0", "0", "26.4"], "8").await?;
    story.sprue("Plain band", ["10.45", "0", "0"], "3").await?;
    story.larger("Lobed bead", Piece::LobedBead, 1.1).await?;
    owner.fill("/designs/known", "/designs/known", &[]).await?;

    say("what is still being talked about");
    story.brought(GOLD, "Odile and Rafe Marsh", "18.40", 6).await?;
    story.quote_only(13, 2).await?;
    story.enquiry(14, 1).await?;

    say("invoices, payments and questions");
    let desk = Desk { pool, clock, owner: &owner, client: &client, calendar: &calendar, now };
    let done = [
        (pendants, pendants_page),
        (knobs, knobs_page),
        (keys, keys_page),
        (cufflinks, cufflinks_page),
        (bands, bands_page),
    ];
    let made = [(hinges, hinges_page), (signet, signet_page), (hooks, hooks_page)];
    desk.month(&done, &made).await?;
    desk.questions(&made[0], &made[1]).await?;
    clock.set(now);
    Ok(())
}

struct Story<'a> {
    bench: &'a Bench<'a>,
    owner: &'a Hands,
    client: &'a Hands,
    calendar: &'a Calendar,
}

impl Story<'_> {
    fn at(&self, moment: Moment) {
        self.bench.clock.set(moment.min(self.bench.now));
    }

    /// Opens an order and drops its models into it; returns its number.
    async fn open(&self, nth: usize, days_ago: i32) -> Result<i32, DemoFault> {
        let ordered = &ORDERS[nth];
        self.at(self.calendar.ago(days_ago, 10, 5));
        let due = self.calendar.today.plus_days(ordered.due).to_string();
        let known: Option<String> =
            sqlx::query_scalar("SELECT id::text FROM clients WHERE name = $1")
                .bind(ordered.client)
                .fetch_optional(self.bench.pool)
                .await?;
        let mut fields = vec![("title", ordered.title), ("due_on", due.as_str())];
        match &known {
            Some(id) => fields.push(("client", id)),
            None => fields.extend([
                ("client", ""),
                ("new_client", ordered.client),
                ("new_email", ordered.email),
            ]),
        }
        let mut files = Vec::new();
        let mut line = None;
        if let Some((piece, alloy, quantity, finishing)) = ordered.lines.first() {
            files.push(model(*piece, nth)?);
            line = Some((self.alloy(alloy).await?, *quantity, *finishing));
        }
        if let Some((alloy, quantity, finishing)) = &line {
            fields.extend([
                ("alloy", alloy.as_str()),
                ("quantity", quantity),
                ("finishing_minutes", finishing),
            ]);
        }
        let place =
            self.owner.drop_into("/orders/new", "/orders/new", &fields, "files", &files).await?;
        let number = number_of(&place)?;
        for (n, (piece, alloy, quantity, finishing)) in ordered.lines.iter().enumerate().skip(1) {
            let alloy = self.alloy(alloy).await?;
            let fields = [
                ("alloy", alloy.as_str()),
                ("quantity", quantity),
                ("finishing_minutes", finishing),
            ];
            let page = format!("/orders/{number}");
            let file = model(*piece, nth + n)?;
            self.owner
                .drop_into(&page, &format!("{page}/files"), &fields, "files", &[file])
                .await?;
        }
        Ok(number)
    }

    /// Adds a larger version of the newest design of a name.
    async fn larger(&self, name: &str, piece: Piece, times: f64) -> Result<(), DemoFault> {
        let number: i32 = sqlx::query_scalar("SELECT max(number) FROM designs WHERE name = $1")
            .bind(name)
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

    /// Puts a sprue on the newest design of a name.
    async fn sprue(&self, name: &str, at: [&str; 3], diameter: &str) -> Result<(), DemoFault> {
        let number: i32 = sqlx::query_scalar("SELECT max(number) FROM designs WHERE name = $1")
            .bind(name)
            .fetch_one(self.bench.pool)
            .await?;
        let page = format!("/designs/{number}");
        let fields = [("x1", at[0]), ("y1", at[1]), ("z1", at[2]), ("d1", diameter), ("l1", "8")];
        self.owner.fill(&page, &format!("{page}/casting"), &fields).await?;
        Ok(())
    }

    async fn alloy(&self, name: &str) -> Result<String, DemoFault> {
        Ok(sqlx::query_scalar("SELECT id::text FROM alloys WHERE name = $1")
            .bind(name)
            .fetch_one(self.bench.pool)
            .await?)
    }

    /// A client brings metal of their own.
    async fn brought(
        &self,
        alloy: &str,
        client: &str,
        grams: &str,
        days_ago: i32,
    ) -> Result<(), DemoFault> {
        self.at(self.calendar.ago(days_ago, 16, 20));
        let id: String = sqlx::query_scalar("SELECT id::text FROM clients WHERE name = $1")
            .bind(client)
            .fetch_one(self.bench.pool)
            .await?;
        let alloy = self.alloy(alloy).await?;
        let page = format!("/metal/clients/{id}");
        let fields =
            [("alloy", alloy.as_str()), ("grams", grams), ("note", "a chain, marked and assayed")];
        self.owner.fill(&page, &format!("{page}/receive"), &fields).await?;
        Ok(())
    }

    /// Prices an order and sends the quote; returns the client's link.
    async fn price(&self, number: i32, turned: &[(&str, &str)]) -> Result<String, DemoFault> {
        let page = format!("/orders/{number}/price");
        let quote = self.owner.fill(&page, &page, turned).await?;
        let next = self.owner.fill(&quote, &format!("{quote}/send"), &[]).await?;
        // This studio hands the link over by telephone, so the letter begun with it goes.
        if next.starts_with("/letters/") {
            self.owner.fill(&next, &format!("{next}/throw-away"), &[]).await?;
        }
        let shown = self.owner.open(&format!("/orders/{number}/quotes")).await?;
        let from =
            shown.find("/c/").ok_or_else(|| DemoFault::Missing("the client's link".to_owned()))?;
        let link: String =
            shown[from..].chars().take_while(|c| !matches!(c, '"' | '<' | ' ' | '\n')).collect();
        Ok(link)
    }

    /// An order from the model to the client's yes.
    async fn order(&self, nth: usize, days_ago: i32) -> Result<(i32, String), DemoFault> {
        let number = self.open(nth, days_ago).await?;
        self.at(self.calendar.ago(days_ago, 11, 30));
        let link = self.price(number, &[]).await?;
        self.at(self.calendar.ago(days_ago, 19, 10));
        self.client.fill(&link, &format!("{link}/yes"), &[("name", ORDERS[nth].client)]).await?;
        Ok((number, link))
    }

    async fn quote_only(&self, nth: usize, days_ago: i32) -> Result<(), DemoFault> {
        let number = self.open(nth, days_ago).await?;
        // The client may have it finished or as cast, and the metal moves with the day.
        let turned = [
            ("metal_rule", "day_of_yes"),
            ("asked_name", "finished and polished"),
            ("option0_name", "as cast, to finish yourself"),
            ("option0_finish", "as_cast"),
        ];
        self.price(number, &turned).await?;
        Ok(())
    }

    async fn enquiry(&self, nth: usize, days_ago: i32) -> Result<(), DemoFault> {
        self.open(nth, days_ago).await?;
        Ok(())
    }

    /// From the printer to the cut-off castings.
    async fn cast(&self, orders: &[i32], days_ago: i32, until: Until) -> Result<Moment, DemoFault> {
        self.bench.print(orders, self.calendar.ago(days_ago, 8, 40), &[]).await?;
        self.cast_printed(orders, days_ago - 1, until).await
    }

    async fn cast_printed(
        &self,
        orders: &[i32],
        days_ago: i32,
        until: Until,
    ) -> Result<Moment, DemoFault> {
        self.bench.cure(orders, self.calendar.ago(days_ago, 9, 10)).await?;
        let flasks =
            self.bench.tree(orders, self.calendar.ago(days_ago, 11, 0), "Middle", 6).await?;
        for (n, flask) in flasks.iter().enumerate() {
            let n = i8::try_from(n).unwrap_or(0);
            self.bench.weigh(flask, self.calendar.ago(days_ago, 13, 20 + 5 * n)).await?;
            self.bench.invest(flask, self.calendar.ago(days_ago, 14, 15 * n.min(3))).await?;
        }
        self.bench.plan(self.calendar.ago(days_ago, 15, 30)).await?;
        self.bench.fire(until).await
    }

    /// A batch from print to hand-over, with failures at print.
    async fn batch(
        &self,
        orders: &[i32],
        days_ago: i32,
        failed: &[(&str, &str)],
    ) -> Result<(), DemoFault> {
        self.bench.print(orders, self.calendar.ago(days_ago, 8, 40), failed).await?;
        let cast = self.cast_printed(orders, days_ago - 1, Until::Divested).await?;
        self.bench.finish(orders, cast.plus_minutes(20 * 60), usize::MAX).await?;
        for order in orders {
            self.hand_over(*order).await?;
        }
        Ok(())
    }

    /// Hands over an order whose pieces are all ready.
    async fn hand_over(&self, number: i32) -> Result<(), DemoFault> {
        let all_ready: Option<bool> = sqlx::query_scalar(
            "SELECT bool_and(p.standing = 'ready') FROM pieces p JOIN orders o ON o.id = p.order_id
             WHERE o.number = $1",
        )
        .bind(number)
        .fetch_one(self.bench.pool)
        .await?;
        if all_ready == Some(true) {
            let page = format!("/orders/{number}");
            self.owner.fill(&page, &format!("{page}/hand-over"), &[]).await?;
        }
        Ok(())
    }

    /// Some pieces are finished, some in hand; one order is ready.
    async fn begin_finishing(&self, orders: &[i32], days_ago: i32) -> Result<(), DemoFault> {
        let at = self.calendar.ago(days_ago, 9, 30).max(self.bench.clock.now());
        self.bench.finish(orders, at, 3).await
    }

    /// Yesterday's flasks: in the kiln overnight, or hot this morning.
    async fn to_the_kiln(&self, orders: &[i32], now: Moment) -> Result<(), DemoFault> {
        self.bench.print(orders, self.calendar.ago(4, 8, 30), &[]).await?;
        self.bench.cure(orders, self.calendar.ago(3, 9, 0)).await?;
        let began = now.plus_minutes(-11 * 60);
        let flasks = self.bench.tree(orders, began.plus_minutes(-360), "Middle", 6).await?;
        for (n, flask) in flasks.iter().enumerate() {
            let n = i64::try_from(n).unwrap_or(0);
            self.bench.weigh(flask, began.plus_minutes(-300 + 5 * n)).await?;
            self.bench.invest(flask, began.plus_minutes(-240 + 15 * n)).await?;
        }
        self.bench.plan(began.plus_minutes(-60)).await?;
        self.bench.fire(Until::Held).await?;
        Ok(())
    }

    /// What lies on the bench now: flasks that wait for a plan, a tree being
    /// built, a cure that runs, a plate in the printer, pieces that wait.
    async fn on_the_bench(
        &self,
        edition: i32,
        knobs: i32,
        stack: i32,
        now: Moment,
    ) -> Result<(), DemoFault> {
        self.bench
            .print(
                &[edition, knobs],
                self.calendar.ago(2, 9, 0),
                &[(&format!("{edition}-3"), "not on the plate")],
            )
            .await?;
        self.bench.cure(&[edition], self.calendar.ago(1, 10, 0)).await?;
        let flasks = self.bench.tree(&[edition], now.plus_minutes(-300), "Middle", 2).await?;
        if let Some((last, ready)) = flasks.split_last() {
            for (n, flask) in ready.iter().enumerate() {
                let n = i64::try_from(n).unwrap_or(0);
                self.bench.weigh(flask, now.plus_minutes(-280 + 5 * n)).await?;
                self.bench.invest(flask, now.plus_minutes(-240 + 20 * n)).await?;
            }
            self.bench.weigh(last, now.plus_minutes(-90)).await?;
        }
        self.bench.begin_cure(&[knobs], now.plus_minutes(-4)).await?;
        self.bench.start_plate(&[stack], now.plus_minutes(-45)).await?;
        self.at(now);
        Ok(())
    }
}

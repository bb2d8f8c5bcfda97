//! What happened in the invented studio during the last two months, chapter by chapter.

use axum::Router;
use jiff::tz::TimeZone;
use tokio::sync::watch;

use super::bench::Bench;
use super::calendar::Calendar;
use super::dice::Dice;
use super::hands::Hands;
use super::papers::Desk;
use super::{DemoFault, LOGIN, workshop};
use crate::clock::Moment;
use crate::jobs::Worker;
use crate::studio::Week;
use crate::web::App;

/// Where the studio is.
const ZONE: &str = "Europe/Lisbon";
/// It opened so many working days ago.
const OPENED: i32 = 46;
/// Any number; always the same.
const SEED: u64 = 20;

/// Walls and the first answer about freezing have these ranks or a lower one; what comes later
/// is left to the program as it serves.
const SOON_DONE: i16 = 1;

/// The studio with everybody in it.
pub(super) struct Story<'a> {
    pub(super) app: &'a App,
    pub(super) bench: &'a Bench<'a>,
    pub(super) owner: &'a Hands,
    pub(super) client: &'a Hands,
    pub(super) calendar: &'a Calendar,
}

/// Founds the studio and lets the two months pass; says what broke the story off, if anything
/// did.
pub(super) async fn tell(
    app: &App,
    router: Router,
    now: Moment,
    password: &str,
    say: impl Fn(&str),
) -> Result<Option<DemoFault>, DemoFault> {
    let (pool, clock) = (&app.pool, &app.clock);
    let zone = TimeZone::get(ZONE).unwrap_or(TimeZone::UTC);
    say("founding the studio");
    workshop::found(pool, ZONE, password, now.plus_minutes(-100 * 1440)).await?;
    let week = Week::of_studio(pool, now.day_in(&zone)).await?;
    let calendar = Calendar::new(week, zone, now);
    let opening = calendar.on(OPENED, 8, 0);
    clock.set(opening);
    let owner = Hands::new(router.clone()).sign_in(LOGIN, password).await?;
    let maker = Hands::new(router.clone()).sign_in("tobin", password).await?;
    workshop::stock(pool, &owner, opening).await?;
    let (dice, client) = (Dice::new(SEED), Hands::new(router));
    let bench =
        Bench { pool, clock, maker: &maker, owner: &owner, calendar: &calendar, dice: &dice, now };
    let story = Story { app, bench: &bench, owner: &owner, client: &client, calendar: &calendar };

    let told = story.chapters(now, &say).await;
    clock.set(now);
    Ok(told.err())
}

impl Story<'_> {
    async fn chapters(&self, now: Moment, say: &impl Fn(&str)) -> Result<(), DemoFault> {
        self.history(say).await?;
        self.present(say).await?;
        say("invoices, payments and questions");
        let App { pool, clock, .. } = self.app;
        let (owner, client, calendar) = (self.owner, self.client, self.calendar);
        let desk = Desk { pool, clock, owner, client, calendar, now };
        desk.two_months().await?;
        desk.questions().await?;
        say("metal on the scale, photos for clients, clocks that are up");
        self.metal().await?;
        self.photos().await?;
        self.stop_clocks().await
    }

    pub(super) fn at(&self, moment: Moment) {
        self.bench.at(moment);
    }

    /// Does the analyses that are soon done, two at a time, so that there are forecasts before
    /// anything is poured.
    pub(super) async fn look_closer(&self) -> Result<(), DemoFault> {
        tokio::try_join!(self.work_off(), self.work_off())?;
        Ok(())
    }

    async fn work_off(&self) -> Result<(), DemoFault> {
        let worker = Worker::new(self.app.clone(), crate::server::kinds()).waited_for();
        // Nobody tells it to stop.
        let (_sender, mut stop) = watch::channel(false);
        let waiting = "SELECT EXISTS (SELECT 1 FROM jobs WHERE state = 'waiting' AND rank <= $1)";
        while sqlx::query_scalar(waiting).bind(SOON_DONE).fetch_one(&self.app.pool).await? {
            worker.run_one(&mut stop).await?;
        }
        Ok(())
    }

    pub(super) async fn alloy(&self, name: &str) -> Result<String, DemoFault> {
        Ok(sqlx::query_scalar("SELECT id::text FROM alloys WHERE name = $1")
            .bind(name)
            .fetch_one(self.bench.pool)
            .await?)
    }

    pub(super) async fn client_id(&self, name: &str) -> Result<Option<String>, DemoFault> {
        Ok(sqlx::query_scalar("SELECT id::text FROM clients WHERE name = $1")
            .bind(name)
            .fetch_optional(self.bench.pool)
            .await?)
    }

    /// Stops the clocks of what has set or cooled long ago, as whoever passes by does.
    async fn stop_clocks(&self) -> Result<(), DemoFault> {
        let up: Vec<(String, Moment)> = sqlx::query_as(
            "SELECT id::text, due_at FROM timers WHERE ended_at IS NULL AND due_at < $1
               AND name IN ('bench set', 'quench') ORDER BY due_at",
        )
        .bind(self.bench.now.plus_minutes(-20))
        .fetch_all(self.bench.pool)
        .await?;
        for (id, due) in up {
            self.at(self.calendar.next_open(due.plus_minutes(7)));
            self.bench.maker.fill("/timers", &format!("/timers/{id}/stop"), &[]).await?;
        }
        Ok(())
    }
}

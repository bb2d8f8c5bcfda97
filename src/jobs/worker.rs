//! Takes jobs one after the other and does them.

use std::future::Future;
use std::pin::Pin;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use serde_json::Value;
use tokio::sync::watch;

use super::pool;
use super::store::{self, End, Heard, Job};
use crate::web::App;

/// How often a worker says that it is alive, and pages hear how far it is.
const BEAT: Duration = Duration::from_secs(1);
/// How long a worker without work waits before it looks again, when nobody wakes it.
const IDLE: Duration = Duration::from_secs(5);

/// Why a job gave no result.
#[derive(Debug)]
pub enum Fault {
    /// Its input cannot be worked on; the sentence says why and what to do.
    Refused(String),
    /// It was told to stop, and did.
    Stopped,
    /// A defect or a breakdown; the cause goes to the log.
    Broken(Box<dyn std::error::Error + Send + Sync>),
}

impl From<sqlx::Error> for Fault {
    fn from(error: sqlx::Error) -> Self {
        Self::Broken(error.into())
    }
}

impl From<serde_json::Error> for Fault {
    fn from(error: serde_json::Error) -> Self {
        Self::Broken(error.into())
    }
}

impl From<super::pool::BrokeOff> for Fault {
    fn from(error: super::pool::BrokeOff) -> Self {
        Self::Broken(error.into())
    }
}

/// Between a job and its worker: how far it is, and whether it should stop.
#[derive(Clone, Debug, Default)]
pub struct Watch(Arc<Told>);

#[derive(Debug, Default)]
struct Told {
    stop: AtomicBool,
    share: AtomicU32,
    doing: Mutex<&'static str>,
}

impl Watch {
    /// Tells how far the job is; says whether it should go on.
    #[must_use]
    pub fn tell(&self, doing: &'static str, share: f64) -> bool {
        *self.0.doing.lock().unwrap_or_else(PoisonError::into_inner) = doing;
        self.0.share.store((share as f32).to_bits(), Ordering::Relaxed);
        !self.0.stop.load(Ordering::Relaxed)
    }

    fn heard(&self) -> (&'static str, f32) {
        let doing = *self.0.doing.lock().unwrap_or_else(PoisonError::into_inner);
        // Steps of one per cent: finer ones would have pages fetched again for nothing.
        let share = (f32::from_bits(self.0.share.load(Ordering::Relaxed)) * 100.0).floor() / 100.0;
        (doing, if share.is_finite() { share } else { 0.0 })
    }

    fn stop(&self) {
        self.0.stop.store(true, Ordering::Relaxed);
    }
}

/// Does one kind of job.
pub type Handler =
    fn(App, Value, Watch) -> Pin<Box<dyn Future<Output = Result<Value, Fault>> + Send>>;

/// A kind of job and who does it.
#[derive(Clone, Copy, Debug)]
pub struct Kind {
    /// Its name in the table.
    pub name: &'static str,
    /// What does it.
    pub handler: Handler,
}

/// Takes jobs of some kinds and does them, one at a time.
#[derive(Clone, Debug)]
pub struct Worker {
    app: App,
    kinds: Vec<Kind>,
    name: String,
    waited_for: bool,
}

impl Worker {
    /// A worker with a name of its own.
    #[must_use]
    pub fn new(app: App, kinds: Vec<Kind>) -> Self {
        Self { app, kinds, name: uuid::Uuid::now_v7().to_string(), waited_for: false }
    }

    /// A worker that somebody waits for: its jobs stand back as little as a page's own work.
    #[must_use]
    pub fn waited_for(self) -> Self {
        Self { waited_for: true, ..self }
    }

    /// Works until told to stop; a job under way is then put back.
    pub async fn run(self, mut stop: watch::Receiver<bool>) {
        let mut news = self.app.live.subscribe();
        while !*stop.borrow() {
            match self.run_one(&mut stop).await {
                Ok(true) => continue,
                Ok(false) => {}
                Err(error) => {
                    tracing::warn!(error.text = %error, "the queue of jobs did not answer")
                }
            }
            let woken = async {
                // A listener that fell behind may have missed a job.
                while news.recv().await.is_ok_and(|topic| !topic.starts_with("jobs:")) {}
            };
            tokio::select! {
                () = woken => {}
                () = tokio::time::sleep(IDLE) => {}
                changed = stop.changed() => if changed.is_err() { break },
            }
        }
    }

    /// Does the next job, if there is one; says whether there was.
    ///
    /// # Errors
    /// The database's; what goes wrong in a job is noted at the job.
    pub async fn run_one(&self, stop: &mut watch::Receiver<bool>) -> Result<bool, sqlx::Error> {
        let names: Vec<&str> = self.kinds.iter().map(|kind| kind.name).collect();
        let app = &self.app;
        let Some(job) = store::claim(&app.pool, &self.name, &names, app.clock.now()).await? else {
            return Ok(false);
        };
        let Some(kind) = self.kinds.iter().find(|kind| kind.name == job.kind) else {
            return Ok(false);
        };
        let watch = Watch::default();
        // On a task of its own, so that a panic in it is not the worker's.
        let work = (kind.handler)(app.clone(), job.input.clone(), watch.clone());
        let mut work =
            if self.waited_for { tokio::spawn(pool::waited_for(work)) } else { tokio::spawn(work) };
        let mut beat = tokio::time::interval(BEAT);
        let mut called_off = false;
        let mut stopping = *stop.borrow();
        let outcome = loop {
            tokio::select! {
                outcome = &mut work => break outcome,
                _ = beat.tick() => {
                    let (doing, share) = watch.heard();
                    // A database that does not answer for a moment does not stop the work.
                    match store::alive(&app.pool, &job, &self.name, doing, share).await {
                        Ok(Heard::GoOn) | Err(_) => {}
                        Ok(Heard::CalledOff) => { called_off = true; watch.stop(); }
                        Ok(Heard::Lost) => watch.stop(),
                    }
                }
                Ok(()) = stop.changed(), if !stopping => { stopping = true; watch.stop(); }
            }
        };
        let end = match outcome {
            Ok(Ok(result)) => End::Done(result),
            Ok(Err(Fault::Refused(why))) => End::Failed(why),
            Ok(Err(Fault::Stopped)) if called_off => End::Cancelled,
            Ok(Err(Fault::Stopped)) => End::PutBack,
            Ok(Err(Fault::Broken(cause))) => self.broken(&job, cause.as_ref()),
            Err(panic) => self.broken(&job, &panic),
        };
        store::end(&app.pool, &job, &self.name, end, app.clock.now()).await?;
        Ok(true)
    }

    fn broken(&self, job: &Job, cause: &(dyn std::error::Error + 'static)) -> End {
        let number = job.id.to_string();
        let short = &number[number.len() - 8..];
        tracing::error!(job.kind, fault.number = short, error.text = %cause, "a job broke");
        End::Failed(format!(
            "Something broke on our side. Ask again; if it happens again, tell whoever looks after this program the number {short}."
        ))
    }
}

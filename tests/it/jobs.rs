//! The queue of jobs: each is done once, whoever dies, and can be called off.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use pourday::jobs::{self, Fault, Kind, Standing, State, Worker};
use serde_json::{Value, json};
use tokio::sync::watch;

use crate::support::studio::{NOW, Studio, moment};

async fn ask(studio: &Studio, kind: &str, key: &str, input: Value) {
    let mut conn = studio.db.pool.acquire().await.unwrap();
    jobs::ask(&mut conn, kind, key, &input, 0, moment(NOW)).await.unwrap();
}

async fn standing(studio: &Studio, kind: &str, key: &str) -> Standing {
    jobs::standing(&studio.db.pool, kind, key).await.unwrap().unwrap()
}

/// A kind of job that doubles a number.
fn doubling() -> Kind {
    Kind {
        name: "double",
        handler: |_, input, _| {
            Box::pin(async move {
                let number =
                    input.as_i64().ok_or_else(|| Fault::Refused("Give a number.".into()))?;
                Ok(json!(2 * number))
            })
        },
    }
}

/// A kind of job that goes on until it is told to stop.
fn endless() -> Kind {
    Kind {
        name: "endless",
        handler: |_, _, watch| {
            Box::pin(async move {
                while watch.tell("turning", 0.25) {
                    tokio::time::sleep(Duration::from_millis(10)).await;
                }
                Err(Fault::Stopped)
            })
        },
    }
}

fn never() -> watch::Receiver<bool> {
    let (sender, receiver) = watch::channel(false);
    // Kept for the whole test: a channel that is closed means to stop.
    std::mem::forget(sender);
    receiver
}

#[tokio::test(flavor = "multi_thread")]
async fn a_question_asked_twice_is_answered_once() {
    let studio = Studio::open().await;
    ask(&studio, "double", "21", json!(21)).await;
    ask(&studio, "double", "21", json!(21)).await;
    let worker = Worker::new(studio.app.clone(), vec![doubling()]);
    assert!(worker.run_one(&mut never()).await.unwrap());
    assert!(!worker.run_one(&mut never()).await.unwrap(), "nothing is left");
    let done = standing(&studio, "double", "21").await;
    assert_eq!((done.state(), done.result), (State::Done, Some(json!(42))));
    ask(&studio, "double", "21", json!(21)).await;
    assert!(!worker.run_one(&mut never()).await.unwrap(), "what is answered is not asked again");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_asked_last_is_done_first_unless_something_ranks_before_it() {
    let studio = Studio::open().await;
    let mut conn = studio.db.pool.acquire().await.unwrap();
    for (minute, (key, rank)) in (0..).zip([("1", 1), ("2", 3), ("3", 3)]) {
        let at = moment(NOW).plus_minutes(minute);
        jobs::ask(&mut conn, "double", key, &json!(1), rank, at).await.unwrap();
    }
    let worker = Worker::new(studio.app.clone(), vec![doubling()]);
    for key in ["1", "3", "2"] {
        assert_eq!(standing(&studio, "double", key).await.state(), State::Waiting);
        assert!(worker.run_one(&mut never()).await.unwrap());
        assert_eq!(standing(&studio, "double", key).await.state(), State::Done, "{key}");
    }
}

static CALLS: AtomicUsize = AtomicUsize::new(0);

#[tokio::test(flavor = "multi_thread")]
async fn many_workers_do_every_job_exactly_once() {
    let studio = Studio::open().await;
    let counting = Kind {
        name: "count",
        handler: |_, input, _| {
            Box::pin(async move {
                CALLS.fetch_add(1, Ordering::SeqCst);
                tokio::time::sleep(Duration::from_millis(5)).await;
                Ok(input)
            })
        },
    };
    for n in 0..40 {
        ask(&studio, "count", &n.to_string(), json!(n)).await;
    }
    let workers = (0..4).map(|_| {
        let worker = Worker::new(studio.app.clone(), vec![counting]);
        tokio::spawn(async move { while worker.run_one(&mut never()).await.unwrap() {} })
    });
    for worker in workers.collect::<Vec<_>>() {
        worker.await.unwrap();
    }
    assert_eq!(CALLS.load(Ordering::SeqCst), 40);
    for n in 0..40 {
        let done = standing(&studio, "count", &n.to_string()).await;
        assert_eq!((done.state(), done.result), (State::Done, Some(json!(n))));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_whose_worker_was_killed_is_taken_over_and_given_up_in_the_end() {
    let studio = Studio::open().await;
    ask(&studio, "double", "3", json!(3)).await;
    let claim_and_die =
        "UPDATE jobs SET state = 'running', claimed_by = 'killed', attempts = attempts + 1,
        alive_at = clock_timestamp() - interval '1 minute' WHERE key = '3'";
    sqlx::query(claim_and_die).execute(&studio.db.pool).await.unwrap();
    let worker = Worker::new(studio.app.clone(), vec![doubling()]);
    assert!(worker.run_one(&mut never()).await.unwrap());
    assert_eq!(standing(&studio, "double", "3").await.result, Some(json!(6)));
    // One that is alive keeps its job.
    ask(&studio, "double", "4", json!(4)).await;
    sqlx::query("UPDATE jobs SET state = 'running', claimed_by = 'alive', attempts = 1, alive_at = clock_timestamp() WHERE key = '4'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    assert!(!worker.run_one(&mut never()).await.unwrap());
    // A job that took three workers with it is not given to a fourth.
    sqlx::query("UPDATE jobs SET attempts = 3, alive_at = clock_timestamp() - interval '1 minute' WHERE key = '4'")
        .execute(&studio.db.pool)
        .await
        .unwrap();
    assert!(!worker.run_one(&mut never()).await.unwrap());
    let given_up = standing(&studio, "double", "4").await;
    assert_eq!(given_up.state(), State::Failed);
    assert!(given_up.error.unwrap().contains("3 times"));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_refusal_is_kept_as_a_sentence_and_a_panic_ends_only_the_job() {
    let studio = Studio::open().await;
    let panicking = Kind {
        name: "panic",
        handler: |_, _, _| {
            Box::pin(async {
                jobs::at_leisure(|| {
                    if std::hint::black_box(true) {
                        panic!("on purpose");
                    }
                })
                .await?;
                Ok(json!(null))
            })
        },
    };
    ask(&studio, "double", "word", json!("word")).await;
    ask(&studio, "panic", "1", json!(1)).await;
    let worker = Worker::new(studio.app.clone(), vec![doubling(), panicking]);
    while worker.run_one(&mut never()).await.unwrap() {}
    let refused = standing(&studio, "double", "word").await;
    assert_eq!(
        (refused.state(), refused.error.as_deref()),
        (State::Failed, Some("Give a number."))
    );
    let broken = standing(&studio, "panic", "1").await;
    assert_eq!(broken.state(), State::Failed);
    assert!(broken.error.unwrap().contains("Something broke on our side"));
    ask(&studio, "double", "5", json!(5)).await;
    assert!(worker.run_one(&mut never()).await.unwrap(), "the worker goes on");
    // What failed is done again when somebody asks again.
    ask(&studio, "double", "word", json!(8)).await;
    assert!(worker.run_one(&mut never()).await.unwrap());
    assert_eq!(standing(&studio, "double", "word").await.result, Some(json!(16)));
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_can_be_called_off_while_it_waits_and_while_it_runs() {
    let studio = Studio::open().await;
    ask(&studio, "endless", "1", json!(1)).await;
    let mut conn = studio.db.pool.acquire().await.unwrap();
    jobs::cancel(&mut conn, "endless", "1", moment(NOW)).await.unwrap();
    assert_eq!(standing(&studio, "endless", "1").await.state(), State::Cancelled);
    ask(&studio, "endless", "1", json!(1)).await;
    let worker = Worker::new(studio.app.clone(), vec![endless()]);
    let working = tokio::spawn(async move { worker.run_one(&mut never()).await.unwrap() });
    let mut told = false;
    for _ in 0..200 {
        let now = standing(&studio, "endless", "1").await;
        told = now.state() == State::Running && now.doing == "turning" && now.progress == 0.25;
        if told {
            break;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    assert!(told, "its progress is told");
    jobs::cancel(&mut conn, "endless", "1", moment(NOW)).await.unwrap();
    assert!(working.await.unwrap());
    assert_eq!(standing(&studio, "endless", "1").await.state(), State::Cancelled);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_program_that_stops_puts_its_job_back_for_another() {
    let studio = Studio::open().await;
    ask(&studio, "endless", "1", json!(1)).await;
    let (stop, mut stopped) = watch::channel(false);
    let worker = Worker::new(studio.app.clone(), vec![endless()]);
    let working = tokio::spawn(async move { worker.run_one(&mut stopped).await.unwrap() });
    while standing(&studio, "endless", "1").await.state() != State::Running {
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    stop.send(true).unwrap();
    assert!(working.await.unwrap());
    assert_eq!(standing(&studio, "endless", "1").await.state(), State::Waiting);
    let attempts: i32 = sqlx::query_scalar("SELECT attempts FROM jobs WHERE key = '1'")
        .fetch_one(&studio.db.pool)
        .await
        .unwrap();
    assert_eq!(attempts, 0, "stopping in good order is no failed attempt");
}

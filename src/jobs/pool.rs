//! Threads for arithmetic, apart from those that answer requests and below them in priority.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::LazyLock;
use std::thread::available_parallelism;

use rayon::{ThreadPool, ThreadPoolBuilder};
use tokio::sync::{Semaphore, oneshot};

/// How far threads stand back when others want the processor, from 0 to 19: those for jobs
/// behind the one that somebody waits for, and that behind pages.
const AT_LEISURE: i32 = 15;
const ASIDE_OF_PAGES: i32 = 5;

/// Threads for jobs: all processors but one, so that pages keep theirs.
static JOBS: LazyLock<Option<ThreadPool>> = LazyLock::new(|| {
    pool("job", available_parallelism().map_or(1, |n| n.get().max(2) - 1), AT_LEISURE)
});

/// Threads for what somebody waits for, such as the measuring of a file just sent: a long job
/// must not stand in its way.
static ASIDE: LazyLock<Option<ThreadPool>> = LazyLock::new(|| {
    pool("aside", available_parallelism().map_or(1, |n| n.get().min(2)), ASIDE_OF_PAGES)
});

/// One thing at a time is computed there, on all of its threads: two large models at once need
/// twice the memory and are ready no earlier.
static TURN: Semaphore = Semaphore::const_new(1);

fn pool(name: &'static str, threads: usize, niceness: i32) -> Option<ThreadPool> {
    let built = ThreadPoolBuilder::new()
        .num_threads(threads)
        .thread_name(move |n| format!("{name}-{n}"))
        .start_handler(move |_| stand_back(niceness))
        .build();
    built.inspect_err(|error| tracing::error!(error.text = %error, "no threads for {name}")).ok()
}

/// Lets the threads of pages go first. On Linux the priority is a thread's own.
fn stand_back(niceness: i32) {
    #[cfg(not(target_os = "linux"))]
    let _ = niceness;
    #[cfg(target_os = "linux")]
    if let Err(error) = rustix::process::setpriority_process(None, niceness) {
        tracing::warn!(error.text = %error, "a thread for computing keeps its priority");
    }
}

/// Why a computation gave nothing.
#[derive(Debug, thiserror::Error)]
#[error("the computation broke off")]
pub struct BrokeOff;

tokio::task_local! {
    /// Set while somebody waits for a job.
    static WAITED_FOR: ();
}

/// Does a job that somebody waits for.
pub(super) async fn waited_for<T>(work: impl Future<Output = T>) -> T {
    WAITED_FOR.scope((), work).await
}

/// Computes on the threads for jobs, or where somebody waits for it on those for what is waited
/// for; what it computes in parallel stays on them too.
///
/// # Errors
/// A panic within, or no threads.
pub async fn at_leisure<T: Send + 'static>(
    compute: impl FnOnce() -> T + Send + 'static,
) -> Result<T, BrokeOff> {
    let waited_for = WAITED_FOR.try_with(|()| ()).is_ok();
    on(if waited_for { ASIDE.as_ref() } else { JOBS.as_ref() }, compute).await
}

/// Computes on the threads for what somebody waits for, in turn.
///
/// # Errors
/// As [`at_leisure`].
pub async fn aside<T: Send + 'static>(
    compute: impl FnOnce() -> T + Send + 'static,
) -> Result<T, BrokeOff> {
    let _turn = TURN.acquire().await.map_err(|_| BrokeOff)?;
    on(ASIDE.as_ref(), compute).await
}

async fn on<T: Send + 'static>(
    pool: Option<&ThreadPool>,
    compute: impl FnOnce() -> T + Send + 'static,
) -> Result<T, BrokeOff> {
    let (tell, told) = oneshot::channel();
    // A panic on a thread of the pool would end the program.
    pool.ok_or(BrokeOff)?.spawn(move || {
        if let Ok(answer) = catch_unwind(AssertUnwindSafe(compute)) {
            let _ = tell.send(answer);
        }
    });
    told.await.map_err(|_| BrokeOff)
}

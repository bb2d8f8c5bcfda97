//! One throw-away database server for the whole test run.
//!
//! It is started when the first test asks for a database. When the test binary ends, in
//! whatever way, the server's watcher sees it, stops the server and removes its folder.

use std::path::PathBuf;
use std::sync::{LazyLock, mpsc};

use pourday::db::{self, Address, OwnServer};
use sqlx::{AssertSqlSafe, Connection, PgConnection, PgPool};
use tokio::sync::oneshot;

const TEMPLATE: &str = "pourday_template";

static CLUSTER: LazyLock<Cluster> = LazyLock::new(Cluster::start);

/// The running server and the thread that makes and drops databases on it.
///
/// That thread has a runtime of its own, because those of the tests come and go.
pub(crate) struct Cluster {
    server: OwnServer,
    orders: mpsc::Sender<Order>,
}

enum Order {
    Make { template: &'static str, reply: oneshot::Sender<String> },
    Drop { name: String },
}

/// The server, started at the first call.
pub(crate) fn cluster() -> &'static Cluster {
    &CLUSTER
}

impl Cluster {
    fn start() -> Self {
        let server = OwnServer::start_throw_away(&fast_folder()).unwrap();
        let (orders, inbox) = mpsc::channel();
        let address = server.address().clone();
        std::thread::Builder::new()
            .name("test databases".to_owned())
            .spawn(move || serve(&address, inbox))
            .unwrap();
        Self { server, orders }
    }

    /// Where the server listens.
    pub(crate) fn address(&self) -> &Address {
        self.server.address()
    }

    /// Makes a database with the program's tables.
    pub(crate) async fn make(&self) -> String {
        self.make_from(TEMPLATE).await
    }

    /// Makes a database without any table.
    pub(crate) async fn make_empty(&self) -> String {
        self.make_from("template0").await
    }

    async fn make_from(&self, template: &'static str) -> String {
        let (reply, made) = oneshot::channel();
        self.orders.send(Order::Make { template, reply }).unwrap();
        made.await.expect("the thread of the test databases has failed, see above")
    }

    /// Drops a database later, together with its connections.
    pub(crate) fn drop_database(&self, name: String) {
        // A test that is failing must not fail again here.
        let _ended = self.orders.send(Order::Drop { name });
    }
}

/// A folder in memory where there is room for one, else the system's temporary folder.
pub(crate) fn fast_folder() -> PathBuf {
    let memory = PathBuf::from("/dev/shm");
    let roomy = nix::sys::statvfs::statvfs(&memory)
        .is_ok_and(|found| found.blocks_available() * found.fragment_size() > 1 << 30);
    if roomy { memory } else { std::env::temp_dir() }
}

#[tokio::main(flavor = "current_thread")]
async fn serve(address: &Address, inbox: mpsc::Receiver<Order>) {
    let mut admin = PgConnection::connect_with(&address.options("postgres")).await.unwrap();
    let mut run = async |sql: String| {
        sqlx::query(AssertSqlSafe(sql)).execute(&mut admin).await.unwrap();
    };
    run(format!("CREATE DATABASE {TEMPLATE}")).await;
    let pool = PgPool::connect_with(address.options(TEMPLATE)).await.unwrap();
    db::migrate(&pool).await.unwrap();
    pool.close().await;
    let mut made = 0;
    for order in inbox {
        match order {
            Order::Make { template, reply } => {
                made += 1;
                let name = format!("test_{made}");
                run(format!("CREATE DATABASE {name} TEMPLATE {template}")).await;
                let _test_has_ended = reply.send(name);
            }
            Order::Drop { name } => run(format!("DROP DATABASE {name} WITH (FORCE)")).await,
        }
    }
}

//! The whole program, killed at random moments while pieces change their stage:
//! what it acknowledged is there after the next start, and nothing is there twice.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use pourday::clock::Clock;
use pourday::db::{self, Source};
use pourday::id::{OrderId, PieceId};
use pourday::people::{self, Role};
use pourday::pieces::{self, Act, Happening, Stage};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use uuid::Uuid;

use super::{passable_folder, until};

const PASSWORD: &str = "three plain words";
const CHANGES: usize = 200;

/// A studio with one piece that waits to be invested, and an empty flask for it.
async fn furnish(data: &Path) -> PieceId {
    let database = db::connect(Source::Own(data.to_owned())).await.unwrap();
    db::migrate(&database.pool).await.unwrap();
    let now = Clock::system().now();
    let hash = people::hash_password(PASSWORD.to_owned()).await.unwrap();
    let mut tx = database.pool.begin().await.unwrap();
    pourday::studio::found(&mut tx, "Studio", "UTC", "EUR").await.unwrap();
    people::add(&mut *tx, "Owner", "owner", Role::Owner, &hash, now).await.unwrap();
    sqlx::raw_sql(include_str!("../../../src/demo/workshop.sql")).execute(&mut *tx).await.unwrap();
    sqlx::raw_sql(
        "INSERT INTO clients (id, name, created_at) VALUES (gen_random_uuid(), 'Client', now());
         INSERT INTO files (id, sha256, name, media_type, size_bytes, created_at)
             VALUES (gen_random_uuid(), 'x', 'x.stl', 'model/stl', 0, now());
         INSERT INTO designs (id, name, created_at) VALUES (gen_random_uuid(), 'Design', now());
         INSERT INTO design_versions (id, design_id, n, file_id, file_name, unit, unit_origin, format, triangles, shells, closed,
                 volume_mm3, area_mm2, box_x_mm, box_y_mm, box_z_mm, measured_at)
             SELECT gen_random_uuid(), d.id, 1, f.id, 'x.stl', 'mm', 'told', 'STL', 4, 1, true, 100, 100, 5, 5, 5, now() FROM designs d, files f;
         INSERT INTO alloys (id, name, family, density_g_cm3, melt_c, flask_c)
             VALUES (gen_random_uuid(), 'Silver', 'silver', 10.4, 970, 520);
         INSERT INTO orders (id, client_id, title, state, created_at)
             SELECT gen_random_uuid(), id, 'Order', 'agreed', now() FROM clients;
         INSERT INTO order_lines (id, order_id, n, design_version_id, alloy_id, quantity)
             SELECT gen_random_uuid(), o.id, 1, v.id, a.id, 1 FROM orders o, design_versions v, alloys a;
         INSERT INTO flasks (id, flask_type_id, alloy_id, investment_id, family_id, flask_c, created_at)
             SELECT gen_random_uuid(), t.id, a.id, i.id, b.id, 520, now()
             FROM flask_types t, alloys a, investments i, burnout_families b WHERE t.name = 'Middle' AND b.name = 'Resin';",
    )
    .execute(&mut *tx)
    .await
    .unwrap();
    let order: OrderId =
        sqlx::query_scalar("SELECT id FROM orders").fetch_one(&mut *tx).await.unwrap();
    let act = Act::new(now, None);
    pieces::create_for_order(&mut tx, order, 1001, &act).await.unwrap();
    let piece: PieceId =
        sqlx::query_scalar("SELECT id FROM pieces").fetch_one(&mut *tx).await.unwrap();
    for stage in [Stage::Print, Stage::Cure] {
        pieces::record(&mut tx, &[piece], &Happening::Entered(stage), &act).await.unwrap();
        pieces::record(&mut tx, &[piece], &Happening::Finished(stage), &act).await.unwrap();
    }
    tx.commit().await.unwrap();
    database.close().await.unwrap();
    piece
}

/// The program as it is started by hand.
struct Serving {
    child: Child,
    address: SocketAddr,
}

impl Serving {
    fn start(data: &Path) -> Self {
        let address = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
        let child = Command::new(env!("CARGO_BIN_EXE_pourday"))
            .args(["serve", "--listen", &address.to_string(), "--data"])
            .arg(data)
            .env_remove("DATABASE_URL")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let serving = Self { child, address };
        until("the program serves", || {
            send(serving.address, "GET", "/healthy", "", "")
                .is_some_and(|answer| answer.starts_with("HTTP/1.1 200"))
        });
        serving
    }

    fn pid(&self) -> Pid {
        Pid::from_raw(i32::try_from(self.child.id()).unwrap())
    }
}

impl Drop for Serving {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Sends a request; `None` when no whole answer came back.
fn send(address: SocketAddr, method: &str, path: &str, cookie: &str, body: &str) -> Option<String> {
    let mut stream = TcpStream::connect(address).ok()?;
    stream.set_read_timeout(Some(Duration::from_secs(20))).ok()?;
    let request = format!(
        "{method} {path} HTTP/1.1\r\nHost: {address}\r\nCookie: {cookie}\r\nConnection: close\r\n\
         Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    stream.write_all(request.as_bytes()).ok()?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer).ok()?;
    answer.contains("\r\n\r\n").then_some(answer)
}

#[tokio::test(flavor = "multi_thread")]
async fn killed_while_pieces_change_their_stage_every_acknowledged_change_is_there_once() {
    let folder = passable_folder();
    let data = folder.path().join("data");
    let piece = furnish(&data).await;
    let mut random = StdRng::seed_from_u64(7);
    let mut serving = Serving::start(&data);
    let body = format!("login=owner&password={}", PASSWORD.replace(' ', "+"));
    let answer = send(serving.address, "POST", "/sign-in", "", &body).unwrap();
    let cookie = answer
        .split("set-cookie: ")
        .nth(1)
        .and_then(|rest| rest.split(';').next())
        .unwrap()
        .to_owned();

    let mut kills = 0;
    for change in 0..CHANGES {
        // The same form until it is acknowledged, as a person would press again.
        let path = if change % 2 == 0 { "/flasks/201/pieces" } else { "/flasks/201/take-off" };
        let body = format!("once={}&version={}&piece={piece}", Uuid::now_v7(), change + 1);
        if change % 12 == 5 {
            let (pid, wait) = (serving.pid(), random.random_range(0..25));
            std::thread::spawn(move || {
                std::thread::sleep(Duration::from_millis(wait));
                let _ = kill(pid, Signal::SIGKILL);
            });
            kills += 1;
        }
        loop {
            match send(serving.address, "POST", path, &cookie, &body) {
                Some(answer) if answer.starts_with("HTTP/1.1 303") => break,
                Some(answer) => {
                    assert!(answer.starts_with("HTTP/1.1 503"), "change {change}: {answer}")
                }
                None => {
                    drop(serving);
                    serving = Serving::start(&data);
                }
            }
        }
    }
    assert!(kills >= 15);
    drop(serving);
    let database = db::connect(Source::Own(data.clone())).await.unwrap();
    let kinds: Vec<String> = sqlx::query_scalar(
        "SELECT kind FROM piece_events WHERE stage = 'invest' AND kind IN ('entered', 'left') ORDER BY id",
    )
    .fetch_all(&database.pool)
    .await
    .unwrap();
    assert_eq!(kinds.len(), CHANGES);
    for (n, kind) in kinds.iter().enumerate() {
        assert_eq!(kind, if n % 2 == 0 { "entered" } else { "left" }, "change {n}");
    }
    database.close().await.unwrap();
}

//! Whatever is killed, at whatever moment: the next start finds all that was acknowledged.

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use pourday::db::{self, Source};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};

use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;

use super::program::{Program, kill_postmaster, postmaster};
use super::{passable_folder, until};

async fn counted(data: &Path) -> Vec<i64> {
    let database = db::connect(Source::Own(data.to_owned())).await.unwrap();
    let made: bool = sqlx::query_scalar("SELECT to_regclass('counted') IS NOT NULL")
        .fetch_one(&database.pool)
        .await
        .unwrap();
    let mut all = Vec::new();
    if made {
        let select = "SELECT n FROM counted ORDER BY n";
        all = sqlx::query_scalar(select).fetch_all(&database.pool).await.unwrap();
    }
    database.close().await.unwrap();
    all
}

async fn assert_kept(data: &Path, acknowledged: &[i64]) {
    let kept = counted(data).await;
    for number in acknowledged {
        assert!(kept.binary_search(number).is_ok(), "{number} was acknowledged and is lost");
    }
}

#[tokio::test]
async fn killed_at_any_moment_of_its_first_start_it_comes_up_again() {
    let mut random = StdRng::seed_from_u64(1);
    for moment in 0..6 {
        let folder = passable_folder();
        let data = folder.path().join("data");
        let program = Program::start(&data);
        let wait = moment * 200 + random.random_range(0..200);
        std::thread::sleep(Duration::from_millis(wait));
        let acknowledged = program.kill();
        if moment % 2 == 1 {
            kill_postmaster(&data);
        }
        assert_kept(&data, &acknowledged).await;
        until("the database has stopped", || postmaster(&data).is_none());
    }
}

#[derive(Debug, Clone, Copy)]
enum Victim {
    Program,
    Database,
    ProgramThenDatabase,
    DatabaseThenProgram,
}

#[tokio::test]
async fn killed_at_work_nothing_acknowledged_is_lost() {
    let folder = passable_folder();
    let data = folder.path().join("data");
    let mut random = StdRng::seed_from_u64(2);
    let mut acknowledged = Vec::new();
    let victims = [
        Victim::Program,
        Victim::Database,
        Victim::ProgramThenDatabase,
        Victim::DatabaseThenProgram,
    ];
    for victim in victims.into_iter().cycle().take(8) {
        let mut program = Program::start(&data);
        program.wait_for(3);
        std::thread::sleep(Duration::from_millis(random.random_range(0..200)));
        match victim {
            Victim::Program => acknowledged.extend(program.kill()),
            Victim::Database => {
                kill_postmaster(&data);
                // The program is not restarted: it must come to itself.
                program.wait_for(200);
                acknowledged.extend(program.kill());
            }
            Victim::ProgramThenDatabase => {
                acknowledged.extend(program.kill());
                kill_postmaster(&data);
            }
            Victim::DatabaseThenProgram => {
                kill_postmaster(&data);
                acknowledged.extend(program.kill());
            }
        }
        assert!(!acknowledged.is_empty(), "{victim:?}");
        assert_kept(&data, &acknowledged).await;
    }
}

#[tokio::test]
async fn a_killed_session_takes_nothing_with_it() {
    let folder = passable_folder();
    let database = db::connect(Source::Own(folder.path().join("data"))).await.unwrap();
    let pool = &database.pool;
    let mut session = pool.acquire().await.unwrap();
    sqlx::query("CREATE TABLE kept AS SELECT 1 AS n").execute(&mut *session).await.unwrap();
    let pid: i32 =
        sqlx::query_scalar("SELECT pg_backend_pid()").fetch_one(&mut *session).await.unwrap();
    kill(Pid::from_raw(pid), Signal::SIGKILL).unwrap();
    let cut_off = sqlx::query("SELECT 1").execute(&mut *session).await.unwrap_err();
    assert!(db::is_unavailable(&cut_off), "{cut_off:?}");
    drop(session);
    // The server ends all sessions and recovers; meanwhile it says it is away.
    let n = loop {
        match sqlx::query_scalar::<_, i32>("SELECT n FROM kept").fetch_one(pool).await {
            Ok(n) => break n,
            Err(cause) => assert!(db::is_unavailable(&cause), "{cause:?}"),
        }
    };
    assert_eq!(n, 1);
    database.close().await.unwrap();
}

#[tokio::test]
async fn while_the_database_is_away_it_says_so_and_then_it_is_back() {
    let folder = passable_folder();
    let data = folder.path().join("data");
    let database = db::connect(Source::Own(data.clone())).await.unwrap();
    sqlx::query("CREATE TABLE kept AS SELECT 1 AS n").execute(&database.pool).await.unwrap();
    kill_postmaster(&data);
    until("it is noticed", || !database.healthy());
    let away = sqlx::query("SELECT 1").execute(&database.pool).await;
    if let Err(cause) = away {
        assert!(db::is_unavailable(&cause), "{cause:?}");
    }
    until("it is back", || database.healthy());
    let n: i32 = sqlx::query_scalar("SELECT n FROM kept").fetch_one(&database.pool).await.unwrap();
    assert_eq!(n, 1);
    database.close().await.unwrap();
    assert_eq!(postmaster(&data), None);
}

#[test]
fn when_the_program_is_killed_the_database_stops_too() {
    let folder = passable_folder();
    let data = folder.path().join("data");
    let mut program = Program::start(&data);
    program.wait_for(1);
    assert!(postmaster(&data).is_some());
    program.kill();
    until("the database has stopped", || postmaster(&data).is_none());
}

/// The worst case: nobody is left to stop the database, and it runs on alone.
#[cfg(target_os = "linux")]
#[tokio::test]
async fn a_database_left_running_alone_is_found_by_the_next_start() {
    use super::program::processes_naming;

    let folder = passable_folder();
    let data = folder.path().join("data");
    let mut program = Program::start(&data);
    program.wait_for(3);
    let alone = postmaster(&data).unwrap();
    for pid in processes_naming(&data) {
        // The watcher; the program names the folder only in its environment.
        if pid != alone {
            kill(pid, Signal::SIGKILL).unwrap();
        }
    }
    let acknowledged = program.kill();
    std::thread::sleep(Duration::from_millis(300));
    assert_eq!(postmaster(&data), Some(alone), "it should still run");
    assert_kept(&data, &acknowledged).await;
    assert_eq!(postmaster(&data), None);
}

#[tokio::test]
async fn as_an_ordinary_user_it_comes_up_again_too() {
    if !nix::unistd::geteuid().is_root() {
        // Then every other test here already runs as one.
        return;
    }
    let nobody = nix::unistd::User::from_name("nobody").unwrap().unwrap();
    let user = (nobody.uid.as_raw(), nobody.gid.as_raw());
    let folder = passable_folder();
    let binary = folder.path().join("program");
    // Not by ourselves: a program that another thread is just starting would hold the copy open
    // for writing, and a file open for writing cannot be run.
    let copied =
        Command::new("cp").arg(std::env::current_exe().unwrap()).arg(&binary).status().unwrap();
    assert!(copied.success());
    let home = folder.path().join("home");
    std::fs::create_dir(&home).unwrap();
    std::os::unix::fs::chown(&home, Some(user.0), Some(user.1)).unwrap();
    let data = home.join("data");
    let mut acknowledged = Vec::new();
    for database_too in [false, true] {
        let mut program = Program::start_binary(&binary, &data, Some(user));
        program.wait_for(3);
        if database_too {
            kill_postmaster(&data);
        }
        acknowledged.extend(program.kill());
    }
    // Started by root, it goes on as the user the data belong to, who can take over again.
    std::fs::remove_file(data.join("database.log")).unwrap();
    assert_kept(&data, &acknowledged).await;
    let mut program = Program::start_binary(&binary, &data, Some(user));
    program.wait_for(3);
    acknowledged.extend(program.kill());
    assert_kept(&data, &acknowledged).await;
}

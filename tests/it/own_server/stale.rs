//! A pid file left by a server that is gone, whose number now belongs to somebody else.

use std::os::unix::fs::MetadataExt;
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Child, Command};

use pourday::db::OwnServer;

use super::passable_folder;

/// A pid file as PostgreSQL leaves it when it is killed, with this number in it.
fn leave_pid_file(data: &Path, pid: u32) {
    let cluster = data.join("database/cluster");
    let owner = cluster.metadata().unwrap();
    let path = cluster.join("postmaster.pid");
    let run = data.join("run");
    let text = format!(
        "{pid}\n{}\n1790000000\n5432\n{}\n\n  5432001    65535\nready   \n",
        cluster.display(),
        run.display()
    );
    std::fs::write(&path, text).unwrap();
    std::os::unix::fs::chown(&path, Some(owner.uid()), Some(owner.gid())).unwrap();
    let lock = run.join(".s.PGSQL.5432.lock");
    std::fs::write(
        &lock,
        format!("{pid}\n{}\n1790000000\n5432\n{}\n", cluster.display(), run.display()),
    )
    .unwrap();
    std::os::unix::fs::chown(&lock, Some(owner.uid()), Some(owner.gid())).unwrap();
}

/// A process of the user that PostgreSQL runs as, which is no PostgreSQL.
fn stranger(data: &Path, program: &str, argument: &str) -> Child {
    let owner = data.join("database/cluster").metadata().unwrap();
    let mut command = Command::new(program);
    command.arg(argument).current_dir("/");
    if nix::unistd::geteuid().is_root() {
        command.uid(owner.uid()).gid(owner.gid());
    }
    command.spawn().unwrap()
}

#[test]
fn a_number_given_to_another_process_does_not_keep_the_server_from_starting() {
    let folder = passable_folder();
    let data = folder.path().join("data");
    OwnServer::start(&data).unwrap().stop().unwrap();
    let mut stranger = stranger(&data, "sleep", "600");
    leave_pid_file(&data, stranger.id());
    OwnServer::start(&data).unwrap().stop().unwrap();
    assert!(stranger.try_wait().unwrap().is_none(), "the stranger is left alone");
    stranger.kill().unwrap();
    stranger.wait().unwrap();
}

#[test]
fn a_process_that_ended_but_was_never_waited_for_does_not_either() {
    let folder = passable_folder();
    let data = folder.path().join("data");
    OwnServer::start(&data).unwrap().stop().unwrap();
    let mut ended = stranger(&data, "sleep", "0");
    std::thread::sleep(std::time::Duration::from_millis(300));
    leave_pid_file(&data, ended.id());
    OwnServer::start(&data).unwrap().stop().unwrap();
    ended.wait().unwrap();
}

#[test]
fn a_number_nobody_has_does_not_either() {
    let folder = passable_folder();
    let data = folder.path().join("data");
    OwnServer::start(&data).unwrap().stop().unwrap();
    let mut ended = stranger(&data, "sleep", "0");
    ended.wait().unwrap();
    leave_pid_file(&data, ended.id());
    OwnServer::start(&data).unwrap().stop().unwrap();
}

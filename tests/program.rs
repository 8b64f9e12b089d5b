//! The program on its command line.

use std::io::{BufRead, BufReader, Write};
use std::net::TcpListener;
use std::process::{Command, Output};
use tests::crash::{Wanted, campaign};
use tests::delivered::{lustrum, program, says};
use tests::{PASSWORD, Place, on_postgres};

#[test]
fn a_backup_is_put_back_only_over_nothing_or_when_told_so() {
    if on_postgres() {
        return postgres_has_its_own_programs();
    }
    let (place, other) = (Place::make(), Place::make());
    let data = place.folder();
    assert_eq!(
        lustrum(
            data,
            &["create-shop", "--name", "Shine", "--time-zone", "Europe/Vienna", "--owner-email", "o@x.test"]
        )
        .status
        .code(),
        Some(0)
    );
    let copy = other.folder().join("copy.db");
    let file = copy.to_str().expect("a plain path");
    says(&lustrum(data, &["backup", file]), 0, "is a copy of");
    says(&lustrum(data, &["backup", file]), 1, "there already");
    says(&lustrum(data, &["restore", file]), 1, "--replace");
    says(&lustrum(data, &["restore", file, "--replace"]), 0, "is now as in");
    says(&lustrum(data, &["migrate"]), 0, "up to date");
    says(&lustrum(data, &["restore", "/nowhere.db", "--replace"]), 1, "does not exist");
    std::fs::write(&copy, "no database at all, but some text of some length").expect("a file");
    says(&lustrum(data, &["restore", file, "--replace"]), 1, "damaged");
    says(&lustrum(data, &["migrate"]), 0, "up to date");
}

fn postgres_has_its_own_programs() {
    let place = Place::make();
    let url = place.config().database_url.expect("a database");
    says(&lustrum(place.folder(), &["--database-url", &url, "backup", "x.db"]), 1, "pg_dump");
}

#[test]
fn a_damaged_file_and_a_taken_port_are_told_with_what_to_do() {
    let place = Place::make();
    let data = place.folder();
    let taken = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = taken.local_addr().expect("an address").to_string();
    says(&lustrum(data, &["serve", "--listen", &address]), 1, "Choose one with --listen");
    std::fs::write(data.join("lustrum.db"), vec![7; 8192]).expect("a file");
    says(&lustrum(data, &["migrate"]), 1, "damaged");
}

#[test]
fn a_shop_needs_a_zone_that_exists_and_a_long_password() {
    let place = Place::make();
    let make = |zone: &str, password: &str| {
        let mut command = program(place.folder());
        command.args(["create-shop", "--name", "A", "--time-zone", zone, "--owner-email", "o@x.test"]);
        let mut child = command.env_remove("LUSTRUM_OWNER_PASSWORD").spawn().expect("it starts");
        child.stdin.take().expect("a pipe").write_all(format!("{password}\n").as_bytes()).expect("it reads");
        child.wait_with_output().expect("it ends")
    };
    says(&make("Mars/Olympus", PASSWORD), 1, "no time zone");
    says(&make("Europe/Vienna", "short"), 1, "10 to 128");
    says(&make("Europe/Vienna", PASSWORD), 0, "owner");
}

/// SIGTERM ends the server and the worker beside it; what was due when they started is done by then.
#[test]
fn serve_works_in_the_background_and_stops_when_told() {
    let place = Place::ready();
    let mut arguments = vec!["serve".to_owned(), "--listen".into(), "127.0.0.1:0".into()];
    if let Some(url) = place.config().database_url {
        arguments.extend(["--database-url".into(), url]);
    }
    let owner =
        ["create-shop", "--name", "Shine", "--time-zone", "Europe/Vienna", "--owner-email", "o@x.test"];
    let made = program(place.folder()).args(owner).args(&arguments[3..]).output().expect("it runs");
    says(&made, 0, "shop");
    let mut serving = program(place.folder());
    let mut child = serving.env("LUSTRUM_LOG", "info,api=debug").args(&arguments).spawn().expect("it starts");
    let mut said = BufReader::new(child.stderr.take().expect("a pipe")).lines().map_while(Result::ok);
    assert!(said.any(|line| line.contains("ended logins forgotten")), "no task is done");
    let told = Command::new("kill").args(["-TERM", &child.id().to_string()]).status();
    assert!(told.expect("kill runs").success());
    assert!(said.any(|line| line.contains("stopped")), "it does not say that it stops");
    assert_eq!(child.wait().expect("it ends").code(), Some(0));
}

/// Two replicas of the program, killed with -9 while they send: nothing is lost, no mail is sent twice, and of whatever
/// nobody knows the office is told. `--example task_crash` does more of it.
#[test]
fn killed_while_it_sends_it_loses_nothing_and_repeats_no_mail() {
    let toll = campaign(1, &Wanted { due: 60, kills: 3, replicas: 2, found: false, impatient: true });
    assert_eq!((toll.kills, toll.webhooks.due, toll.mails.due), (3, 30, 30));
    toll.assert_kept();
}

#[test]
fn the_demo_plays_its_town_once_and_shows_it_again() {
    let place = Place::make();
    let first = lustrum(place.folder(), &["demo", "--once"]);
    says(&first, 0, "140 orders booked, 140 planned");
    let parts =
        ["A job sheet, as a technician gets it", "READ FIRST", "The first day's rounds", "conflicts:"];
    for part in
        parts.into_iter().chain(["Next due upkeep", "held back", "got through in 2031-W13", "owner: "])
    {
        says(&first, 0, part);
    }
    let again = lustrum(place.folder(), &["demo", "--once"]);
    says(&again, 0, "Using ");
    let sheet = |output: &Output| {
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        text.split("## ").nth(1).map(str::to_owned)
    };
    assert_eq!(sheet(&again), sheet(&first));
    let file = place.folder().join("demo.db");
    std::fs::write(&file, "no database at all, but some text of some length").expect("a file");
    says(&lustrum(place.folder(), &["demo", "--once"]), 1, "Delete it and start the demo again");
}

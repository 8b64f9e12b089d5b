//! The program as it is delivered, run by its command line.

use crate::{Client, PASSWORD, Place};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::OnceLock;
use std::thread::JoinHandle;

/// The program while it serves a new shop, whose owner is `o@x.test`.
pub struct Serving {
    pub client: Client,
    pub shop: String,
    child: Child,
    /// What it says is read while it works, so that it never waits for us.
    log: JoinHandle<String>,
}

impl Serving {
    /// `log`: how talkative it is.
    pub fn start(place: &Place, log: &str) -> Serving {
        let mut arguments = vec!["serve".to_owned(), "--listen".into(), "127.0.0.1:0".into()];
        if let Some(url) = place.config().database_url {
            arguments.extend(["--database-url".into(), url]);
        }
        let shop =
            ["create-shop", "--name", "Shine", "--time-zone", "Europe/Vienna", "--owner-email", "o@x.test"];
        let made = program(place.folder()).args(shop).args(&arguments[3..]).output().expect("it runs");
        let made = says(&made, 0, "shop");
        let mut command = program(place.folder());
        let mut child = command.env("LUSTRUM_LOG", log).args(&arguments).spawn().expect("it starts");
        let mut said = BufReader::new(child.stderr.take().expect("a pipe")).lines().map_while(Result::ok);
        let line = said.find(|line| line.contains("serving")).expect("it serves");
        let port = line.split("127.0.0.1:").nth(1).map(|rest| rest.split(|c: char| !c.is_ascii_digit()));
        let port = port.and_then(|mut parts| parts.next()).expect("a port");
        let client = Client::at(format!("127.0.0.1:{port}").parse().expect("an address"));
        let log = std::thread::spawn(move || said.collect::<Vec<String>>().join("\n"));
        let shop = made.split_whitespace().nth(1).expect("an id").to_owned();
        Serving { client, shop, child, log }
    }

    /// Ends it as a service manager does; gives its log.
    pub fn stop(mut self) -> String {
        let told = Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status();
        assert!(told.expect("kill runs").success());
        let log = self.log.join().expect("the log");
        assert_eq!(self.child.wait().expect("it ends").code(), Some(0));
        log
    }
}

/// Runs it on a folder of data to its end.
pub fn lustrum(data: &Path, arguments: &[&str]) -> Output {
    program(data).args(arguments).stdin(Stdio::null()).output().expect("it runs")
}

/// The program on a folder of data; who owns a new shop has the usual password.
pub fn program(data: &Path) -> Command {
    let mut command = Command::new(built());
    command
        .env("LUSTRUM_DATA", data)
        .env("LUSTRUM_OWNER_PASSWORD", PASSWORD)
        .env_remove("LUSTRUM_DATABASE_URL");
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// Asserts how it ended and that it said a text; gives all it said.
#[track_caller]
pub fn says(output: &Output, status: i32, text: &str) -> String {
    let said =
        format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert_eq!(output.status.code(), Some(status), "{said}");
    assert!(said.contains(text), "{said}");
    said
}

/// The program, built where this test was: building the tests does not build it.
fn built() -> &'static Path {
    static BUILT: OnceLock<PathBuf> = OnceLock::new();
    BUILT.get_or_init(|| {
        let test = std::env::current_exe().expect("this test");
        let profile = test.ancestors().nth(2).expect("the folder of the profile");
        let target = profile.parent().expect("the folder of all builds");
        let name = if profile.ends_with("debug") { "dev" } else { "release" };
        let mut cargo = Command::new(std::env::var_os("CARGO").unwrap_or("cargo".into()));
        cargo.args(["build", "--locked", "--quiet", "--package", "api", "--profile", name]);
        cargo.arg("--target-dir").arg(target).current_dir(env!("CARGO_MANIFEST_DIR"));
        assert!(cargo.status().expect("cargo runs").success());
        profile.join("lustrum")
    })
}

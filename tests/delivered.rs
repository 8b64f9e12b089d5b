//! The program as it is delivered, run by its command line.

use crate::PASSWORD;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::OnceLock;

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

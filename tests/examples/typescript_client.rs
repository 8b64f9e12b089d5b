//! Type-checks the client for app developers, `openapi/examples/phone.ts`, and runs it against the server: `tests/document
//! phone` calls this with the TypeScript COMPILER that it has.

use serde_json::{Value, json};
use std::path::Path;
use std::process::{Command, ExitCode, Output};
use tests::TestApp;

fn main() -> ExitCode {
    let Some(compiler) = std::env::args().nth(1) else {
        eprintln!("name the TypeScript compiler, or run tests/document phone");
        return ExitCode::FAILURE;
    };
    match run(&compiler) {
        Ok(told) => {
            println!("the client for apps does as it should: {told}");
            ExitCode::SUCCESS
        }
        Err(why) => {
            eprintln!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn run(compiler: &str) -> Result<Value, String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let (examples, target) = (root.join("openapi/examples"), root.join("target/typescript-client"));
    std::fs::create_dir_all(&target).map_err(|e| format!("{}: {e}", target.display()))?;
    let package = target.join("package.json");
    std::fs::write(&package, "{\"type\":\"module\"}\n").map_err(|e| format!("{}: {e}", package.display()))?;
    let compile = [
        "--strict",
        "--noUncheckedIndexedAccess",
        "--target",
        "es2022",
        "--module",
        "es2022",
        "--moduleResolution",
        "bundler",
        "--lib",
        "es2022,dom",
        "--rewriteRelativeImportExtensions",
        "--outDir",
        "out",
    ];
    let script = examples.join("phone_day.ts");
    finished("tsc", Command::new(compiler).current_dir(&target).args(compile).arg(script))?;
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let url = format!("http://{}", app.address);
    let day = ["out/phone_day.js", &url, job.technician.token(), &job.id];
    let output = finished("node", Command::new("node").current_dir(&target).args(day))?;
    let told: Value = serde_json::from_slice(&output.stdout).map_err(|e| e.to_string())?;
    let expected = json!({
        "states": ["quiet", "quiet", "quiet", "quiet"],
        "pulls": 3,
        // The restored phone is recognised by its number, goes on as another one, and what it says again has no effect.
        "outcomes": ["applied", "applied", "rejected", "parked", "applied", "applied", "applied", "applied"],
        "comments": ["after the restore", "from the garage", "while it pulled"],
        "note": "gate code 7",
        "jobs": 1,
        "outbox": 0,
    });
    if told == expected { Ok(told) } else { Err(format!("expected {expected}\ngot      {told}")) }
}

fn finished(what: &str, command: &mut Command) -> Result<Output, String> {
    let output = command.output();
    let output = output.map_err(|e| format!("{what} cannot be run: {e}"))?;
    match output.status.success() {
        true => Ok(output),
        false => {
            let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
            Err(format!("{what}: {}{}", text(&output.stdout), text(&output.stderr)))
        }
    }
}

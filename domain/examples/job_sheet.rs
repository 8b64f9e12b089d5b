//! Prints the job sheet of an invented job, to be looked at: `cargo run -p domain --example job_sheet -- P1 sedan 2
//! html mild`. The words are package, class, technicians, `html`, `text`, `json` or `timeline`, and a `mild` or a `hot` day.
#![allow(clippy::disallowed_methods, clippy::disallowed_macros, reason = "an example talks to its terminal")]

#[path = "../tests/plan_cases/mod.rs"]
mod plan_cases;

use domain::plan::{SheetHead, job_sheet, plan_job, sheet_html, timeline};
use domain::vehicle::VehicleClass;
use plan_cases::{crew, hot_day, sedan_wash};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let word = |at: usize, usual: &str| words.get(at).cloned().unwrap_or_else(|| usual.to_string());
    let class: VehicleClass = serde_json::from_value(word(1, "sedan").into())?;
    let mut case = sedan_wash().of(class, &word(0, "P1"));
    case.crew = crew(word(2, "1").parse()?);
    if word(4, "mild") == "hot" {
        case = hot_day(case);
    }
    let plan = plan_job(&case.input())?;
    let names: Vec<String> = case.crew.iter().map(|member| member.name.clone()).collect();
    let head = SheetHead {
        job: "1001",
        vehicle: "silver, plate Q-TEST 1",
        place: "3 Example Lane, Sampletown",
        crew: &names,
        van: "V1",
    };
    println!(
        "{}",
        match word(3, "html").as_str() {
            "text" => job_sheet(&head, &plan),
            "json" => serde_json::to_string(&plan)?,
            "timeline" => serde_json::to_string_pretty(&timeline(&plan))?,
            _ => sheet_html(&head, &plan),
        }
    );
    Ok(())
}

//! The job sheet as plain text: what a technician reads at the vehicle.
//!
//! Lines are at most 96 columns, step names stand alone in capitals, and what to pour stands at the margin.

use super::words::{
    drying, failing, length, litres, panel_limit, pour, rung, timer, turns, whole, zones_among,
};
use super::{Dwell, JobPlan, Mix, PlanLine, Reason};
use crate::handbook::Severity;
use crate::hazard::SignalWord;

const WIDTH: usize = 96;

/// Heads the sheet: facts of the job that the plan itself does not hold.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetHead<'a> {
    pub job: &'a str,
    pub vehicle: &'a str,
    pub place: &'a str,
    pub crew: &'a [String],
    pub van: &'a str,
}

/// The whole sheet.
pub fn job_sheet(head: &SheetHead, plan: &JobPlan) -> String {
    let mut sheet = String::new();
    heading(&mut sheet, head, plan);
    section(&mut sheet, "READ FIRST");
    for caution in &plan.cautions {
        bullet(&mut sheet, "!", caution);
    }
    bullet(&mut sheet, "!", &format!("Stop at once: {}.", plan.stop_criteria.join("; ")));
    notices(&mut sheet, plan);
    take_along(&mut sheet, plan);
    section(&mut sheet, "STEPS");
    for (number, line) in plan.lines.iter().enumerate() {
        step(&mut sheet, number + 1, plan, line);
    }
    sheet
}

fn heading(sheet: &mut String, head: &SheetHead, plan: &JobPlan) {
    let rule = "=".repeat(WIDTH);
    put(sheet, &rule);
    put(sheet, &format!("JOB {}   {} {}   {}", head.job, plan.package, plan.package_name, head.vehicle));
    put(sheet, &format!("{}   van {}   crew {}", head.place, head.van, head.crew.join(", ")));
    put(
        sheet,
        &format!(
            "start {}   about {} min on site   handbook {}",
            plan.start.format("%a %d %b %Y %H:%M"),
            whole(plan.totals.elapsed_minutes),
            plan.handbook
        ),
    );
    put(
        sheet,
        &format!(
            "{} person-minutes; one such job in ten takes over {}",
            whole(plan.totals.person_minutes),
            whole(plan.totals.minutes_p90)
        ),
    );
    if !plan.workable {
        put(sheet, "*** NOT WORKABLE AS PLANNED: see the blocks below ***");
    }
    put(sheet, &rule);
}

fn notices(sheet: &mut String, plan: &JobPlan) {
    if plan.notices.is_empty() && plan.questions.is_empty() {
        return;
    }
    section(sheet, "WHAT CHANGED THIS PLAN");
    for notice in &plan.notices {
        let word = match notice.severity {
            Severity::Block => "BLOCK",
            Severity::Warn => "WARN",
            Severity::Adjust => "adjusted",
            Severity::Advise => "advice",
        };
        let steps =
            if notice.steps.is_empty() { String::new() } else { format!(" [{}]", notice.steps.join(" ")) };
        bullet(sheet, word, &format!("{} {}{steps}", notice.rule, notice.text));
        if let Some(unblock) = &notice.unblock {
            bullet(sheet, "  ->", unblock);
        }
    }
    for question in &plan.questions {
        bullet(sheet, "ASK", &format!("{} {}", question.rule, question.text));
    }
}

fn take_along(sheet: &mut String, plan: &JobPlan) {
    section(sheet, "TAKE ALONG");
    let litres = &plan.totals;
    put(
        sheet,
        &format!(
            "  water {} l (counted for a {})   machines {:.1} kWh",
            whole(litres.water_l),
            if litres.by_hose { "garden hose" } else { "pressure washer" },
            litres.machine_kwh
        ),
    );
    let products: Vec<String> = litres
        .product_ml
        .iter()
        .map(|(id, ml)| format!("{} {} ml", id.replace('_', " "), whole(*ml)))
        .collect();
    wrap(sheet, "  ", &products.join(", "));
}

fn step(sheet: &mut String, number: usize, plan: &JobPlan, line: &PlanLine) {
    let clock = plan.start + chrono::TimeDelta::seconds((line.begin_min * 60.0) as i64);
    let who = turns(line);
    put(sheet, "");
    put(
        sheet,
        &format!(
            "{number:>2}  {}  {}  {}   {}   {who}",
            clock.format("%H:%M"),
            line.step,
            line.name.to_uppercase(),
            length(line.end_min - line.begin_min),
        ),
    );
    if !line.zones.is_empty() {
        let how = if line.zone_order.is_empty() { String::new() } else { format!(" ({})", line.zone_order) };
        wrap(sheet, "      where  ", &format!("{}{how}", zones_among(plan, line)));
    }
    for mix in &line.mixes {
        wrap(sheet, "      mix    ", &mix_text(mix));
    }
    if line.water_l >= 0.5 {
        put(sheet, &format!("      water  {} l", litres(line.water_l)));
    }
    match (&line.dwell, panel_limit(line)) {
        (Some(dwell), limit) => wrap(sheet, "      timer  ", &dwell_text(dwell, limit)),
        (None, Some(limit)) => wrap(sheet, "      limit  ", &limit),
        (None, None) => {}
    }
    for caution in &line.cautions {
        wrap(sheet, "      !      ", caution);
    }
    wrap(sheet, "      pass   ", &line.pass_check);
    if let Some(branch) = &line.branch {
        wrap(sheet, "      if not ", &failing(branch));
        for next in &branch.next {
            wrap(sheet, "      then   ", &rung(next));
        }
        if !branch.next.is_empty() {
            wrap(sheet, "      else   ", &branch.left);
        }
    }
    wrap(sheet, "      why    ", &why_text(line));
}

/// What placed the step, in words; the rules that touched it, by id, are explained above the steps.
fn why_text(line: &PlanLine) -> String {
    let (rules, placed): (Vec<&Reason>, Vec<&Reason>) =
        line.reasons.iter().partition(|r| r.id.starts_with('R'));
    let mut said: Vec<String> = placed.iter().map(|r| format!("{} {}", r.id, r.text)).collect();
    if !rules.is_empty() {
        let ids: Vec<&str> = rules.iter().map(|r| r.id.as_str()).collect();
        said.push(format!("see above {}", ids.join(" ")));
    }
    said.join("; ")
}

fn mix_text(mix: &Mix) -> String {
    let signal = match mix.signal_word {
        Some(SignalWord::Danger) => "DANGER",
        Some(SignalWord::Warning) => "WARNING",
        None => "",
    };
    let protection = [signal, &mix.ppe].into_iter().filter(|text| !text.is_empty());
    let mut parts = vec![pour(mix), protection.collect::<Vec<_>>().join(": "), mix.hazards.join(", ")];
    parts.retain(|part| !part.is_empty());
    format!("{}: {}", mix.product_name, parts.join("; "))
}

fn dwell_text(dwell: &Dwell, panel_limit: Option<String>) -> String {
    let said = std::iter::once(timer(dwell)).chain(panel_limit).chain(drying(dwell));
    said.collect::<Vec<_>>().join("; ")
}

fn section(sheet: &mut String, title: &str) {
    put(sheet, "");
    put(sheet, title);
}

fn bullet(sheet: &mut String, mark: &str, text: &str) {
    wrap(sheet, &format!("  {mark} "), text);
}

fn put(sheet: &mut String, line: &str) {
    sheet.push_str(line.trim_end());
    sheet.push('\n');
}

/// Breaks a text at blanks; continued lines are indented as deep as the first one's label.
fn wrap(sheet: &mut String, label: &str, text: &str) {
    let indent = " ".repeat(label.chars().count());
    let mut line = label.to_string();
    let mut empty = true;
    for word in text.split_whitespace() {
        if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            put(sheet, &line);
            line = indent.clone();
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    if !empty {
        put(sheet, &line);
    }
}

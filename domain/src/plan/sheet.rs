//! The job sheet as plain text: what a technician reads at the vehicle.
//!
//! Lines are at most 96 columns, step names stand alone in capitals, and what to pour stands at the margin.

use super::{Dwell, JobPlan, Mix, PlanLine, Reason, Turn};
use crate::handbook::Severity;
use crate::site::dwell::DwellAdvice;
use std::fmt::Write;

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
            "start {}   about {} min on site ({} person-minutes)   handbook {}",
            plan.start.format("%a %d %b %Y %H:%M"),
            whole(plan.totals.elapsed_minutes),
            whole(plan.totals.person_minutes),
            plan.handbook
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
            "{number:>2}  {}  {}  {}   {:.0} min   {who}",
            clock.format("%H:%M"),
            line.step,
            line.name.to_uppercase(),
            line.end_min - line.begin_min,
        ),
    );
    if !line.zones.is_empty() {
        let how = if line.zone_order.is_empty() { String::new() } else { format!(" ({})", line.zone_order) };
        wrap(sheet, "      where  ", &format!("{}{how}", zone_list(line)));
    }
    for mix in &line.mixes {
        wrap(sheet, "      mix    ", &mix_text(mix));
    }
    if line.water_l > 0.0 {
        put(sheet, &format!("      water  {} l", whole(line.water_l)));
    }
    if let Some(dwell) = &line.dwell {
        wrap(sheet, "      timer  ", &dwell_text(dwell));
    }
    for caution in &line.cautions {
        wrap(sheet, "      !      ", caution);
    }
    wrap(sheet, "      pass   ", &pass_text(line));
    wrap(sheet, "      why    ", &why_text(line));
}

fn pass_text(line: &PlanLine) -> String {
    if line.on_fail.is_empty() {
        return line.pass_check.clone();
    }
    format!("{}; if not: {} (at most {} x)", line.pass_check, line.on_fail, line.max_loops)
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

fn turns(line: &PlanLine) -> String {
    let turn = |t: &Turn| match t.part.as_str() {
        "all" => t.technician.clone(),
        part => format!("{} {part}", t.technician),
    };
    line.turns.iter().map(turn).collect::<Vec<_>>().join(" + ")
}

fn zone_list(line: &PlanLine) -> String {
    line.zones.iter().map(|zone| zone.name()).collect::<Vec<_>>().join(", ")
}

fn mix_text(mix: &Mix) -> String {
    let fills = if mix.fills > 1 { format!(" in {} fills", mix.fills) } else { String::new() };
    let shampoo =
        if mix.shampoo_ml > 0.0 { format!(" + {} ml shampoo", whole(mix.shampoo_ml)) } else { String::new() };
    let hazards =
        if mix.hazards.is_empty() { String::new() } else { format!("; {}", mix.hazards.join(", ")) };
    let made = match mix.water_to_product {
        Some(parts) => format!(
            "pour {} ml{shampoo}, water up to {} ml ({parts}:1, water first){fills}",
            whole(mix.pour_ml),
            whole(mix.made_up_ml)
        ),
        None => format!("{} ml as it comes{fills}", whole(mix.pour_ml)),
    };
    format!("{}: {made}; wear {}{hazards}", mix.product_name, mix.ppe)
}

fn dwell_text(dwell: &Dwell) -> String {
    let mut text = if dwell.min_s > dwell.max_s {
        format!("works {}, but is dry before: must not dry", minutes(dwell.min_s))
    } else {
        format!("{} to {} wet, never dry", minutes(dwell.min_s), minutes(dwell.max_s))
    };
    if let (Some(dry_s), Some(panel_c)) = (dwell.dry_s, dwell.panel_c) {
        let _ = write!(text, "; film dries in {} on a panel of {panel_c:.0} C", minutes(dry_s as u32));
    }
    match dwell.advice {
        Some(DwellAdvice::Sections { section_m2 }) => {
            let _ = write!(text, "; sections of at most {section_m2:.1} m2");
        }
        Some(DwellAdvice::Remist { times, section_m2 }) => {
            let _ = write!(text, "; mist it again {times} x, sections of at most {section_m2:.1} m2");
        }
        Some(DwellAdvice::CoolFirst) => text.push_str("; shade or cool it with water first"),
        Some(DwellAdvice::Refuse) => text.push_str("; not here at this hour"),
        Some(DwellAdvice::Go) | None => {}
    }
    text
}

fn minutes(seconds: u32) -> String {
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

fn whole(value: f64) -> String {
    format!("{value:.0}")
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

//! The job sheet for paper: black and white, A4, read at arm's length with wet gloves.
//!
//! Plain HTML without scripts; every text is escaped. There is one page at most for every hour on site, as
//! [`super::paper`] lays it out: step names, amounts, timers and signal words large, what is looked up beside them
//! smaller and shorter than on the plain sheet.

use super::paper::{Block, Paragraph, Piece, Title, Type, inline_html, paragraphs_html};
use super::sheet::SheetHead;
use super::words::{
    amount, drying, length, litres, looped, panel_limit, timer_short, turns, vessel, whole, zones,
    zones_among,
};
use super::{JobPlan, Mix, PlanLine};
use crate::handbook::Severity;
use crate::hazard::SignalWord;
use crate::markup::escape;
use std::collections::BTreeSet;

/// More zones than this are told by how to go about them, not by name.
const NAMED_ZONES: usize = 5;

/// The whole sheet as one HTML document.
pub fn sheet_html(head: &SheetHead, plan: &JobPlan) -> String {
    let sheet = Sheet::of(head, plan);
    let html = |blocks: &[Block]| blocks.iter().map(Block::html).collect::<String>();
    let [before, steps, after] = [&sheet.before, &sheet.steps, &sheet.after].map(|blocks| html(blocks));
    format!(
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width\">\n<title>Job sheet {}</title>\n<style>\n{}</style>\n\
         </head>\n<body>\n<header>\n<h1>{}</h1>\n{}</header>\n<div class=\"flow\">\n{before}\
         <main aria-label=\"Steps\">\n<ol class=\"steps\">\n{steps}</ol>\n</main>\n{after}</div>\n</body>\n</html>\n",
        escape(head.job),
        sheet.size(plan).style(),
        inline_html(&sheet.heading),
        paragraphs_html(&sheet.header),
    )
}

/// What stands on it.
struct Sheet {
    heading: Paragraph,
    header: Vec<Paragraph>,
    before: Vec<Block>,
    steps: Vec<Block>,
    after: Vec<Block>,
}

impl Sheet {
    fn of(head: &SheetHead, plan: &JobPlan) -> Sheet {
        let once = Once::of(plan);
        let steps = (1..).zip(&plan.lines).map(|(number, line)| step(number, plan, line, &once));
        let section = |id, title, paragraphs: Vec<Paragraph>| {
            (!paragraphs.is_empty()).then_some(Block { title: Title::Section(id, title), paragraphs })
        };
        let before = [
            section("serious", "Before you start", serious(plan)),
            section("read", "Read first", read_first(plan, &once)),
            section("along", "Take along", take_along(plan)),
        ];
        Sheet {
            heading: vec![key(&format!("{} {} {}", head.job, plan.package_name, head.vehicle))],
            header: header(head, plan),
            before: before.into_iter().flatten().collect(),
            steps: steps.collect(),
            after: section("undiluted", "Undiluted, as labels usually say", hazards(plan))
                .into_iter()
                .collect(),
        }
    }

    fn flow(&self) -> Vec<Block> {
        [&self.before, &self.steps, &self.after].into_iter().flatten().cloned().collect()
    }

    fn size(&self, plan: &JobPlan) -> Type {
        Type::fitting(&self.top(), &self.flow(), most_pages(plan))
    }

    /// What stands across the page above the columns.
    fn top(&self) -> Vec<Paragraph> {
        [&self.heading].into_iter().chain(&self.header).cloned().collect()
    }
}

/// One page for every hour on site that is begun.
fn most_pages(plan: &JobPlan) -> u32 {
    (plan.totals.elapsed_minutes / 60.0).ceil().clamp(1.0, 1000.0) as u32
}

// ---- text ----

fn plain(text: &str) -> Piece {
    Piece::Plain(together(text))
}

fn bold(text: &str) -> Piece {
    Piece::Bold(together(text))
}

fn key(text: &str) -> Piece {
    Piece::Key(together(text))
}

/// Units that stay on the line of their number.
const UNITS: [&str; 8] = ["min", "ml", "l", "C", "x", "m2", "s", "%"];

/// A number and its unit are not parted.
fn together(text: &str) -> String {
    text.char_indices().map(|(at, c)| if c == ' ' && parts_a_unit(text, at) { '\u{a0}' } else { c }).collect()
}

/// The blank stands between a number and its unit.
fn parts_a_unit(text: &str, at: usize) -> bool {
    let (before, after) = text.split_at(at);
    let word =
        after.trim_start().split(|c: char| !c.is_alphanumeric() && c != '%').next().unwrap_or_default();
    before.ends_with(|c: char| c.is_ascii_digit()) && UNITS.contains(&word)
}

// ---- sections ----

fn header(head: &SheetHead, plan: &JobPlan) -> Vec<Paragraph> {
    let totals = &plan.totals;
    let facts = [
        head.place.to_string(),
        format!("van {}", head.van),
        head.crew.join(", "),
        plan.start.format("%a %d %b %Y %H:%M").to_string(),
        format!("{} min on site", whole(totals.elapsed_minutes)),
        format!("{} person-minutes", whole(totals.person_minutes)),
        format!("one such job in ten over {}", whole(totals.minutes_p90)),
        format!("handbook {}", plan.handbook),
    ];
    let mut header = vec![vec![plain(&facts.join(" | "))]];
    if !plan.workable {
        header.push(vec![key("NOT WORKABLE AS PLANNED: see the blocks")]);
    }
    header
}

/// Blocks, warnings and open questions; what was only adjusted is in the plan already.
fn serious(plan: &JobPlan) -> Vec<Paragraph> {
    let notices = plan.notices.iter().filter(|notice| notice.severity >= Severity::Warn).map(|notice| {
        let word = if notice.severity == Severity::Block { "BLOCK" } else { "WARN" };
        let unblock = notice.unblock.as_ref().map(|way| format!(" To lift it: {way}.")).unwrap_or_default();
        vec![bold(word), plain(&format!("{} {}.{unblock}", notice.rule, notice.text))]
    });
    let waivers = plan.waivers.iter();
    let waivers =
        waivers.map(|waiver| vec![bold("AGREED"), plain(&format!("{}: {}.", waiver.rule, waiver.text()))]);
    let questions = plan.questions.iter().map(|question| vec![bold("ASK"), plain(&question.text)]);
    notices.chain(waivers).chain(questions).collect()
}

fn read_first(plan: &JobPlan, once: &Once) -> Vec<Paragraph> {
    let cautions = plan.cautions.iter().map(|caution| vec![plain(caution)]);
    let stop = vec![bold("STOP"), plain(&format!("at once: {}.", plan.stop_criteria.join("; ")))];
    let timers = "Timers say how long a product stays at least and at most; it never dries on the panel.";
    let timers = plan.lines.iter().any(|line| line.dwell.is_some()).then(|| timers.to_string());
    let limit = once.panel_c.map(|c| format!("Panels up to {c:.0} C, where the step says no other limit."));
    let shared = once.cautions.iter().map(|caution| format!("{}: {caution}", carriers(plan, caution)));
    let said = timers.into_iter().chain(limit).chain(shared).map(|text| vec![plain(&text)]);
    cautions.chain([stop]).chain(said).collect()
}

fn take_along(plan: &JobPlan) -> Vec<Paragraph> {
    let totals = &plan.totals;
    let supply = if totals.by_hose { "garden hose" } else { "pressure washer" };
    let water = format!("water {} l by {supply}", whole(totals.water_l));
    let products =
        totals.product_ml.iter().map(|(id, ml)| format!("{} {} ml", id.replace('_', " "), whole(*ml)));
    let all: Vec<String> = std::iter::once(water).chain(products).collect();
    vec![vec![plain(&all.join(" | "))]]
}

/// What the codes at the steps mean.
fn hazards(plan: &JobPlan) -> Vec<Paragraph> {
    let mixes = plan.lines.iter().flat_map(|line| &line.mixes);
    let statements: BTreeSet<&str> = mixes.flat_map(|mix| &mix.hazards).map(String::as_str).collect();
    let statements: Vec<&str> = statements.into_iter().collect();
    if statements.is_empty() { vec![] } else { vec![vec![plain(&statements.join("; "))]] }
}

// ---- steps ----

fn step(number: usize, plan: &JobPlan, line: &PlanLine, once: &Once) -> Block {
    let when = format!("{} {}", clock(plan, line.begin_min), length(line.end_min - line.begin_min));
    let title = Title::Step(together(&format!("{number} {}", line.name)), together(&when));
    let mut place = place(plan, line, once);
    let mut paragraphs: Vec<Paragraph> = line.mixes.iter().map(poured).collect();
    if let Some(dwell) = &line.dwell {
        let more = drying(dwell);
        let more = if more.is_empty() { String::new() } else { format!(" {}", more.join("; ")) };
        let written = format!("on\u{a0}__:__ off\u{a0}__:__{more}");
        paragraphs.push(vec![bold("TIMER"), key(&timer_short(dwell)), plain(&written)]);
    }
    let care = care(plan, line, once);
    if paragraphs.is_empty() {
        place.extend(care);
        paragraphs.push(place);
    } else {
        paragraphs.insert(0, place);
        paragraphs.push(care);
    }
    Block { title, paragraphs }
}

/// On the wall clock.
fn clock(plan: &JobPlan, minutes: f64) -> String {
    let after = chrono::TimeDelta::seconds((minutes * 60.0) as i64);
    plan.start.checked_add_signed(after).unwrap_or(plan.start).format("%H:%M").to_string()
}

/// Who, where and how to go about it, with how much water and on how hot a panel.
fn place(plan: &JobPlan, line: &PlanLine, once: &Once) -> Paragraph {
    let (order, sun) = order_and_sun(line);
    let zones = match line.zones.len() {
        few if few <= NAMED_ZONES => zones(line),
        _ if order.is_empty() => zones_among(plan, line),
        _ => order.to_string(),
    };
    let mut parts = vec![if head_count(plan) > 1 { turns(line) } else { String::new() }, zones];
    if line.water_l >= 0.5 {
        parts.push(format!("{} l", litres(line.water_l)));
    }
    parts.extend(panel_limit(line).filter(|_| line.max_panel_c != once.panel_c));
    parts.retain(|part| !part.is_empty());
    let mut place = vec![plain(&parts.join(" | "))];
    place.extend(sun.into_iter().flat_map(|sun| [bold("SUN"), plain(sun)]));
    place.extend(heat(line).into_iter().flat_map(|heat| [bold("HEAT"), plain(heat)]));
    place
}

fn head_count(plan: &JobPlan) -> usize {
    let turns = plan.lines.iter().flat_map(|line| &line.turns);
    turns.map(|turn| turn.technician.as_str()).collect::<BTreeSet<_>>().len()
}

/// How to go about the zones, and behind the first semicolon what a rule says of sun and shade.
fn order_and_sun(line: &PlanLine) -> (&str, Option<&str>) {
    match line.zone_order.split_once(';') {
        Some((order, sun)) => (order.trim(), Some(sun.trim())),
        None => (line.zone_order.trim(), None),
    }
}

/// What a hot panel asks for before the step.
fn heat(line: &PlanLine) -> Option<&str> {
    line.reasons.iter().find(|reason| reason.id == "R01").map(|reason| reason.text.as_str())
}

/// Amount and signal word, then what it is, what it is made up in, the codes of its hazards and what to wear.
fn poured(mix: &Mix) -> Paragraph {
    let fills = if mix.fills > 1 { format!("{} fills of ", mix.fills) } else { String::new() };
    let signal = mix.signal_word.map(|word| match word {
        SignalWord::Danger => Piece::Signal("DANGER"),
        SignalWord::Warning => Piece::Signal("WARNING"),
    });
    let codes: Vec<&str> = mix.hazards.iter().filter_map(|statement| statement.split(' ').next()).collect();
    let said = [Some(mix.product_name.clone()), vessel(mix), Some(codes.join(" ")), Some(mix.ppe.clone())];
    let said: Vec<String> = said.into_iter().flatten().filter(|part| !part.is_empty()).collect();
    let pour = [bold("POUR"), key(&format!("{fills}{}", amount(mix)))];
    pour.into_iter().chain(signal).chain([plain(&said.join("; "))]).collect()
}

/// What to look out for, the pass check, and what to do when it fails.
fn care(plan: &JobPlan, line: &PlanLine, once: &Once) -> Paragraph {
    let own: Vec<&str> =
        line.cautions.iter().map(String::as_str).filter(|c| !once.cautions.contains(c)).collect();
    let mut care = if own.is_empty() { vec![] } else { vec![bold("!"), plain(&own.join("; "))] };
    care.extend([bold("OK"), plain(&line.pass_check)]);
    care.extend(failed(plan, line).into_iter().flat_map(|failed| [bold("ELSE"), plain(&failed)]));
    care
}

/// The loop of a failed check, and where it leads.
fn failed(plan: &JobPlan, line: &PlanLine) -> Option<String> {
    let branch = line.branch.as_ref()?;
    let mut then: Vec<String> = Vec::new();
    for rung in branch.next.iter().filter(|rung| branch.step.as_deref() != Some(&rung.step)) {
        let asks = if rung.needs_approval { " with a yes" } else { "" };
        let rung = format!("{}{asks}", named(plan, &rung.step));
        if !then.contains(&rung) {
            then.push(rung);
        }
    }
    let then = if then.is_empty() { String::new() } else { format!(", then {}", then.join(" or ")) };
    Some(format!("{}{then}", looped(branch, &format!("{} x", branch.max_loops))))
}

/// A step as it is found on this sheet, by its number, else by its id.
fn named(plan: &JobPlan, step: &str) -> String {
    match plan.lines.iter().position(|line| line.step == step) {
        Some(index) => format!("step {}", index + 1),
        None => step.to_string(),
    }
}

/// What is said once at the top.
struct Once<'p> {
    /// Cautions that stand on more than one step.
    cautions: BTreeSet<&'p str>,
    /// The limit of most steps, C.
    panel_c: Option<f64>,
}

impl Once<'_> {
    fn of(plan: &JobPlan) -> Once<'_> {
        let (mut seen, mut cautions) = (BTreeSet::new(), BTreeSet::new());
        for caution in plan.lines.iter().flat_map(|line| &line.cautions).map(String::as_str) {
            if !seen.insert(caution) {
                cautions.insert(caution);
            }
        }
        let limits = || plan.lines.iter().filter_map(|line| line.max_panel_c);
        let carried = |limit: f64| limits().filter(|&other| other == limit).count();
        Once { cautions, panel_c: limits().max_by_key(|&limit| carried(limit)) }
    }
}

/// The numbers of the steps that carry a caution.
fn carriers(plan: &JobPlan, caution: &str) -> String {
    let numbered = (1..).zip(&plan.lines);
    let carry = numbered.filter(|(_, line)| line.cautions.iter().any(|own| own == caution));
    format!("Steps {}", carry.map(|(number, _): (u32, _)| number.to_string()).collect::<Vec<_>>().join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::handbook::Handbook;
    use crate::plan::plan_cases::{Case, sedan_wash};
    use crate::plan::plan_job;

    /// Every package for every class, by so many technicians: one page for each hour on site, in a type that can be
    /// read. `tests/bench/sheet_pages.py` prints the same sheets.
    fn fits(technicians: usize) {
        let handbook = Handbook::standard();
        for class in &handbook.vehicle_classes {
            let packages = handbook.packages.iter();
            for package in packages.filter(|p| p.classes.is_empty() || p.classes.contains(&class.id)) {
                let case = sedan_wash().of(class.id, &package.id).with_crew(technicians);
                fits_its_hours(&case);
            }
        }
    }

    fn fits_its_hours(case: &Case) {
        let plan = plan_job(&case.input()).unwrap();
        let crew: Vec<String> = case.crew.iter().map(|member| member.name.clone()).collect();
        let head = SheetHead {
            job: "1001",
            vehicle: "silver, plate Q-TEST 1",
            place: "3 Example Lane, Sampletown",
            crew: &crew,
            van: "V1",
        };
        let sheet = Sheet::of(&head, &plan);
        let size = sheet.size(&plan);
        let pages = size.pages(&sheet.top(), &sheet.flow());
        let minutes = plan.totals.elapsed_minutes;
        let what = format!("{:?} {} by {}", plan.vehicle_class, plan.package, crew.len());
        assert!(
            f64::from(pages) < minutes / 60.0 + 1.0,
            "{what}: {pages} pages for {minutes:.0} min, {size:?}"
        );
        assert!(size.plain_pt >= 9.0 && size.key_pt() >= 13.0, "{what}: {size:?}");
    }

    #[test]
    fn the_sheet_of_one_technician_has_a_page_an_hour() {
        fits(1);
    }

    #[test]
    fn the_sheet_of_two_technicians_has_a_page_an_hour() {
        fits(2);
    }

    #[test]
    fn the_sheet_of_three_technicians_has_a_page_an_hour() {
        fits(3);
    }

    #[test]
    fn the_sheet_of_four_technicians_has_a_page_an_hour() {
        fits(4);
    }
}

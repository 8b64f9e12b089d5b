//! The job sheet for paper: black and white, A4, read at arm's length with wet gloves.
//!
//! Plain HTML without scripts; every text is escaped. The type is as large as lets the sheet stay within one page
//! per hour of work, and a step is never broken across pages.

use super::sheet::SheetHead;
use super::words::{drying, failing, length, litres, panel_limit, pour, timer, turns, whole, zones};
use super::{JobPlan, Mix, PlanLine};
use crate::handbook::Severity;
use crate::hazard::SignalWord;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

/// More zones than this are told by how to go about them, not by name.
const NAMED_ZONES: usize = 5;

/// The whole sheet as one HTML document.
pub fn sheet_html(head: &SheetHead, plan: &JobPlan) -> String {
    let sections = [
        Block::of(heading(head, plan)),
        Block::of(serious(plan)),
        Block::of(read_first(plan)),
        Block::of(take_along(plan)),
        Block::of(who(plan)),
        Block::of(hazards(plan)),
    ];
    let common = common(plan);
    let steps: Vec<Block> =
        plan.lines.iter().enumerate().map(|(at, line)| step(at + 1, plan, line, &common)).collect();
    let type_size = type_size(&sections, &steps, pages(plan));
    let mut html = String::new();
    let _ = write!(
        html,
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width\">\n<title>Job sheet {}</title>\n<style>\n{}</style>\n\
         </head>\n<body>\n",
        escape(head.job),
        style(type_size),
    );
    let [before @ .., after] = &sections;
    for section in before {
        html.push_str(&section.html);
    }
    html.push_str("<main aria-label=\"Steps\">\n<ol class=\"steps\">\n");
    for step in &steps {
        html.push_str(&step.html);
    }
    html.push_str("</ol>\n</main>\n");
    html.push_str(&after.html);
    html.push_str("</body>\n</html>\n");
    html
}

/// A part of the sheet and the texts in it, by which its height is judged.
struct Block {
    html: String,
    /// Characters of a heading in large type.
    large: usize,
    /// Characters of each paragraph.
    paragraphs: Vec<usize>,
}

impl Block {
    fn of(html: String) -> Block {
        let paragraphs = html.split("</").map(seen_length).filter(|&length| length > 0).collect();
        Block { html, large: 0, paragraphs }
    }
}

/// Characters outside tags.
fn seen_length(html: &str) -> usize {
    let mut within = false;
    let seen = html.chars().filter(|&c| {
        let tag = within || c == '<';
        within = (within || c == '<') && c != '>';
        !tag && c != '\n'
    });
    seen.count()
}

// ---- size ----

/// Size of the type in points, and columns of steps.
#[derive(Clone, Copy)]
struct TypeSize {
    pt: f64,
    columns: u32,
}

/// From arm's length to newspaper: the first that fits is taken (assumption: 14 pt is easy at 70 cm, 8 pt is not).
const TYPE_SIZES: [TypeSize; 10] = [
    TypeSize { pt: 14.0, columns: 1 },
    TypeSize { pt: 13.0, columns: 1 },
    TypeSize { pt: 12.0, columns: 1 },
    TypeSize { pt: 11.5, columns: 2 },
    TypeSize { pt: 11.0, columns: 2 },
    TypeSize { pt: 10.5, columns: 2 },
    TypeSize { pt: 10.0, columns: 2 },
    TypeSize { pt: 9.5, columns: 2 },
    TypeSize { pt: 9.0, columns: 2 },
    TypeSize { pt: 8.0, columns: 2 },
];
const MM_PER_PT: f64 = 25.4 / 72.0;
/// A4 less the margins.
const PAGE_MM: (f64, f64) = (190.0, 277.0);
/// Step names are larger than the rest by this.
const LARGE: f64 = 1.4;
const LINE_HEIGHT: f64 = 1.2;
/// Width of a character as a share of the type size, and what is lost at page and column ends (measured on
/// sheets of every package and class, rounded up).
const CHARACTER: f64 = 0.52;
const LOST_SHARE: f64 = 0.06;

/// One page per hour of work that is begun.
fn pages(plan: &JobPlan) -> f64 {
    (plan.totals.person_minutes / 60.0).ceil().max(1.0)
}

fn type_size(sections: &[Block], steps: &[Block], pages: f64) -> TypeSize {
    let fits =
        |size: &&TypeSize| height_mm(sections, steps, **size) <= pages * PAGE_MM.1 * (1.0 - LOST_SHARE);
    *TYPE_SIZES.iter().find(fits).unwrap_or(&TYPE_SIZES[TYPE_SIZES.len() - 1])
}

fn height_mm(sections: &[Block], steps: &[Block], size: TypeSize) -> f64 {
    let columns = f64::from(size.columns);
    let column_mm = (PAGE_MM.0 - 6.0 * (columns - 1.0)) / columns;
    let body =
        |blocks: &[Block], mm: f64| -> f64 { blocks.iter().map(|block| block_mm(block, size.pt, mm)).sum() };
    body(sections, PAGE_MM.0) + body(steps, column_mm) / columns
}

fn block_mm(block: &Block, pt: f64, width_mm: f64) -> f64 {
    let lines =
        |characters: usize, pt: f64| (characters as f64 * CHARACTER * pt * MM_PER_PT / width_mm).ceil();
    let line_mm = pt * MM_PER_PT * LINE_HEIGHT;
    let large = lines(block.large, pt * LARGE) * line_mm * LARGE;
    let rest: f64 = block.paragraphs.iter().map(|&characters| lines(characters, pt) * line_mm).sum();
    // Rule and white above and below.
    large + rest + 2.0
}

fn style(size: TypeSize) -> String {
    format!(
        "@page {{ size: A4; margin: 10mm; }}\n\
         html {{ font: {}pt/{LINE_HEIGHT} sans-serif; color: #000; background: #fff; }}\n\
         body {{ margin: 0; }}\n\
         h1 {{ font-size: 1.4em; margin: 0; }}\n\
         h2 {{ font-size: 1em; margin: 1mm 0 0; text-transform: uppercase; border-top: 0.4mm solid #000; \
         break-after: avoid; }}\n\
         p, ul {{ margin: 0; }}\n\
         ul {{ padding-left: 4mm; }}\n\
         .steps {{ list-style: none; margin: 1mm 0 0; padding: 0; columns: {}; column-gap: 6mm; }}\n\
         .steps > li {{ break-inside: avoid; border-top: 0.4mm solid #000; padding: 0.5mm 0 0.6mm; }}\n\
         h3 {{ font-size: {LARGE}em; line-height: 1.1; margin: 0; text-transform: uppercase; }}\n\
         .pour, .timer {{ font-weight: bold; }}\n\
         .signal {{ border: 0.4mm solid #000; padding: 0 1mm; font-weight: bold; }}\n\
         .stop {{ border: 0.8mm solid #000; padding: 0 1mm; }}\n\
         @media screen {{ body {{ max-width: 190mm; margin: 5mm auto; padding: 0 5mm; }} }}\n",
        size.pt, size.columns
    )
}

// ---- parts ----

fn heading(head: &SheetHead, plan: &JobPlan) -> String {
    let totals = &plan.totals;
    let mut html = format!(
        "<header>\n<h1>{} {} {}</h1>\n<p>{} | van {} | {}</p>\n<p>{} | {} min on site | {} person-minutes, \
         one such job in ten over {} | handbook {}</p>\n",
        escape(head.job),
        escape(&plan.package_name),
        escape(head.vehicle),
        escape(head.place),
        escape(head.van),
        escape(&head.crew.join(", ")),
        plan.start.format("%a %d %b %Y <b>%H:%M</b>"),
        whole(totals.elapsed_minutes),
        whole(totals.person_minutes),
        whole(totals.minutes_p90),
        escape(&plan.handbook),
    );
    if !plan.workable {
        html.push_str("<p class=\"stop\"><b>NOT WORKABLE AS PLANNED: see the blocks</b></p>\n");
    }
    html.push_str("</header>\n");
    html
}

/// Blocks, warnings and open questions; what was only adjusted is in the plan already.
fn serious(plan: &JobPlan) -> String {
    let mut items = String::new();
    for notice in plan.notices.iter().filter(|notice| notice.severity >= Severity::Warn) {
        let word = if notice.severity == Severity::Block { "BLOCK" } else { "WARN" };
        let unblock = notice.unblock.as_ref().map(|way| format!(" To lift it: {way}.")).unwrap_or_default();
        let text = format!("{} {}.{unblock}", notice.rule, notice.text);
        let _ = writeln!(items, "<li><b>{word}</b> {}</li>", escape(&text));
    }
    for waiver in &plan.waivers {
        let _ =
            writeln!(items, "<li><b>AGREED</b> {}: {}.</li>", escape(&waiver.rule), escape(&waiver.text()));
    }
    for question in &plan.questions {
        let _ = writeln!(items, "<li><b>ASK</b> {}</li>", escape(&question.text));
    }
    if items.is_empty() {
        items
    } else {
        section("serious", "Before you start", &format!("<ul>\n{items}</ul>\n"))
    }
}

fn read_first(plan: &JobPlan) -> String {
    let mut inner = String::from("<ul>\n");
    for caution in &plan.cautions {
        let _ = writeln!(inner, "<li>{}</li>", escape(caution));
    }
    let _ = writeln!(inner, "<li><b>STOP</b> at once: {}.</li>", escape(&plan.stop_criteria.join("; ")));
    for caution in common(plan) {
        let _ = writeln!(inner, "<li>{}: {}</li>", escape(&carriers(plan, caution)), escape(caution));
    }
    inner.push_str("</ul>\n");
    section("read", "Read first", &inner)
}

/// Each technician's own way through the steps, where there are several.
fn who(plan: &JobPlan) -> String {
    let mut ways: BTreeMap<&str, Vec<(f64, String)>> = BTreeMap::new();
    for (number, line) in (1..).zip(&plan.lines) {
        let number: u32 = number;
        for turn in &line.turns {
            let part = if turn.part == "all" { String::new() } else { format!(" {}", turn.part) };
            let stop = format!("{} {number}{part}", clock(plan, turn.begin_min));
            ways.entry(&turn.technician).or_default().push((turn.begin_min, stop));
        }
    }
    if ways.len() < 2 {
        return String::new();
    }
    let lines = ways.into_iter().fold(String::new(), |mut lines, (name, mut way)| {
        way.sort_by(|a, b| a.0.total_cmp(&b.0));
        let way: Vec<String> = way.into_iter().map(|(_, stop)| stop).collect();
        let _ = writeln!(lines, "<p><b>{}</b> {}</p>", escape(name), escape(&way.join(" | ")));
        lines
    });
    section("who", "Who does which step from when", &lines)
}

/// What the labels of the undiluted products say, usual for their classes; it stands behind the steps, where it does
/// not drown what is to be done.
fn hazards(plan: &JobPlan) -> String {
    let mut products: BTreeMap<&str, &Mix> = BTreeMap::new();
    for mix in plan.lines.iter().flat_map(|line| &line.mixes).filter(|mix| !mix.hazards.is_empty()) {
        products.entry(&mix.product_name).or_insert(mix);
    }
    let said = products.into_iter().fold(String::new(), |mut said, (name, mix)| {
        let text = format!("{name}: {}.", mix.hazards.join("; "));
        let _ = writeln!(said, "<li><b class=\"signal\">{}</b> {}</li>", signal(mix), escape(&text));
        said
    });
    if said.is_empty() {
        said
    } else {
        section("undiluted", "Undiluted, as their labels usually say", &format!("<ul>\n{said}</ul>\n"))
    }
}

fn take_along(plan: &JobPlan) -> String {
    let totals = &plan.totals;
    let supply = if totals.by_hose { "garden hose" } else { "pressure washer" };
    let water = format!("water {} l by {supply}", whole(totals.water_l));
    let products =
        totals.product_ml.iter().map(|(id, ml)| format!("{} {} ml", id.replace('_', " "), whole(*ml)));
    let all: Vec<String> = std::iter::once(water).chain(products).collect();
    section("along", "Take along", &format!("<p>{}</p>\n", escape(&all.join(" | "))))
}

fn section(id: &str, title: &str, inner: &str) -> String {
    format!("<section aria-labelledby=\"{id}\">\n<h2 id=\"{id}\">{title}</h2>\n{inner}</section>\n")
}

fn step(number: usize, plan: &JobPlan, line: &PlanLine, common: &BTreeSet<&str>) -> Block {
    let name = format!("{number} {}", line.name);
    let mut inner = String::new();
    let mut paragraphs = Vec::new();
    let mut put = |class: &str, label: &str, text: &str| {
        paragraphs.push(label.chars().count() + text.chars().count() + 1);
        let class = if class.is_empty() { String::new() } else { format!(" class=\"{class}\"") };
        let label = match label {
            "" => String::new(),
            "DANGER" | "WARNING" => format!("<b class=\"signal\">{label}</b> "),
            _ => format!("<b>{label}</b> "),
        };
        let _ = writeln!(inner, "<p{class}>{label}{}</p>", escape(text));
    };
    put("", "", &when_and_where(plan, line));
    if let Some(sun) = order_and_sun(line).1 {
        put("", "SUN", sun);
    }
    if let Some(heat) = heat(line) {
        put("", "HEAT", heat);
    }
    for mix in &line.mixes {
        put("pour", "POUR", &format!("{}: {}", mix.product_name, pour(mix)));
        if mix.signal_word.is_some() || !mix.ppe.is_empty() {
            put("", signal(mix), &mix.ppe);
        }
    }
    if let Some(dwell) = &line.dwell {
        let more = drying(dwell);
        let more = if more.is_empty() { String::new() } else { format!("; {}", more.join("; ")) };
        put("timer", "TIMER", &format!("{} | on\u{a0}__:__\u{a0}off\u{a0}__:__{more}", timer(dwell)));
    }
    let own: Vec<&str> = line.cautions.iter().map(String::as_str).filter(|c| !common.contains(c)).collect();
    if !own.is_empty() {
        put("", "!", &own.join("; "));
    }
    put("", "OK when", &checked(plan, line));
    let html = format!("<li>\n<h3>{}</h3>\n{inner}</li>\n", escape(&name));
    Block { html, large: name.chars().count(), paragraphs }
}

/// On the wall clock.
fn clock(plan: &JobPlan, minutes: f64) -> String {
    let after = chrono::TimeDelta::seconds((minutes * 60.0) as i64);
    plan.start.checked_add_signed(after).unwrap_or(plan.start).format("%H:%M").to_string()
}

fn when_and_where(plan: &JobPlan, line: &PlanLine) -> String {
    let mut parts =
        vec![clock(plan, line.begin_min), length(line.end_min - line.begin_min), line.step.clone()];
    parts.push(turns(line));
    let (order, _) = order_and_sun(line);
    parts.push(if line.zones.len() <= NAMED_ZONES || order.is_empty() {
        zones(line)
    } else {
        order.to_string()
    });
    if line.water_l >= 0.5 {
        parts.push(format!("{} l", litres(line.water_l)));
    }
    parts.extend(panel_limit(line));
    parts.retain(|part| !part.is_empty());
    parts.join(" | ")
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

fn signal(mix: &Mix) -> &'static str {
    match mix.signal_word {
        Some(SignalWord::Danger) => "DANGER",
        Some(SignalWord::Warning) => "WARNING",
        None => "Wear",
    }
}

/// The pass check, what to do when it fails, and what then.
fn checked(plan: &JobPlan, line: &PlanLine) -> String {
    let Some(branch) = &line.branch else { return line.pass_check.clone() };
    let mut then: Vec<String> = Vec::new();
    for rung in branch.next.iter().filter(|rung| branch.step.as_deref() != Some(&rung.step)) {
        let asks = if rung.needs_approval { " with a yes" } else { "" };
        let rung = format!("{}{asks}", named(plan, &rung.step, &rung.step_name));
        if !then.contains(&rung) {
            then.push(rung);
        }
    }
    let then = if then.is_empty() { String::new() } else { format!(", then {}", then.join(" or ")) };
    format!("{}. If not: {}{then}", line.pass_check, failing(branch))
}

/// A step as it is found on this sheet, by its number, else by its name.
fn named(plan: &JobPlan, step: &str, name: &str) -> String {
    match plan.lines.iter().position(|line| line.step == step) {
        Some(index) => format!("step {}", index + 1),
        None => format!("{step} {name}"),
    }
}

/// Cautions that stand on more than one step; they are said once at the top.
fn common(plan: &JobPlan) -> BTreeSet<&str> {
    let all = || plan.lines.iter().flat_map(|line| &line.cautions).map(String::as_str);
    let (mut once, mut often) = (BTreeSet::new(), BTreeSet::new());
    for caution in all() {
        if !once.insert(caution) {
            often.insert(caution);
        }
    }
    often
}

/// The numbers of the steps that carry a caution.
fn carriers(plan: &JobPlan, caution: &str) -> String {
    let numbered = (1..).zip(&plan.lines);
    let carry = numbered.filter(|(_, line)| line.cautions.iter().any(|own| own == caution));
    format!("Steps {}", carry.map(|(number, _): (u32, _)| number.to_string()).collect::<Vec<_>>().join(", "))
}

/// Units that stay on the line of their number.
const UNITS: [&str; 8] = ["min", "ml", "l", "C", "x", "m2", "s", "%"];

/// Text for an element or a quoted attribute; a number and its unit are not parted.
fn escape(text: &str) -> String {
    let kept =
        text.char_indices().map(|(at, c)| if c == ' ' && parts_a_unit(text, at) { '\u{a0}' } else { c });
    crate::markup::escape(&kept.collect::<String>())
}

/// The blank stands between a number and its unit.
fn parts_a_unit(text: &str, at: usize) -> bool {
    let (before, after) = text.split_at(at);
    let word =
        after.trim_start().split(|c: char| !c.is_alphanumeric() && c != '%').next().unwrap_or_default();
    before.ends_with(|c: char| c.is_ascii_digit()) && UNITS.contains(&word)
}

//! R60 and the van's machines: what is on board against what the plan needs.

use crate::handbook::{Chemistry, Severity, Step};
use crate::plan::amounts;
use crate::plan::draft::{Draft, Lines, Use, each};
use crate::plan::facts::{Facts, same_ph};
use crate::plan::waiver;

/// R60 before the order is made: amounts do not depend on it, and steps without product fall away.
pub(super) fn restrict(draft: &mut Draft) {
    r60_short_stock(draft);
}

pub(super) fn on_the_clock(draft: &mut Draft) {
    machines(draft);
    drying_towels(draft);
}

// ---- stock ----

/// R60: stock on the van against the plan and a margin; another product of the same pH family, else without it.
fn r60_short_stock(draft: &mut Draft) {
    amounts::measure(draft);
    let facts = draft.facts;
    ask_for_stock(draft);
    for product in facts.input.kit.stock_ml.keys() {
        if short_ml(draft, product) <= 0.0 {
            continue;
        }
        let sum = sum_text(draft, product);
        let exchanged = exchange(draft, product);
        if !exchanged.is_empty() {
            draft.kept("R60", format!("{sum}: same family instead in {}", ids(&exchanged)), exchanged);
        }
        if short_ml(draft, product) > 0.0 {
            go_without(draft, product, &sum);
        }
    }
}

/// Millilitres that the stock of a counted product lacks, margin included.
fn short_ml(draft: &Draft, product: &str) -> f64 {
    let Some(&have_ml) = draft.facts.input.kit.stock_ml.get(product) else { return 0.0 };
    let need_ml = draft.product_totals().get(product).copied().unwrap_or(0.0);
    need_ml * draft.facts.limit("R60", "stock_factor") - have_ml
}

fn sum_text(draft: &Draft, product: &str) -> String {
    let have_ml = draft.facts.input.kit.stock_ml.get(product).copied().unwrap_or(0.0);
    let need_ml = draft.product_totals().get(product).copied().unwrap_or(0.0);
    let factor = draft.facts.limit("R60", "stock_factor");
    format!("{}: {have_ml:.0} ml on the van, {need_ml:.0} ml planned x {factor}", product.replace('_', " "))
}

fn ids(lines: &Lines) -> String {
    lines.iter().map(|line| line.0.as_str()).collect::<Vec<_>>().join(" ")
}

/// Products that a question names (assumption: nobody reads a list to its end).
const NAMED: usize = 4;

/// Products that nobody counted cannot be judged.
fn ask_for_stock(draft: &mut Draft) {
    let counted = &draft.facts.input.kit.stock_ml;
    let unknown: Vec<String> = draft
        .product_totals()
        .into_keys()
        .filter(|id| !counted.contains_key(id))
        .map(|id| id.replace('_', " "))
        .collect();
    if !unknown.is_empty() {
        // The list of what to take along names them all.
        let named = unknown.iter().take(NAMED).map(String::as_str).collect::<Vec<_>>().join(", ");
        let more = match unknown.len().saturating_sub(NAMED) {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        let text = format!("How much is on the van of {named}{more}, in ml?");
        draft.ask("R60", "/kit/stock_ml", &text);
    }
}

/// Exchanges the product step by step until the stock will do.
fn exchange(draft: &mut Draft, product: &str) -> Lines {
    let mut lines: Lines = Vec::new();
    let users = draft.which(|w| w.uses(product));
    for step in users {
        if short_ml(draft, product) <= 0.0 {
            break;
        }
        let mut trial = draft.clone();
        let Some(other) = substitute(&mut trial, &step, product) else { continue };
        amounts::measure(&mut trial);
        if short_ml(&trial, &other) <= 0.0 {
            *draft = trial;
            lines.push((step, format!("{} instead, same family", other.replace('_', " "))));
        }
    }
    lines
}

/// Puts another counted product in the place of `product` in one step; its id.
fn substitute(draft: &mut Draft, step: &str, product: &str) -> Option<String> {
    let facts = draft.facts;
    let work = draft.work.iter_mut().find(|w| w.step.id == step)?;
    let place = work.products.iter().position(|u| u.product == product)?;
    let row = work.products[place].row;
    let counted = |id: &str| facts.input.kit.stock_ml.get(id).is_some_and(|&ml| ml > 0.0);
    let stand_in = facts.stand_ins(row).map(Use::of).find(|other| {
        counted(&other.product)
            && same_family(facts, product, &other.product)
            && touches(facts, &work.zones, other)
    });
    let family = || {
        facts.input.kit.stock_ml.keys().map(|id| Use { row, product: id.clone(), weakest: None }).find(
            |other| {
                counted(&other.product)
                    && same_surfactant(facts, product, &other.product)
                    && in_ratio(facts, other)
                    && touches(facts, &work.zones, other)
            },
        )
    };
    let other = stand_in.or_else(family)?;
    let id = other.product.clone();
    work.products[place] = other;
    Some(id)
}

/// Same chemistry and neat pH ranges that meet.
fn same_family(facts: &Facts, one: &str, other: &str) -> bool {
    let (Some(a), Some(b)) = (facts.handbook().product(one), facts.handbook().product(other)) else {
        return false;
    };
    let akin = a.chemistry.iter().any(|c| b.chemistry.contains(c));
    a.id != b.id && !b.banned && akin && same_ph(a, b)
}

/// Foam, shampoo and clay lubricant are one kind of soap: neutral surfactant that strips nothing.
fn same_surfactant(facts: &Facts, one: &str, other: &str) -> bool {
    let soap = |id: &str| {
        facts
            .handbook()
            .product(id)
            .is_some_and(|p| p.chemistry == [Chemistry::Anionic] && p.strips_protection == Some(0))
    };
    soap(one) && soap(other) && same_family(facts, one, other)
}

/// The row's ratio is one that the other label allows.
fn in_ratio(facts: &Facts, other: &Use) -> bool {
    let Some(product) = facts.handbook().product(&other.product) else { return false };
    let (Some(least), Some(most)) = (product.ratio_min, product.ratio_max) else { return true };
    other.water_to_product(false).is_some_and(|parts| (least..=most).contains(&parts))
}

/// It may touch every surface of the step.
fn touches(facts: &Facts, zones: &[crate::vehicle::Zone], other: &Use) -> bool {
    zones.iter().all(|&z| {
        facts.zone(z).is_none_or(|here| {
            let fit = facts.product_fit(other, true, here.substrate);
            !fit.never && !fit.approval && fit.weakest.is_none()
        })
    })
}

/// Drops what the package can do without; where it cannot, restocking is the way.
fn go_without(draft: &mut Draft, product: &str, sum: &str) {
    let optional = draft.which(|w| w.uses(product) && !draft.facts.required(&w.step.id));
    draft.drop_steps("R60", &optional);
    amounts::measure(draft);
    if !optional.is_empty() {
        let text = format!("{sum}, nothing of its family on board: left out {}", optional.join(" "));
        draft.kept("R60", text, vec![]);
    }
    let short_ml = short_ml(draft, product);
    if short_ml > 0.0 {
        let users = draft.which(|w| w.uses(product));
        let spare = draft.work.iter().filter(|w| w.uses(product)).all(|w| waiver::may_be_left_out(w.step));
        let without = if spare {
            format!(", or leave {} out with the customer's consent", users.join(" "))
        } else {
            String::new()
        };
        let unblock = format!("restock {short_ml:.0} ml before the job{without}");
        let lines = each(users, &format!("{short_ml:.0} ml short"));
        draft.unmet("R60", format!("{sum}, nothing of its family on board"), lines, unblock);
    }
}

// ---- machines ----

/// A motor or a flow of its own: what a van list names; brushes and towels every van has.
fn is_machine(facts: &Facts, id: &str) -> bool {
    let row = facts.handbook().equipment.get(id);
    row.is_some_and(|e| e.power_kw.is_some() || e.flow_l_min.is_some() || e.fill_max_l.is_some())
}

/// Steps whose machine is not on the van.
fn machines(draft: &mut Draft) {
    let facts = draft.facts;
    if facts.input.kit.equipment.is_empty() {
        return draft.ask("kit", "/kit/equipment", "What is on the van? Nothing is listed.");
    }
    let mut lacking: Vec<(String, Lines)> = Vec::new();
    let mut tools: Vec<String> = Vec::new();
    for work in &draft.work {
        for missing in missing_machines(facts, work.step) {
            let line = (work.step.id.clone(), format!("no {missing} on the van"));
            match lacking.iter_mut().find(|(what, _)| *what == missing) {
                Some((_, lines)) => lines.push(line),
                None => lacking.push((missing, vec![line])),
            }
        }
        let hand_tools = work.step.equipment.iter().filter(|id| !is_machine(facts, id) && !facts.carries(id));
        tools.extend(hand_tools.filter(|id| *id != "rcd" && *id != "awning").cloned());
    }
    for (what, lines) in lacking {
        let steps = ids(&lines);
        let text = format!("no {what} on the van, needed by {steps}");
        draft.forbid("kit", text, lines, &format!("load the {what}"));
    }
    tools.sort();
    tools.dedup();
    if !tools.is_empty() {
        let text =
            format!("not on the van's list, check before leaving: {}", tools.join(", ").replace('_', " "));
        draft.tell("kit", Severity::Advise, text, vec![]);
    }
}

/// A towel holds about a litre, so that large vehicles need more of them.
fn drying_towels(draft: &mut Draft) {
    let class = draft.facts.handbook().class(draft.facts.input.vehicle.class);
    let Some(count) = class.map(|row| row.drying_towels) else { return };
    let drying = draft.which(|w| w.step.equipment.iter().any(|id| id == "towel_dry"));
    draft.caution(&drying, &format!("{count} large drying towels at hand"));
}

/// Machines of a step that the van lacks, in words.
fn missing_machines(facts: &Facts, step: &Step) -> Vec<String> {
    let aboard = |id: &String| {
        facts.carries(id)
            // A washer comes with its supply hose.
            || id == "hose" && (facts.by_washer() || facts.carries("water_reel"))
            || id == "battery_pack" && facts.input.kit.battery_kwh > 0.0
    };
    let all = step.equipment.iter().filter(|id| is_machine(facts, id) && !aboard(id));
    let mut missing: Vec<String> = all.map(|id| id.replace('_', " ")).collect();
    if !step.equipment_any.is_empty() && !step.equipment_any.iter().any(aboard) {
        let any: Vec<String> = step.equipment_any.iter().map(|id| id.replace('_', " ")).collect();
        missing.push(any.join(" or "));
    }
    missing
}

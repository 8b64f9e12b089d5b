//! Products and the surfaces they touch: chemistry, bans and what has to be collected.

use super::Facts;
use crate::handbook::{Ban, Chemistry, ProductClass};
use crate::plan::draft::{Use, Work};
use crate::vehicle::{Substrate, Zone};

/// From this bead grade on a protection is alive; at 2 and below it is due for renewal (common practice).
const SOUND_BEADS: u8 = 3;

/// What a surface says to a product or a step.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Fit {
    /// Not at all.
    pub never: bool,
    /// Only with the customer's yes.
    pub approval: bool,
    /// At least so many parts of water to one of product.
    pub weakest: Option<f64>,
    /// What to look out for.
    pub care: Vec<String>,
}

impl Fit {
    pub fn and(mut self, other: Fit) -> Fit {
        self.never |= other.never;
        self.approval |= other.approval;
        self.weakest = self.weakest.into_iter().chain(other.weakest).reduce(f64::max);
        self.care.extend(other.care);
        self
    }

    fn care(text: String) -> Fit {
        Fit { care: vec![text], ..Fit::default() }
    }

    fn never() -> Fit {
        Fit { never: true, ..Fit::default() }
    }
}

impl<'a> Facts<'a> {
    pub fn chemistry(&self, product: &str) -> &'a [Chemistry] {
        self.handbook().product(product).map_or(&[], |p| p.chemistry.as_slice())
    }

    pub fn uses_chemistry(&self, work: &Work, groups: &[Chemistry]) -> bool {
        work.products.iter().any(|u| self.chemistry(&u.product).iter().any(|c| groups.contains(c)))
    }

    /// Its rinse water is collected, or its step left out (R24).
    pub fn must_be_collected(&self, product: &str) -> bool {
        self.handbook().product(product).is_some_and(|row| row.collect_runoff)
    }

    /// Runoff can be collected or may go to the sewer.
    pub fn collects_runoff(&self) -> bool {
        self.carries("runoff_kit") || self.input.site.drain == Some(crate::site::Drain::Sewer)
    }

    /// Concentrate at the ends of the pH scale.
    pub fn corrosive(&self, product: &str) -> bool {
        let Some(class) = self.handbook().product(product) else { return false };
        let (low, high) = (self.limit("R65", "ph_low"), self.limit("R65", "ph_high"));
        [class.ph_neat_min, class.ph_neat_max].iter().flatten().any(|&ph| ph <= low || ph >= high)
    }

    /// Factor on the strength of foam and shampoo in the water there.
    pub fn hard_water_strength(&self) -> f64 {
        let limit = self.limit("R21", "hardness_mg_l");
        let hard = self.input.site.hardness_mg_l.is_some_and(|mg_l| mg_l > limit);
        if hard { self.factor("hard_water_strength") } else { 1.0 }
    }

    pub fn banned(&self, product: &str) -> bool {
        self.handbook()
            .product(product)
            .is_some_and(|p| p.banned || p.chemistry.contains(&Chemistry::Fluoride))
    }

    /// Work on the body, not on wheels, tyres or arches.
    pub fn on_body(&self, work: &Work) -> bool {
        const WHEELS: [Zone; 4] = [Zone::WheelFace, Zone::WheelBarrel, Zone::Tyre, Zone::WheelArch];
        work.zones.iter().any(|z| !WHEELS.contains(z))
    }

    pub fn on_paint(&self, work: &Work) -> bool {
        work.zones.iter().any(|&z| self.zone(z).is_some_and(|f| f.substrate.is_paint()))
    }

    /// A protection lies on the zone: one of its own, or one on all paint.
    pub fn protected(&self, zone: Zone) -> bool {
        let paint = self.zone(zone).is_some_and(|f| f.substrate.is_paint() && !f.recess);
        let coats = &self.input.vehicle.coats;
        // Water that beads on paint without a coat on record rolls off one that nobody entered.
        let beads = self.input.inspection.bead_grade.is_some_and(|grade| grade >= SOUND_BEADS);
        let laid = coats.iter().any(|c| c.zone == Some(zone) || c.zone.is_none() && paint);
        laid || paint && coats.is_empty() && beads
    }

    // ---- bans ----

    /// What the material of a zone says to a product as it is used in a step.
    pub fn product_fit(&self, used: &Use, heavy: bool, substrate: Substrate) -> Fit {
        let Some(product) = self.handbook().product(&used.product) else { return Fit::default() };
        let word = crate::handbook::word(&substrate);
        let mut fit = Fit::default();
        for ban in product.forbidden_on.iter().filter(|ban| ban.id == word) {
            fit = fit.and(self.ban_fit(ban, Some((used, product)), heavy, substrate));
        }
        let Some(row) = self.handbook().substrate(substrate) else { return fit };
        for ban in row.forbids_products.iter().filter(|ban| ban.id == product.id) {
            fit = fit.and(self.ban_fit(ban, Some((used, product)), heavy, substrate));
        }
        if row.forbids_chemistry.iter().any(|c| product.chemistry.contains(c)) {
            fit = fit.and(Fit::never());
        }
        fit.and(ph_fit(product, row.ph_min, row.ph_max, &row.name))
    }

    /// What the material of a zone says to a step, whatever its product.
    pub fn step_fit(&self, work: &Work, substrate: Substrate) -> Fit {
        let Some(row) = self.handbook().substrate(substrate) else { return Fit::default() };
        let bans = row.forbids_steps.iter().filter(|ban| ban.id == work.step.id);
        bans.fold(Fit::default(), |fit, ban| {
            let by_chemistry = ban.condition.as_deref() == Some("alkali");
            if by_chemistry && !self.uses_chemistry(work, &[Chemistry::Alkali]) {
                return fit;
            }
            fit.and(self.ban_fit(ban, None, false, substrate))
        })
    }

    /// A ban under its condition. What cannot be seen from here becomes a word of care.
    fn ban_fit(
        &self,
        ban: &Ban,
        used: Option<(&Use, &ProductClass)>,
        heavy: bool,
        substrate: Substrate,
    ) -> Fit {
        let Some(condition) = ban.condition.as_deref() else { return Fit::never() };
        match condition {
            "alkali" => Fit::never(),
            "unless_approved" => match self.input.extra_work.approved {
                Some(true) => Fit::care(self.care_text(condition, substrate)),
                _ => Fit { approval: true, ..Fit::default() },
            },
            // The precedence pairs keep silicone behind a coating.
            "before_coating" => Fit::default(),
            "stronger_than_30" => weaker(used, heavy, 30.0),
            "stronger_than_20" => weaker(used, heavy, 20.0),
            "strong" => match used.and_then(|(_, product)| product.ratio_max) {
                Some(weakest) => weaker(used, heavy, weakest),
                None => Fit::care(self.care_text(condition, substrate)),
            },
            _ => Fit::care(self.care_text(condition, substrate)),
        }
    }

    fn care_text(&self, condition: &str, substrate: Substrate) -> String {
        let meaning = self.handbook().ban_conditions.get(condition).map_or(condition, |row| &row.meaning);
        format!("{}: {meaning}", self.material(substrate))
    }

    /// The material in words.
    pub fn material(&self, substrate: Substrate) -> &'a str {
        self.handbook().substrate(substrate).map_or("", |row| row.name.as_str())
    }
}

/// Free when it is weak enough already, weaker where its label allows, else not at all.
fn weaker(used: Option<(&Use, &ProductClass)>, heavy: bool, parts: f64) -> Fit {
    let Some((used, product)) = used else { return Fit::never() };
    if used.water_to_product(heavy).is_some_and(|now| now >= parts) {
        return Fit::default();
    }
    if product.ratio_max.is_some_and(|most| most >= parts) {
        return Fit { weakest: Some(parts), ..Fit::default() };
    }
    Fit::never()
}

/// A product whose pH in use lies outside what the material takes, wholly or in part.
fn ph_fit(product: &ProductClass, least: Option<f64>, most: Option<f64>, material: &str) -> Fit {
    let (Some(low), Some(high)) = (product.ph_use_min, product.ph_use_max) else { return Fit::default() };
    let (least, most) = (least.unwrap_or(0.0), most.unwrap_or(14.0));
    if high < least || low > most {
        Fit::never()
    } else if low < least || high > most {
        Fit::care(format!("{material}: a type of pH {least} to {most} only"))
    } else {
        Fit::default()
    }
}

/// Neat pH ranges that overlap, or neither has one.
pub(crate) fn same_ph(one: &ProductClass, other: &ProductClass) -> bool {
    match (one.ph_neat_min, one.ph_neat_max, other.ph_neat_min, other.ph_neat_max) {
        (Some(a), Some(b), Some(c), Some(d)) => a <= d && c <= b,
        (None, None, None, None) => true,
        _ => false,
    }
}

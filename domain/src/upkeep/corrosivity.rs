//! How corrosive the air of a place is, by the classes of ISO 9223, and what that makes of the fallout there.
//!
//! The class is what the shop says of the place, or follows from the published dose-response function with the salt of a
//! coast or of salted roads near it. Settled iron rusts into the paint faster in such air (common practice); by how much is
//! an assumption, class by class. Without a word and without salt a place counts as the handbook's inland air, factor 1.

use super::UpkeepError;
use super::answer::PlaceCorrosivity;
use super::assumed::Topic;
use super::deposition::carbon_steel_um;
use super::norms::Reader;
use crate::parking::CorrosivityClass;

/// The air of the shop's area, and the factor on the dose of each class.
pub(super) struct Air {
    mean_c: f64,
    humidity_percent: f64,
    sulphur_mg_m2_d: f64,
    /// Of inland air; what comes from sources is on top.
    chloride_mg_m2_d: f64,
    factors: [f64; 6],
}

/// The air of one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Site {
    pub class: CorrosivityClass,
    /// What the class was derived from; none where it was said.
    pub carbon_steel_um: Option<f64>,
    /// Factor on the dose there.
    pub factor: f64,
}

impl Air {
    pub fn read(read: &mut Reader, monthly_air_c: &[f64; 12]) -> Result<Air, UpkeepError> {
        let topic = Topic::Corrosivity;
        let mut factor = |name| read.bounded(topic, name, "1", 0.1, 10.0);
        let factors = [
            factor("corrosivity_c1")?,
            factor("corrosivity_c2")?,
            factor("corrosivity_c3")?,
            factor("corrosivity_c4")?,
            factor("corrosivity_c5")?,
            factor("corrosivity_cx")?,
        ];
        Ok(Air {
            mean_c: monthly_air_c.iter().sum::<f64>() / 12.0,
            humidity_percent: read.bounded(topic, "air_humidity_percent", "%", 0.0, 100.0)?,
            sulphur_mg_m2_d: read.bounded(topic, "air_sulphur_mg_m2_d", "mg/(m2 d)", 0.0, 1000.0)?,
            chloride_mg_m2_d: read.bounded(topic, "air_chloride_mg_m2_d", "mg/(m2 d)", 0.0, 5000.0)?,
            factors,
        })
    }

    /// The air of a place by the class that was said of it, else by the salt of its sources; none where neither is known.
    pub fn at(&self, said: Option<CorrosivityClass>, salt_mg_m2_d: Option<f64>) -> Option<Site> {
        if let Some(class) = said {
            return Some(Site { class, carbon_steel_um: None, factor: self.factor(class) });
        }
        let chloride = self.chloride_mg_m2_d + salt_mg_m2_d?;
        let steel_um = carbon_steel_um(self.mean_c, self.humidity_percent, self.sulphur_mg_m2_d, chloride);
        let class = CorrosivityClass::of(steel_um);
        Some(Site { class, carbon_steel_um: Some(steel_um), factor: self.factor(class) })
    }

    fn factor(&self, class: CorrosivityClass) -> f64 {
        let [c1, c2, c3, c4, c5, cx] = self.factors;
        match class {
            CorrosivityClass::C1 => c1,
            CorrosivityClass::C2 => c2,
            CorrosivityClass::C3 => c3,
            CorrosivityClass::C4 => c4,
            CorrosivityClass::C5 => c5,
            CorrosivityClass::Cx => cx,
        }
    }
}

impl Site {
    /// For the answer; `place` is its number in the vehicle's document.
    pub fn told(&self, place: usize) -> PlaceCorrosivity {
        let Site { class, carbon_steel_um, factor } = *self;
        PlaceCorrosivity { place: format!("/parking/{place}"), class, carbon_steel_um, factor }
    }
}

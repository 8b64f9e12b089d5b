//! What a plan's steps ask of people and machines. Common practice throughout, unless marked.

use std::collections::BTreeSet;

/// Something a step asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ability {
    Wash,
    Rinseless,
    Decon,
    Clay,
    Polish,
    Coating,
    SoftTop,
    AcidMild,
    Platform,
}

impl Ability {
    /// The word in a technician's list of skills.
    pub fn skill(self) -> &'static str {
        match self {
            Ability::Wash => "wash",
            Ability::Rinseless => "rinseless",
            Ability::Decon => "decon",
            Ability::Clay => "clay",
            Ability::Polish => "polish",
            Ability::Coating => "coating",
            Ability::SoftTop => "soft_top",
            Ability::AcidMild => "acid_mild",
            Ability::Platform => "platform",
        }
    }

    /// Whether a person with these skills can do it; who washes can wash without rinsing, too (assumption).
    pub fn is_met_by(self, skills: &[String]) -> bool {
        let has = |word: &str| skills.iter().any(|s| s == word);
        has(self.skill()) || (self == Ability::Rinseless && has("wash"))
    }
}

/// The skills a set of steps needs in the crew, each in at least one person.
pub fn required_skills<'a>(steps: impl IntoIterator<Item = &'a str>) -> BTreeSet<Ability> {
    steps.into_iter().filter_map(ability).collect()
}

fn ability(step: &str) -> Option<Ability> {
    match step {
        "C05" => Some(Ability::Rinseless),
        "C06" | "H10" => Some(Ability::SoftTop),
        "D09" => Some(Ability::AcidMild),
        "E01" | "E02" | "E03" => Some(Ability::Clay),
        "E05" | "E06" => Some(Ability::Decon),
        "H04" => Some(Ability::Coating),
        _ => match step.as_bytes().first() {
            Some(b'B' | b'C') => Some(Ability::Wash),
            Some(b'D') => Some(Ability::Decon),
            Some(b'G') => Some(Ability::Polish),
            _ => None,
        },
    }
}

/// Acid or iron chemistry, which a trainee does not handle alone.
pub(super) fn is_hazardous(step: &str) -> bool {
    matches!(step, "D03" | "D04" | "E01" | "D07" | "D09")
}

/// Rinses and foams, which take the pressure washer where there is one.
pub(super) fn is_wet(step: &str) -> bool {
    matches!(step, "B05" | "B09" | "B10" | "B11" | "C01" | "C03" | "D05" | "D12" | "D14")
}

/// Blower, polisher or vacuum.
pub(super) fn is_powered(step: &str) -> bool {
    matches!(step, "F01" | "G02" | "G03" | "G04" | "I06")
}

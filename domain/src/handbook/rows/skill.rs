//! What a technician must have learned for a step.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// One of a technician's skills. Common practice, unless marked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Skill {
    Wash,
    Rinseless,
    Decon,
    Clay,
    Polish,
    Coating,
    SoftTop,
    AcidMild,
    /// Asked for by zones that are out of reach, not by steps.
    Platform,
}

impl Skill {
    /// The word in a technician's list of skills.
    pub fn word(self) -> &'static str {
        match self {
            Skill::Wash => "wash",
            Skill::Rinseless => "rinseless",
            Skill::Decon => "decon",
            Skill::Clay => "clay",
            Skill::Polish => "polish",
            Skill::Coating => "coating",
            Skill::SoftTop => "soft_top",
            Skill::AcidMild => "acid_mild",
            Skill::Platform => "platform",
        }
    }

    /// Whether a person with these skills can do it; who washes can wash without rinsing, too (assumption).
    pub fn is_met_by(self, skills: &[String]) -> bool {
        let has = |word: &str| skills.iter().any(|s| s == word);
        has(self.word()) || (self == Skill::Rinseless && has("wash"))
    }
}

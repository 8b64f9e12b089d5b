//! One struct per table; the fields are the columns. Empty cells are `None` or an empty list or text.
//! `source` says where a row's numbers come from: mostly common practice, which a shop may override.

mod rules;
mod skill;
mod surface;
mod upkeep;
mod vehicle;
mod work;

pub use rules::{Factor, Rule, Severity, Trigger, TriggerWhen};
pub use skill::Skill;
pub use surface::{
    Ban, BanCondition, Chemistry, ContaminantRow, MixVerdict, MixingEntry, Per, ProductClass, SubstrateRow,
};
pub use upkeep::{
    Accrual, AccrualForm, AccrualNeed, ExposureKind, Protection, ProtectionKind, SourceRow, SourceUnit,
};
pub use vehicle::{ClassRow, Face, Orientation, Reach, ZoneRow, ZoneSet};
pub use work::{
    Basis, Equipment, Package, PackageRole, PackageStep, Pair, PairCondition, PairKind, Phase, ProductRole,
    Step, StepProduct, ZoneChoice,
};

//! The vehicle as the trade sees it: class, zones, what each zone is made of, coats, and where it lives.

use crate::parking::{Driving, ParkingPlace};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Generic body classes; their geometry is in the handbook's `vehicle_classes` and `zones` tables.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum VehicleClass {
    CityCar,
    Sedan,
    Estate,
    Suv,
    Pickup,
    LargeVan,
    Motorhome,
    RoadsterSofttop,
}

/// A part of the outer skin that is inspected, treated and priced as one. Which zones a class has is in the handbook.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Zone {
    Roof,
    SoftTop,
    Overcab,
    Windscreen,
    RearGlass,
    SideGlass,
    Bonnet,
    BootDeck,
    Mirror,
    Doors,
    FrontWing,
    RearQuarter,
    Lamps,
    Trim,
    FrontBumper,
    Tail,
    RearBumper,
    Rocker,
    Jambs,
    BedInner,
    Tyre,
    WheelFace,
    WheelBarrel,
    WheelArch,
}

/// What a surface is made of. Limits and forbidden products are in the handbook's `substrates` table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Substrate {
    ClearCoat,
    ThinClear,
    FreshPaint,
    SingleStage,
    MattFinish,
    FilmWrap,
    ProtectionFilm,
    BareAluminium,
    Anodised,
    PolishedMetal,
    Chrome,
    PlatedPlastic,
    RawPlastic,
    TextileTop,
    Glass,
    CoatedGlass,
    AcrylicWindow,
    PolycarbonateLamp,
    WheelClearCoat,
    Rubber,
    GrpGelcoat,
    Galvanised,
    BareSteel,
    NaturalLeather,
}

/// Body colour; it sets the solar absorptance unless one was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Colour {
    White,
    Silver,
    Red,
    Grey,
    Blue,
    Black,
}

impl Colour {
    /// Share of sunlight absorbed, 0 to 1. Assumption where not black, white or silver: published shell
    /// reflectances are 0.05 for black and about 0.57-0.60 for white and silver (Levinson et al. 2011,
    /// Applied Energy 88:4343); white 0.25 and the tones between are the trade's working values (common practice).
    pub fn solar_absorptance(self) -> f64 {
        match self {
            Colour::White => 0.25,
            Colour::Silver => 0.50,
            Colour::Red => 0.60,
            Colour::Grey => 0.75,
            Colour::Blue => 0.80,
            Colour::Black => 0.95,
        }
    }
}

/// A vehicle as the office knows it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Vehicle {
    pub class: VehicleClass,
    pub colour: Colour,
    /// Measured or entered by the shop, 0 to 1; replaces the colour's value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 1.0)]
    pub solar_absorptance: Option<f64>,
    /// The paint of the body: `clear_coat`, `thin_clear`, `single_stage`, `matt_finish`, `film_wrap`, ...
    pub finish: Substrate,
    /// Zones that differ from the class's default, and foreign materials set into a zone.
    #[serde(default)]
    pub surfaces: Vec<Surface>,
    #[serde(default)]
    pub coats: Vec<Coat>,
    /// Last repaint, of the zones in `repainted_zones` or, when that is empty, of the whole body.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repainted_on: Option<NaiveDate>,
    #[serde(default)]
    pub repainted_zones: Vec<Zone>,
    /// First day on the road; nothing was done to it or found on it before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub first_registered_on: Option<NaiveDate>,
    /// Where it stands in classes of the trade, as shares of the week: the coarse way to say it.
    #[serde(default)]
    pub exposures: Vec<Exposure>,
    /// Where it stands, place by place; once given, what falls on it is counted from here and not from `exposures`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parking: Vec<ParkingPlace>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub driving: Option<Driving>,
    /// The last full decontamination known when the vehicle was entered; later ones come from finished jobs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decontaminated_on: Option<NaiveDate>,
    /// Total paint thickness, the thinnest reading, µm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0)]
    pub paint_thickness_um: Option<f64>,
    /// Largest difference between readings on one panel, µm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0)]
    pub paint_scatter_um: Option<f64>,
    /// High-voltage drive: the lance stays away from charge port, cooling inlet and underside connectors.
    #[serde(default)]
    pub high_voltage: bool,
}

/// One zone's main material and the foreign materials set into it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Surface {
    pub zone: Zone,
    pub substrate: Substrate,
    #[serde(default)]
    pub inclusions: Vec<Substrate>,
}

/// A layer of protection on a zone, or on all paint when `zone` is absent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Coat {
    /// Id in the handbook's `protections` table.
    pub protection: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<Zone>,
    pub applied_on: NaiveDate,
}

/// A share of the week spent under one kind of exposure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Exposure {
    /// Id in the handbook's `exposures` table.
    pub kind: String,
    /// Share of time, 0 to 1.
    #[schema(minimum = 0.0, maximum = 1.0)]
    pub share: f64,
}

impl Substrate {
    /// Paint, film or gel coat: what protections are laid on and colour heats.
    pub fn is_paint(self) -> bool {
        matches!(
            self,
            Substrate::ClearCoat
                | Substrate::ThinClear
                | Substrate::FreshPaint
                | Substrate::SingleStage
                | Substrate::MattFinish
                | Substrate::FilmWrap
                | Substrate::ProtectionFilm
                | Substrate::GrpGelcoat
        )
    }
}

impl Zone {
    /// The zone in words, for people.
    pub fn name(self) -> &'static str {
        match self {
            Zone::Roof => "roof",
            Zone::SoftTop => "soft top",
            Zone::Overcab => "overcab",
            Zone::Windscreen => "windscreen",
            Zone::RearGlass => "rear glass",
            Zone::SideGlass => "side glass",
            Zone::Bonnet => "bonnet",
            Zone::BootDeck => "boot deck",
            Zone::Mirror => "mirrors",
            Zone::Doors => "doors",
            Zone::FrontWing => "front wings",
            Zone::RearQuarter => "rear quarters",
            Zone::Lamps => "lamps",
            Zone::Trim => "trim",
            Zone::FrontBumper => "front bumper",
            Zone::Tail => "tail",
            Zone::RearBumper => "rear bumper",
            Zone::Rocker => "rockers",
            Zone::Jambs => "door jambs",
            Zone::BedInner => "load bed",
            Zone::Tyre => "tyres",
            Zone::WheelFace => "wheel faces",
            Zone::WheelBarrel => "wheel barrels",
            Zone::WheelArch => "wheel arches",
        }
    }
}

impl Vehicle {
    pub fn absorptance(&self) -> f64 {
        self.solar_absorptance.unwrap_or_else(|| self.colour.solar_absorptance())
    }
}

//! Where on the vehicle a step works: cells of zone and corner, what is near them and what they drip on.

use super::facts::{Facts, ZoneFacts};
use crate::handbook::Face;
use crate::vehicle::Zone;

/// Dust, spray and foam reach this far, m (common practice).
const SPRAY_M: f64 = 2.0;
/// Corners of the vehicle: front left, front right, rear left, rear right.
const CORNERS: usize = 4;

/// A set of cells, one bit for each zone and corner.
pub(super) type Cells = u128;

/// Which corners a part of a step covers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    All,
    Left,
    Right,
    Front,
    Rear,
}

impl Side {
    pub fn name(self) -> &'static str {
        match self {
            Side::All => "all",
            Side::Left => "left",
            Side::Right => "right",
            Side::Front => "front",
            Side::Rear => "rear",
        }
    }

    /// One bit for each corner.
    fn corners(self) -> u8 {
        match self {
            Side::All => 0b1111,
            Side::Left => 0b0101,
            Side::Right => 0b1010,
            Side::Front => 0b0011,
            Side::Rear => 0b1100,
        }
    }
}

/// The cells of one vehicle.
pub(super) struct Places {
    zones: Vec<Zone>,
    /// Cells that exist, by zone.
    of_zone: Vec<Cells>,
    /// By cell: those within two metres, and those that water runs to from it.
    reached: Vec<Cells>,
}

/// Extent of a cell, m from the front and m from the left.
#[derive(Clone, Copy)]
struct Extent {
    along: (f64, f64),
    across: (f64, f64),
}

impl Places {
    /// Handbooks have at most as many zones as bits here; further ones are taken to be nowhere in particular.
    pub fn new(facts: &Facts) -> Places {
        let zones: Vec<Zone> =
            facts.zones.iter().map(|z| z.zone).take(Cells::BITS as usize / CORNERS).collect();
        let size =
            facts.handbook().class(facts.input.vehicle.class).map_or((4.5, 1.8), |c| (c.length_m, c.width_m));
        let extents: Vec<Option<Extent>> = (0..zones.len() * CORNERS)
            .map(|cell| extent(&facts.zones[cell / CORNERS], cell % CORNERS, size))
            .collect();
        let of_zone = (0..zones.len())
            .map(|zone| bits((zone * CORNERS..(zone + 1) * CORNERS).filter(|&cell| extents[cell].is_some())))
            .collect();
        let level = |cell: usize| facts.zones[cell / CORNERS].row.drip_level;
        let reaches = |from: usize, to: usize| match (extents[from], extents[to]) {
            (Some(a), Some(b)) => {
                a.is_near(&b) || (from % CORNERS == to % CORNERS && level(to) > level(from))
            }
            _ => false,
        };
        let reached =
            (0..extents.len()).map(|from| bits((0..extents.len()).filter(|&to| reaches(from, to)))).collect();
        Places { zones, of_zone, reached }
    }

    /// The cells of some zones on one side.
    pub fn cells(&self, zones: &[Zone], side: Side) -> Cells {
        let here = self.zones.iter().zip(&self.of_zone).filter(|(zone, _)| zones.contains(zone));
        here.fold(0, |all, (_, cells)| all | cells) & corner_cells(side.corners())
    }

    /// The zones among some that have a cell on that side.
    pub fn zones(&self, zones: &[Zone], side: Side) -> Vec<Zone> {
        zones.iter().copied().filter(|&zone| self.cells(&[zone], side) != 0).collect()
    }

    /// Share of a zone that lies on one side.
    pub fn share(&self, zone: Zone, side: Side) -> f64 {
        let all = self.cells(&[zone], Side::All).count_ones();
        if all == 0 { 0.0 } else { f64::from(self.cells(&[zone], side).count_ones()) / f64::from(all) }
    }

    /// Everything within two metres of these cells or dripped on from them.
    pub fn reached(&self, cells: Cells) -> Cells {
        (0..self.reached.len())
            .filter(|cell| cells >> cell & 1 == 1)
            .fold(0, |all, cell| all | self.reached[cell])
    }
}

/// The corners that a set of cells touches, one bit each.
pub(super) fn corners(cells: Cells) -> u8 {
    (0..CORNERS)
        .filter(|&corner| cells & corner_cells(1 << corner) != 0)
        .fold(0, |set, corner| set | 1 << corner)
}

/// Every cell of some corners.
fn corner_cells(corners: u8) -> Cells {
    (0..Cells::BITS as usize / CORNERS).fold(0, |all, zone| all | Cells::from(corners) << (zone * CORNERS))
}

fn bits(cells: impl Iterator<Item = usize>) -> Cells {
    cells.fold(0, |set, cell| set | 1 << cell)
}

/// Where a zone's part in one corner lies; none when it has no part there.
fn extent(zone: &ZoneFacts, corner: usize, (length_m, width_m): (f64, f64)) -> Option<Extent> {
    let half = if corner < 2 { (0.0, 0.5) } else { (0.5, 1.0) };
    let along = spans(zone.zone).iter().find_map(|span| {
        let cut = (span.0.max(half.0), span.1.min(half.1));
        (cut.0 < cut.1).then_some(cut)
    })?;
    let flank = zone.row.faces.contains(&Face::Side) && zone.row.count > 1;
    let right = corner % 2 == 1;
    let across = match (right, flank) {
        (false, true) => (0.0, 0.0),
        (false, false) => (0.0, 0.5),
        (true, false) => (0.5, 1.0),
        (true, true) => (1.0, 1.0),
    };
    Some(Extent {
        along: (along.0 * length_m, along.1 * length_m),
        across: (across.0 * width_m, across.1 * width_m),
    })
}

/// From where to where a zone reaches, as shares of the length from the front (assumption, read off usual bodies).
fn spans(zone: Zone) -> &'static [(f64, f64)] {
    match zone {
        Zone::FrontBumper => &[(0.0, 0.05)],
        Zone::Lamps => &[(0.0, 0.06), (0.94, 1.0)],
        Zone::Bonnet => &[(0.03, 0.28)],
        Zone::FrontWing => &[(0.05, 0.30)],
        Zone::Overcab => &[(0.05, 0.30)],
        Zone::Windscreen => &[(0.25, 0.40)],
        Zone::Mirror => &[(0.32, 0.36)],
        Zone::Roof | Zone::SoftTop => &[(0.35, 0.80)],
        Zone::Doors | Zone::Jambs => &[(0.30, 0.70)],
        Zone::SideGlass => &[(0.32, 0.80)],
        Zone::Rocker => &[(0.25, 0.75)],
        Zone::RearQuarter => &[(0.68, 0.97)],
        Zone::RearGlass => &[(0.75, 0.88)],
        Zone::BedInner => &[(0.60, 1.0)],
        Zone::BootDeck => &[(0.85, 1.0)],
        Zone::RearBumper => &[(0.95, 1.0)],
        Zone::Tail => &[(0.97, 1.0)],
        Zone::Trim => &[(0.0, 1.0)],
        Zone::Tyre | Zone::WheelFace | Zone::WheelBarrel | Zone::WheelArch => &[(0.12, 0.27), (0.73, 0.88)],
    }
}

impl Extent {
    fn is_near(&self, other: &Extent) -> bool {
        let gap = |a: (f64, f64), b: (f64, f64)| (b.0 - a.1).max(a.0 - b.1).max(0.0);
        gap(self.along, other.along).hypot(gap(self.across, other.across)) < SPRAY_M
    }
}

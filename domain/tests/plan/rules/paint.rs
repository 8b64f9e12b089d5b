//! R52-R57.

use super::{Case, asks, fires, silent};
use crate::scene::{Ask, Scene};
use chrono::TimeDelta;
use domain::handbook::Severity::{Adjust, Block, Warn};
use domain::inspection::Contaminant;
use domain::vehicle::{Colour, Substrate, VehicleClass, Zone};

fn repainted(s: &mut Scene, days: i64, zones: &[Zone]) {
    s.vehicle.repainted_on = Some(s.start.date() - TimeDelta::days(days));
    s.vehicle.repainted_zones = zones.to_vec();
}

fn cut(s: &mut Scene, thickness_um: f64, scatter_um: f64) {
    s.package("P4", &["G04"]);
    (s.vehicle.paint_thickness_um, s.vehicle.paint_scatter_um) = (Some(thickness_um), Some(scatter_um));
    s.extra_work.approved = Some(true);
}

fn single_stage(s: &mut Scene, colour: Colour) {
    s.vehicle.finish = Substrate::SingleStage;
    s.vehicle.colour = colour;
    s.package("P1", &[]);
}

pub const CASES: &[Case] = &[
    silent("R52", "clear coat", |_| {}),
    fires("R52", Adjust, "30:1", "matt takes alkali at 30:1 only", |s| {
        s.vehicle.finish = Substrate::MattFinish
    })
    .and(|p| {
        assert_eq!(p.line("B06").mixes[0].water_to_product, Some(30.0));
        assert!(p.workable);
    }),
    fires("R52", Block, "G03", "matt cannot be polished, and the package is sold with it", |s| {
        s.vehicle.finish = Substrate::MattFinish;
        s.package("P6", &[]);
    }),
    fires("R52", Adjust, "rear glass left out", "tar solvent and an acrylic window", |s| {
        s.surface(Zone::RearGlass, Substrate::AcrylicWindow, &[]);
        s.find(Zone::RearGlass, Contaminant::Tar, 1);
        s.find(Zone::Rocker, Contaminant::Tar, 1);
    })
    .and(|p| assert_eq!(p.line("D01").zones, [Zone::Rocker])),
    fires("R52", Adjust, "rinseless wash instead", "alkali in the jambs of fresh paint", |s| {
        s.vehicle.finish = Substrate::FreshPaint;
        s.package("P1", &[]);
    })
    .and(|p| assert_eq!(p.line("C04").mixes[0].product, "rinseless_wash")),
    fires("R52", Adjust, "nothing is left of it", "clay bar on film", |s| {
        s.vehicle.finish = Substrate::FilmWrap;
        s.package("P4", &["E03"]);
        s.extra_work.approved = Some(true);
    })
    .and(|p| assert!(!p.has("E03"))),
    asks("R52", "/extra_work/approved", "clay on matt needs a yes", |s| {
        s.vehicle.finish = Substrate::MattFinish;
        s.package("P2", &["E02"]);
    }),
    silent("R52", "solvent tests on a spot of protection film are a caution, no change", |s| {
        s.vehicle.finish = Substrate::ProtectionFilm;
        s.find(Zone::Rocker, Contaminant::Tar, 1);
    })
    .and(|p| assert!(p.line("D01").cautions.iter().any(|c| c.contains("a short dwell only")))),
    fires("R53", Adjust, "keep it flooded", "anodised rails in the roof", |s| {
        s.surface(Zone::Roof, Substrate::ClearCoat, &[Substrate::Anodised])
    })
    .and(|p| assert!(p.line("D07").cautions.iter().any(|c| c.contains("aluminium at the roof")))),
    fires("R53", Adjust, "left out", "a bare aluminium bonnet and acid", |s| {
        s.surface(Zone::Bonnet, Substrate::BareAluminium, &[])
    })
    .and(|p| assert!(!p.line("D07").zones.contains(&Zone::Bonnet))),
    silent("R53", "chrome set into the roof", |s| {
        s.surface(Zone::Roof, Substrate::ClearCoat, &[Substrate::Chrome])
    }),
    fires("R54", Adjust, "59 days old", "one panel 59 days old", |s| repainted(s, 59, &[Zone::FrontWing]))
        .and(|p| {
            assert!(
                !p.line("D03").zones.contains(&Zone::FrontWing)
                    && p.line("C02").zones.contains(&Zone::FrontWing)
            )
        }),
    silent("R54", "one panel 60 days old", |s| repainted(s, 60, &[Zone::FrontWing])),
    fires("R54", Block, "is sold with it", "decontamination of a car 10 days old", |s| repainted(s, 10, &[])),
    fires("R54", Adjust, "10 days old", "washing the same car", |s| {
        repainted(s, 10, &[]);
        s.package("P1", &[]);
    })
    .and(|p| {
        assert!(p.workable && p.has("F02") && !p.has("F03"), "dried without aid");
        assert_eq!(p.line("C04").mixes[0].product, "rinseless_wash");
    }),
    asks("R54", "/vehicle/repainted_on", "fresh paint without a date", |s| {
        s.vehicle.finish = Substrate::FreshPaint;
        s.package("P1", &[]);
    }),
    asks("R54", "/vehicle/repainted_on", "fresh paint on the doors without a date", |s| {
        s.surface(Zone::Doors, Substrate::FreshPaint, &[]);
        s.package("P1", &[]);
    }),
    silent("R54", "fresh paint on the doors, 60 days old", |s| {
        repainted(s, 60, &[Zone::Doors]);
        s.surface(Zone::Doors, Substrate::FreshPaint, &[]);
        s.package("P1", &[]);
    })
    .and(|p| assert!(p.questions.is_empty(), "{:?}", p.questions)),
    fires("R55", Adjust, "80 bar", "film set into the doors", |s| {
        s.surface(Zone::Doors, Substrate::ClearCoat, &[Substrate::ProtectionFilm])
    }),
    fires("R55", Adjust, "80 bar", "filmed doors", |s| s.surface(Zone::Doors, Substrate::FilmWrap, &[]))
        .and(|p| assert!(p.line("C03").cautions.iter().any(|c| c.contains("0.5 m")))),
    silent("R55", "no film", |_| {}),
    silent("R55", "a soft top has limits of its own", |s| {
        s.vehicle.class = VehicleClass::RoadsterSofttop;
        s.package("P1", &[]);
    })
    .and(|p| {
        let told = &p.line("B05").cautions;
        assert!(told.iter().any(|c| c.contains("at most 40 bar, at least 0.6 m away")), "{told:?}");
        assert!(p.line("I01").cautions.iter().all(|c| !c.contains("bar")));
    }),
    silent("R55", "acrylic windows take no warm water", |s| {
        s.surface(Zone::SideGlass, Substrate::AcrylicWindow, &[]);
        s.package("P1", &[]);
    })
    .and(|p| assert!(p.line("A05").cautions.iter().any(|c| c.contains("water at most 40 C")))),
    fires("R56", Adjust, "left out G04", "89.9 um", |s| cut(s, 89.9, 10.0)).and(|p| assert!(!p.has("G04"))),
    silent("R56", "90 um", |s| cut(s, 90.0, 25.0)).and(|p| assert!(p.has("G04"))),
    fires("R56", Adjust, "scatter 25 um", "readings 25.1 um apart", |s| cut(s, 130.0, 25.1)),
    asks("R56", "/extra_work/approved", "thin, and nobody agreed to refining", |s| {
        cut(s, 80.0, 10.0);
        s.extra_work.approved = None;
    }),
    fires("R56", Adjust, "left out G02 G03", "thin, and refining refused", |s| {
        cut(s, 80.0, 10.0);
        s.extra_work.approved = Some(false);
    }),
    asks("R56", "/vehicle/paint_thickness_um", "never measured", |s| {
        cut(s, 0.0, 10.0);
        s.vehicle.paint_thickness_um = None;
    }),
    asks("R56", "/vehicle/paint_scatter_um", "measured once", |s| {
        cut(s, 130.0, 0.0);
        s.vehicle.paint_scatter_um = None;
    }),
    fires("R57", Warn, "gives colour", "red single stage", |s| single_stage(s, Colour::Red)),
    fires("R57", Warn, "gives colour", "grey single stage", |s| single_stage(s, Colour::Grey)),
    asks("R57", "/inspection/colour_on_cloth", "white single stage that nobody wiped", |s| {
        single_stage(s, Colour::White)
    }),
    silent("R57", "white single stage, the cloth stays white", |s| {
        single_stage(s, Colour::White);
        s.inspection.colour_on_cloth = Some(false);
    })
    .and(|p| assert!(p.questions.is_empty(), "{:?}", p.questions)),
    fires("R57", Warn, "gives colour", "white single stage that bleeds", |s| {
        single_stage(s, Colour::White);
        s.inspection.colour_on_cloth = Some(true);
    }),
    fires("R57", Warn, "gives colour", "colour on the cloth", |s| s.inspection.colour_on_cloth = Some(true)),
    silent("R57", "red clear coat", |s| {
        s.vehicle.colour = Colour::Red;
        s.vehicle.class = VehicleClass::Sedan;
    }),
];

//! The week's sheet for paper: black and white, A4, plain HTML without scripts, pictures in it; every text is escaped.

mod figures;
mod groups;
mod over_time;
mod parts;

use super::ahead::Ahead;
use super::closing::SinceClosing;
use super::evidence::NormEvidence;
use super::sheet::Sheet;
use super::trends::Trends;
use crate::markup::escape;
use parts::{items, section};
use std::fmt::Write;

/// What stands on the page; parts that are absent are left out.
#[derive(Debug, Clone, Copy)]
pub struct PageInput<'a> {
    pub shop: &'a str,
    /// Instead of the days, for instance `week 13 of 2031`.
    pub heading: &'a str,
    pub sheet: &'a Sheet,
    pub trends: Option<&'a Trends>,
    pub ahead: Option<&'a Ahead>,
    pub norms: &'a [NormEvidence],
    pub since_closing: Option<&'a SinceClosing>,
}

/// The whole page as one HTML document.
pub fn sheet_page(input: &PageInput) -> String {
    let sheet = input.sheet;
    let mut html = String::new();
    let _ = write!(
        html,
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width\">\n<title>{} {}</title>\n<style>\n{STYLE}</style>\n\
         </head>\n<body>\n<header>\n<h1>{}: {}</h1>\n<p>{} to {}, read on {}</p>\n</header>\n<main>\n",
        escape(input.shop),
        escape(input.heading),
        escape(input.shop),
        escape(input.heading),
        sheet.from,
        sheet.to,
        sheet.as_of
    );
    section(&mut html, "caution", "Where these figures may mislead", &items(&sheet.cautions));
    if let Some(since) = input.since_closing {
        section(&mut html, "since", "Changed since the week was closed", &figures::since_closing(since));
    }
    section(&mut html, "figures", "The figures", &figures::measures(&sheet.measures));
    section(&mut html, "packages", "By package", &groups::groups(&sheet.packages));
    section(&mut html, "like", "Jobs alike", &groups::like_jobs(&sheet.like_jobs));
    section(&mut html, "crews", "Crews, by name", &groups::crews(sheet));
    section(&mut html, "steps", "Steps", &groups::steps(sheet));
    section(&mut html, "wear", "Clay, towels, stock", &groups::wear(sheet));
    if let Some(ahead) = input.ahead {
        section(&mut html, "ahead", "The week ahead", &over_time::look(ahead));
    }
    if let Some(trends) = input.trends {
        section(&mut html, "trends", "Week by week", &over_time::trends(trends));
    }
    section(&mut html, "norms", "What the minutes taught the planner", &over_time::norms(input.norms));
    let flaws: Vec<String> = sheet
        .flaws
        .iter()
        .map(|flaw| {
            format!("{} {}, {} of job {}: {}.", flaw.on, flaw.technician, flaw.step, flaw.job, flaw.text)
        })
        .collect();
    section(&mut html, "flaws", "Entries that do not count in full", &items(&flaws));
    section(&mut html, "reading", "How to read this", &items(&sheet.reading));
    html.push_str("</main>\n</body>\n</html>\n");
    html
}

const STYLE: &str = "@page { size: A4; margin: 12mm; }\n\
    html { font: 10pt/1.3 sans-serif; color: #000; background: #fff; }\n\
    body { margin: 0; }\n\
    h1 { font-size: 1.5em; margin: 0; }\n\
    h2 { font-size: 1.1em; margin: 5mm 0 1mm; border-top: 0.4mm solid #000; break-after: avoid; }\n\
    h3 { font-size: 1em; margin: 3mm 0 1mm; break-after: avoid; }\n\
    p, ul { margin: 0 0 1mm; }\n\
    ul { padding-left: 4mm; }\n\
    table { border-collapse: collapse; width: 100%; }\n\
    th, td { text-align: left; vertical-align: top; padding: 0.4mm 2mm 0.4mm 0; border-bottom: 0.1mm solid #000; }\n\
    thead { display: table-header-group; }\n\
    tr, figure { break-inside: avoid; }\n\
    td.n { white-space: nowrap; }\n\
    th p { font: 0.8em/1.2 sans-serif; }\n\
    small { font-size: 0.85em; }\n\
    figure { margin: 2mm 0; }\n\
    svg { width: 100%; max-width: 180mm; height: auto; }\n\
    @media screen { body { max-width: 186mm; margin: 5mm auto; padding: 0 5mm; } }\n";

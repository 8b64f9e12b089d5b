//! Pictures and the page.

use super::*;

/// Every tag that opens closes, in order; none of it is a script or reaches outside.
fn well_formed(markup: &str) {
    let mut open = Vec::new();
    for part in markup.split('<').skip(1) {
        let (tag, rest) = part.split_once('>').expect("a tag ends");
        assert!(!rest.contains('>'), "{rest}");
        let name = tag.split([' ', '\n']).next().unwrap_or_default();
        if let Some(name) = name.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(name), "in {part}");
        } else if !tag.ends_with('/') && !["!doctype", "meta"].contains(&name) {
            open.push(name.to_owned());
        }
    }
    assert!(open.is_empty(), "{open:?}");
    for banned in ["<script", "javascript:", "href", "NaN", "inf "] {
        assert!(!markup.contains(banned), "{banned}");
    }
}

#[test]
fn pictures_and_the_page_are_well_formed_black_and_white_and_say_what_they_show() {
    let experience = BTreeMap::new();
    let mut jobs = weeks_of(40, |week, n| 52.0 * wobble(week, n) * if week >= 25 { 1.2 } else { 1.0 });
    jobs.iter_mut().filter(|job| job.crew == "V2").for_each(|job| job.crew = "<b>V2 & \"co\"</b>".into());
    let trends = trends(&trend(&jobs, 40, &experience));
    let sheet = sheet(&SheetInput { to: day(279), as_of: day(300), ..input(&jobs, &[]) });
    let ahead = look_ahead(&ahead_input());
    let mut pictures: Vec<String> = trends.series.iter().map(individuals_svg).collect();
    pictures.extend(trends.series.iter().filter_map(ewma_svg));
    pictures.extend(sheet.comparisons.iter().map(funnel_svg));
    pictures.push(load_svg(&ahead));
    pictures.push(individuals_svg(&Series {
        points: Vec::new(),
        phases: Vec::new(),
        ..trends.series[0].clone()
    }));
    assert!(pictures.len() > 10);
    for picture in &pictures {
        well_formed(picture);
        assert!(
            picture.contains("<title id=")
                && picture.contains("<desc id=")
                && picture.contains("role=\"img\"")
        );
        let colours = picture.split('#').skip(1).map(|rest| rest.chars().take(3).collect::<String>());
        assert!(
            colours.filter(|c| c.chars().all(|x| x.is_ascii_hexdigit())).all(|c| c == "000" || c == "fff"),
            "{picture}"
        );
    }
    assert!(pictures[0].contains("change 2031-06-23"), "{}", pictures[0]);
    let page = sheet_page(&PageInput {
        shop: "Shine & Co",
        heading: "week 1 of 2031",
        sheet: &sheet,
        trends: Some(&trends),
        ahead: Some(&ahead),
        norms: &norm_evidence(&[cell(0, "Ada", 30, 0.8)], &[]),
        since_closing: None,
    });
    well_formed(&page);
    assert!(page.contains("@page { size: A4") && page.contains("Shine &amp; Co") && !page.contains("<b>V2"));
    for one in catalogue().iter().filter(|one| matches!(one.part, Part::Sheet | Part::Crews)) {
        assert!(page.contains(one.definition), "{}", one.name);
    }
}

//! Crews beside each other.

use super::*;

/// A crew that gets the large vans and the heavy cars is not slower for it.
#[test]
fn case_mix_is_no_slowness() {
    let mut jobs = Vec::new();
    for n in 0..40 {
        // V1 has three heavy vans of four jobs, V2 one of four; each kind takes everyone the same time.
        let (crew, heavy) = if n % 2 == 0 { ("V1", n % 8 != 0) } else { ("V2", n % 8 == 1) };
        let spread = [0.97, 1.0, 1.03][n % 3];
        let mut one = job(n, crew, day(0), 52.0 * spread);
        if heavy {
            one.class = VehicleClass::LargeVan;
            one.grade = Grade::HEAVY;
            one.minutes *= 3.0;
        }
        jobs.push(one);
    }
    let sheet = sheet(&input(&jobs, &[]));
    let raw = |crew: usize| value(measure(&sheet.crews[crew].measures, "person_minutes_per_weighted_m2"));
    assert!(raw(0) > 1.3 * raw(1), "the raw figure misleads: {} {}", raw(0), raw(1));
    for crew in &sheet.comparisons[0].crews {
        close(crew.shrunk, 1.0, 0.02);
        assert_eq!(crew.place, FunnelPlace::Within);
    }
    let said = sheet.cautions.join("\n");
    assert!(said.contains("V1 had 75 % jobs of grade 3 or 4, the shop 50 %"), "{said}");
}

#[test]
fn a_slow_crew_is_beyond_the_funnel_and_few_jobs_are_not_placed() {
    let slow = |crew: &str, n: usize| {
        let factor = if crew == "V3" { 1.5 } else { 1.0 };
        job(n, crew, day(0), 52.0 * factor * [0.9, 1.0, 1.1][n % 3])
    };
    let crews = ["V1", "V1", "V2", "V2", "V3"];
    let mut jobs: Vec<JobFigures> = (0..90).map(|n| slow(crews[n % 5], n)).collect();
    jobs.push(job(91, "V0", day(0), 300.0));
    let sheet = sheet(&input(&jobs, &[]));
    let time = &sheet.comparisons[0];
    let place: Vec<_> = time.crews.iter().map(|crew| (crew.crew.as_str(), crew.place)).collect();
    assert_eq!(place[0], ("V0", FunnelPlace::TooFew));
    assert_eq!(place[3], ("V3", FunnelPlace::Beyond998));
    assert!(matches!(time.crews[0].ratio, Shown::Range { .. }));
    // One job is drawn far towards the shop, eighteen hardly.
    let Shown::Range { low, .. } = time.crews[0].ratio else { panic!("a range") };
    assert!(time.crews[0].shrunk.ln() < low.ln() / 3.0);
    assert!(time.crews[3].shrunk > 1.2);
    assert!(sheet.cautions.iter().any(|text| text.contains("V3") && text.contains("ask why before judging")));
    // By name, whatever the figures say.
    assert!(time.crews.is_sorted_by(|a, b| a.crew < b.crew));
}

#[test]
fn rare_events_are_shrunk_towards_the_shop() {
    let mut jobs: Vec<JobFigures> = (0..200).map(|n| job(n, ["V1", "V2"][n % 2], day(0), 52.0)).collect();
    jobs.extend((200..208).map(|n| job(n, "V3", day(0), 52.0)));
    for at in [0, 1, 2, 3, 4, 5, 6, 7, 200, 201] {
        jobs[at].business.reworked_after_days = Some(3);
    }
    let sheet = sheet(&input(&jobs, &[]));
    let rework = sheet.comparisons.iter().find(|one| one.name == "rework_index").expect("the comparison");
    let v3 = &rework.crews[2];
    // 2 of 8 where 10 of 208 are usual: 5.2 times as many, and still hardly to be told from chance.
    close(v3.size, 8.0 * 10.0 / 208.0, 1e-12);
    let Shown::Number { value, low: Some(low), high: Some(high) } = v3.ratio else { panic!("{v3:?}") };
    close(value, 5.2, 1e-9);
    assert!(low < 1.0 && high > 10.0);
    assert!(v3.shrunk > 1.0 && v3.shrunk < value / 1.5, "{v3:?}");
}

/// Thirty jobs of each crew, slower or faster than the shop by its own factor.
fn crews_of(factors: &[f64]) -> Vec<JobFigures> {
    let of_crew = |crew: usize, factor: f64| {
        (0..30).map(move |n| {
            job(crew * 30 + n, &format!("V{crew}"), day(0), 52.0 * factor * [0.9, 1.0, 1.1][n % 3])
        })
    };
    factors.iter().enumerate().flat_map(|(crew, factor)| of_crew(crew, *factor)).collect()
}

/// Where crews differ a little everywhere, chance alone would put nearly all of them outside. The spread between crews,
/// by numpy from the formulas of Spiegelhalter 2005 and DerSimonian and Laird 1986: 0.087766 and 0.150980.
#[test]
fn a_difference_that_is_usual_between_crews_is_no_alarm() {
    let time = compare_crews(&crews_of(&[0.85, 0.92, 1.0, 1.0, 1.08, 1.15]), day(30)).remove(0);
    close(time.between_crews, 0.087766, 1e-6);
    assert!(time.crews.iter().all(|crew| crew.place == FunnelPlace::Within), "{:?}", time.crews);
    assert!(time.cautions[0].starts_with("Crews differ by about 9 % beyond chance"), "{:?}", time.cautions);
    // The limit of thirty jobs is 1.96 times the root of both variances.
    let limit = time.funnel.iter().find(|limit| limit.size > 30.0).expect("a limit");
    close(
        limit.high_95.ln(),
        1.959964 * (0.083359_f64.powi(2) / limit.size + 0.087766_f64.powi(2)).sqrt(),
        1e-5,
    );
    // One that is far from all others is outside all the same.
    let factors = [0.85, 0.92, 0.97, 1.0, 1.03, 1.08, 1.15, 2.2];
    let time = compare_crews(&crews_of(&factors), day(30)).remove(0);
    close(time.between_crews, 0.150980, 1e-6);
    let places: Vec<FunnelPlace> = time.crews.iter().map(|crew| crew.place).collect();
    assert_eq!(places[7], FunnelPlace::Beyond998);
    assert!(places[..7].iter().all(|place| *place == FunnelPlace::Within), "{places:?}");
    assert!(
        time.crews[7].text.ends_with("than chance and what usually differs take it; ask why before judging.")
    );
}

#[test]
fn of_few_crews_the_limits_are_those_of_chance_and_it_is_said() {
    let time = compare_crews(&crews_of(&[0.92, 1.0, 1.0, 1.08]), day(30)).remove(0);
    assert_eq!(time.between_crews, 0.0);
    assert_eq!(time.crews[0].place, FunnelPlace::Beyond998);
    assert!(time.cautions[0].contains("can be told from 5 on"), "{:?}", time.cautions);
}

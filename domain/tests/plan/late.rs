use crate::scene::quiet;
#[test]
fn show() {
    let p = quiet().plan();
    for n in &p.notices { println!("{:?} {} {} {:?}", n.severity, n.rule, n.text, n.steps); }
    for q in &p.questions { println!("{q:?}"); }
    for l in &p.lines { println!("{} {} {:.1} {:.1} {:?}", l.step, l.name, l.begin_min, l.end_min, l.dwell); for r in &l.reasons { println!("      {} {}", r.id, r.text);} }
    panic!();
}

//! Where no sun is given the sky counts as clear, and as hazy as the site says.

use crate::scene::{Ask, Scene, quiet};

/// The hottest panel that iron remover meets on a clear day.
fn panel_c(turbidity: Option<f64>) -> f64 {
    let mut scene: Scene = quiet();
    scene.leave_at_home(&["awning"]);
    scene.each_hour(|h| h.sun_w_m2 = None);
    scene.site.turbidity = turbidity;
    scene.plan().line("D03").dwell.as_ref().unwrap().panel_c.unwrap()
}

/// Clear skies are Haurwitz's without haze and Ineichen's with it (SUN-20 to SUN-38).
#[test]
fn haze_keeps_panels_cooler() {
    let (clean, usual, smog) = (panel_c(Some(2.0)), panel_c(Some(3.0)), panel_c(Some(9.0)));
    assert!(smog + 3.0 < usual && usual < clean, "{smog} {usual} {clean}");
    // Both models of the usual sky agree to a few watts (SUN-23 and SUN-33).
    assert!((panel_c(None) - usual).abs() < 3.0, "{}", panel_c(None));
}

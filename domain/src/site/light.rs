//! Sunlight: clear sky, the split into beam and diffuse, and what reaches a tilted face. All in W/m².

use super::air::{STANDARD_PRESSURE_PA, pressure_at_pa};
use super::sun::Sun;

/// Share of sunlight the ground throws back (usual default; light concrete gives more, wet asphalt less).
pub const GROUND_ALBEDO: f64 = 0.2;
/// Sunlight at one moment, W/m².
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Irradiance {
    /// Global, on the horizontal.
    pub global_w_m2: f64,
    /// Direct, on a surface facing the sun.
    pub beam_w_m2: f64,
    /// Diffuse, on the horizontal.
    pub diffuse_w_m2: f64,
}

/// Clear sky: Ineichen when the turbidity is known, else Haurwitz split by Erbs.
pub fn clear_sky(sun: &Sun, elevation_m: f64, turbidity: Option<f64>) -> Irradiance {
    match turbidity {
        Some(turbidity) => {
            let pressure_pa = pressure_at_pa(elevation_m);
            ineichen(sun.zenith_deg, turbidity, elevation_m, pressure_pa, sun.outside_w_m2)
        }
        None => split_global(haurwitz_w_m2(sun.zenith_deg), sun),
    }
}

/// Global clear-sky irradiance from the zenith angle alone (Haurwitz 1945, Journal of Meteorology 2:154).
pub fn haurwitz_w_m2(zenith_deg: f64) -> f64 {
    let cos_z = zenith_deg.to_radians().cos();
    if cos_z > 0.0 { 1098.0 * cos_z * (-0.059 / cos_z).exp() } else { 0.0 }
}

/// Clear sky with turbidity (Ineichen and Perez 2002, Solar Energy 73:151). `outside_w_m2` is the irradiance on a
/// surface facing the sun outside the atmosphere; no light at or below the horizon.
pub fn ineichen(
    zenith_deg: f64,
    turbidity: f64,
    elevation_m: f64,
    pressure_pa: f64,
    outside_w_m2: f64,
) -> Irradiance {
    let cos_z = zenith_deg.to_radians().cos();
    if cos_z <= 0.0 {
        return Irradiance { global_w_m2: 0.0, beam_w_m2: 0.0, diffuse_w_m2: 0.0 };
    }
    let air_mass = air_mass(zenith_deg) * pressure_pa / STANDARD_PRESSURE_PA;
    let (fh1, fh2) = ((-elevation_m / 8000.0).exp(), (-elevation_m / 1250.0).exp());
    let (cg1, cg2) = (5.09e-5 * elevation_m + 0.868, 3.92e-5 * elevation_m + 0.0387);
    let clearness = (-cg2 * air_mass * (fh1 + fh2 * (turbidity - 1.0))).exp();
    let global_w_m2 = cg1 * outside_w_m2 * cos_z * clearness;
    let beam = outside_w_m2 * (0.664 + 0.163 / fh1) * (-0.09 * air_mass * (turbidity - 1.0)).exp();
    let most = global_w_m2 * (1.0 - (0.1 - 0.2 * (-turbidity).exp()) / (0.1 + 0.882 / fh1)) / cos_z;
    let beam_w_m2 = beam.min(most.max(0.0));
    Irradiance { global_w_m2, beam_w_m2, diffuse_w_m2: global_w_m2 - beam_w_m2 * cos_z }
}

/// Relative optical air mass (Kasten and Young 1989, Applied Optics 28:4735); zenith below 90 degrees.
fn air_mass(zenith_deg: f64) -> f64 {
    1.0 / (zenith_deg.to_radians().cos() + 0.50572 * (96.07995 - zenith_deg).powf(-1.6364))
}

/// Splits global irradiance into beam and diffuse (Erbs, Klein and Duffie 1982, Solar Energy 28:293).
///
/// Beyond 87 degrees of zenith all light counts as diffuse, and the beam never exceeds what arrives outside the
/// atmosphere: a figure averaged over an hour can claim the impossible near sunset.
pub fn split_global(global_w_m2: f64, sun: &Sun) -> Irradiance {
    const LOWEST_COS: f64 = 0.065;
    const LAST_ZENITH_DEG: f64 = 87.0;
    let cos_z = sun.zenith_deg.to_radians().cos();
    let clearness = (global_w_m2 / (sun.outside_w_m2 * cos_z.max(LOWEST_COS))).clamp(0.0, 1.0);
    let beam = if sun.zenith_deg > LAST_ZENITH_DEG {
        0.0
    } else {
        (global_w_m2 * (1.0 - erbs_diffuse_share(clearness)) / cos_z).clamp(0.0, sun.outside_w_m2)
    };
    Irradiance { global_w_m2, beam_w_m2: beam, diffuse_w_m2: global_w_m2 - beam * cos_z.max(0.0) }
}

fn erbs_diffuse_share(kt: f64) -> f64 {
    if kt <= 0.22 {
        1.0 - 0.09 * kt
    } else if kt <= 0.8 {
        0.9511 - 0.1604 * kt + 4.388 * kt.powi(2) - 16.638 * kt.powi(3) + 12.336 * kt.powi(4)
    } else {
        0.165
    }
}

/// Light on a tilted surface under an isotropic sky (Liu and Jordan 1963), W/m².
pub fn plane_of_array_w_m2(light: &Irradiance, cos_incidence: f64, tilt_deg: f64, albedo: f64) -> f64 {
    let cos_t = tilt_deg.to_radians().cos();
    light.beam_w_m2 * cos_incidence.max(0.0)
        + light.diffuse_w_m2 * 0.5 * (1.0 + cos_t)
        + light.global_w_m2 * albedo * 0.5 * (1.0 - cos_t)
}

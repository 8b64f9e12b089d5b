use super::*;

/// Sizes of the trade's tables (common practice).
#[test]
fn every_built_in_table_is_read_whole() {
    let h = Handbook::standard();
    assert_eq!((h.steps.len(), h.precedence.len(), h.rules.len(), h.product_classes.len()), (68, 78, 70, 40));
    assert_eq!(
        (h.substrates.len(), h.contaminants.len(), h.packages.len(), h.vehicle_classes.len()),
        (24, 18, 9, 8)
    );
    assert_eq!((h.zones.len(), h.protections.len(), h.exposures.len(), h.mixing.len()), (163, 14, 12, 13));
    assert_eq!(h.rule("R10").and_then(|r| r.parameter("gust_m_s")), Some(11.0));
    assert_eq!(
        h.substrate(Substrate::SingleStage).map(|s| s.forbids_products[0].condition.as_deref()),
        Some(Some("aged"))
    );
}

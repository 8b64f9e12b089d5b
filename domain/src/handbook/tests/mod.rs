mod faults;
mod overrides;

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

#[test]
fn the_built_in_tables_have_no_fault() {
    assert_eq!(validate(Handbook::standard()), vec![]);
}

/// Everything switched on, without the strip wash, the rinseless wash and the drying aid (common practice).
#[test]
fn the_golden_order_comes_out() {
    let golden = "A01 A02 A03 A04 A05 A06 A07 B01 B03 B04 B02 B05 B06 B07 B08 B11 B12 B09 B10 C01 C06 C02 C03 C04 \
                  D01 D06 D09 D10 D12 D03 D04 E06 E01 D05 E02 D07 D11 E03 E05 D14 F01 F02 F04 F05 G01 G02 G04 G03 \
                  G05 H01 H02 H03 H04 H05 H06 H07 H08 H09 H10 I01 I02 I03 I04 I05 I06";
    let handbook = Handbook::standard();
    let all: Vec<&str> = handbook.steps.iter().map(|step| step.id.as_str()).collect();
    let wanted: Vec<&str> =
        all.iter().rev().copied().filter(|id| !["C05", "D13", "F03"].contains(id)).collect();
    let order = golden_order(handbook, &wanted).map(|order| order.join(" "));
    assert_eq!(order.as_deref(), Ok(golden));
}

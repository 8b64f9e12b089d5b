//! The sheet as a table for a spreadsheet (RFC 4180).

use crate::upkeep::table::harmless;
use domain::throughput::{Group, Measure, Sheet, Shown, StepFigures};

const COLUMNS: [&str; 22] = [
    "part",
    "package",
    "class",
    "grade_band",
    "crew",
    "hot",
    "step",
    "technician",
    "measure",
    "unit",
    "shown",
    "value",
    "low",
    "high",
    "median",
    "norm",
    "count",
    "counted",
    "numerator",
    "denominator",
    "denominator_unit",
    "text",
];

/// A row by the names of its columns; what is not named stays empty.
struct Row(Vec<(&'static str, String)>);

impl Row {
    fn of(part: &'static str) -> Row {
        Row(vec![("part", part.to_owned())])
    }

    fn text(mut self, column: &'static str, text: impl AsRef<str>) -> Row {
        self.0.push((column, harmless(text.as_ref().to_owned())));
        self
    }

    fn number(mut self, column: &'static str, number: impl Into<Option<f64>>) -> Row {
        if let Some(number) = number.into() {
            self.0.push((column, number.to_string()));
        }
        self
    }

    fn shown(self, shown: &Shown) -> Row {
        match shown {
            Shown::Number { value, low, high } => {
                self.text("shown", "number").number("value", *value).number("low", *low).number("high", *high)
            }
            Shown::Range { low, high } => {
                self.text("shown", "range").number("low", *low).number("high", *high)
            }
            Shown::NoData { reason } => self.text("shown", "no_data").text("text", reason),
        }
    }

    fn cells(&self) -> [&str; 22] {
        COLUMNS.map(|column| {
            self.0.iter().find(|(name, _)| *name == column).map_or("", |(_, cell)| cell.as_str())
        })
    }
}

/// The whole sheet, one figure a row: numbers with a point, lines ended with CR LF, the header first.
pub fn sheet_csv(sheet: &Sheet) -> Result<String, csv::Error> {
    let mut rows: Vec<Row> = sheet.measures.iter().map(|m| measure(Row::of("shop"), m)).collect();
    for (part, groups) in
        [("package", &sheet.packages), ("like_jobs", &sheet.like_jobs), ("crew", &sheet.crews)]
    {
        rows.extend(groups.iter().flat_map(|g| g.measures.iter().map(move |m| measure(group(part, g), m))));
    }
    rows.extend(sheet.steps.iter().flat_map(step));
    rows.extend(sheet.wear.iter().map(|wear| {
        Row::of("wear")
            .text("measure", &wear.item)
            .text("unit", &wear.unit)
            .number("value", wear.used)
            .number("norm", wear.left)
            .number("count", wear.jobs as f64)
            .text("counted", "jobs")
            .number("numerator", wear.used)
            .number("denominator", wear.jobs as f64)
            .text("denominator_unit", "jobs")
            .text("text", "value is what was used, norm what is left")
    }));
    rows.extend(sheet.flaws.iter().map(|flaw| {
        Row::of("flaw")
            .text("step", &flaw.step)
            .text("technician", &flaw.technician)
            .text("text", format!("{}: {}", flaw.on, flaw.text))
    }));
    rows.extend(sheet.cautions.iter().map(|caution| Row::of("caution").text("text", caution)));
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    for row in &rows {
        writer.write_record(row.cells())?;
    }
    let bytes = writer.into_inner().map_err(|e| e.into_error())?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn group(part: &'static str, group: &Group) -> Row {
    let mut row = Row::of(part);
    for (column, text) in [("package", &group.package), ("crew", &group.crew)] {
        if let Some(text) = text {
            row = row.text(column, text);
        }
    }
    if let Some(class) = group.class {
        row = row.text("class", word(&class));
    }
    if let Some(band) = group.grade_band {
        row = row.text("grade_band", band.name());
    }
    match group.hot {
        Some(hot) => row.text("hot", if hot { "yes" } else { "no" }),
        None => row,
    }
}

fn measure(row: Row, measure: &Measure) -> Row {
    row.text("measure", &measure.name)
        .text("unit", &measure.unit)
        .shown(&measure.shown)
        .number("median", measure.median)
        .number("norm", measure.norm)
        .number("count", measure.count as f64)
        .text("counted", &measure.counted)
        .number("numerator", measure.numerator)
        .number("denominator", measure.denominator)
        .text("denominator_unit", &measure.denominator_unit)
}

fn step(figures: &StepFigures) -> [Row; 3] {
    let row = |name: &str, count: i64, shown: &Shown| {
        Row::of("step")
            .text("step", &figures.step)
            .text("technician", figures.technician.as_deref().unwrap_or(""))
            .text("measure", name)
            .shown(shown)
            .number("count", count as f64)
            .text("counted", "steps")
    };
    [
        row("actual_to_planned", figures.planned, &figures.plan_error),
        row("first_pass_rate", figures.steps, &figures.first_pass_rate),
        row("loops_per_step", figures.steps, &figures.loops_per_step),
    ]
}

fn word(value: &impl serde::Serialize) -> String {
    serde_json::to_value(value).ok().and_then(|v| v.as_str().map(str::to_owned)).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_formula_becomes_a_text_and_a_number_stays_one() {
        let row = Row::of("shop").number("value", -1.5).text("text", "-x");
        assert_eq!((row.cells()[11], row.cells()[21]), ("-1.5", "'-x"));
    }
}

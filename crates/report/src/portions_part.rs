//! Weighed portions in the annex: how many, how heavy, what each showed, how they scatter and how many would be needed.

use darkline_evaluation::outcome::RunOutcome;
use darkline_evaluation::solids::SolidOutcome;

use crate::printed::significant;
use crate::test_report::PortionsLine;

/// One line for each row of weighed portions of a run.
pub(crate) fn lines(run: &RunOutcome) -> impl Iterator<Item = PortionsLine> + '_ {
    run.solids.iter().map(line)
}

fn line(solid: &SolidOutcome) -> PortionsLine {
    let masses = solid.portions.iter().map(|portion| portion.mass_mg);
    let (least, most) = masses.fold((f64::INFINITY, 0.0_f64), |(least, most), mass| (least.min(mass), most.max(mass)));
    let figure =
        |value: Option<f64>, unit: &str| value.map_or_else(String::new, |v| format!("{} {unit}", significant(v, 3)));
    PortionsLine {
        of: format!("{}, row {}", solid.name, solid.row),
        masses: match solid.portions.len() {
            0 => String::new(),
            1 => format!("{least:.3} mg"),
            _ => format!("{least:.3} to {most:.3} mg"),
        },
        found: solid
            .portions
            .iter()
            .map(|portion| significant(portion.mass_fraction, 3))
            .collect::<Vec<String>>()
            .join(", "),
        mean: format!("{} {}", significant(solid.mean, 3), solid.unit),
        scatter: figure(solid.rsd_percent, "%"),
        homogeneity: figure(solid.homogeneity_factor, "% √mg"),
        needed: solid.portions_needed.map_or_else(String::new, |n| n.to_string()),
    }
}

//! The handbook pack: the checks that its files allow, through the handbook of the program and the functions below it.

use darkline_handbook::Handbook;
use darkline_signal::roll_over::NetCurve;

use crate::answer::Found;
use crate::case_file::Node;
use crate::comparison::{self, Comparing, Tolerance};
use crate::pack;
use crate::qualification::Ran;
use crate::stop::{Stop, no_value, refused};

type Computed = Result<Found, Stop>;

/// What computes a kind, and the keys that are expected.
type Runner = (fn(&Node<'_>) -> Computed, &'static [&'static str]);

fn runner(kind: &str) -> Option<Runner> {
    Some(match kind {
        "stock" => (stock, &["concentration_mg_l_recomputed", "exact_mass_g_recomputed"]),
        "rollover" => (roll_over, &["absorbance_at_maximum", "rollover_absorbance"]),
        "element" => (element, &["atomic_weight", "atomic_number", "name"]),
        _ => return None,
    })
}

/// Whether a kind belongs to this pack.
pub(crate) fn knows(kind: &str) -> bool {
    runner(kind).is_some()
}

/// Runs a row: what is recomputed in it, to the digits it is written with.
pub(crate) fn run(name: &str, kind: &str, case: Node<'_>) -> Ran {
    let Some((compute, keys)) = runner(kind) else { return Ok(None) };
    let found = pack::settled(compute(&case))?;
    let found = |key: &str| found(key);
    let mut comparing = Comparing::new(name, &found);
    for key in keys.iter().filter_map(|key| case.get(key)) {
        match key.number() {
            Ok(_) => comparing.figure(&key, comparison::of_printed(key.written()))?,
            Err(_) => comparing.key(&key, Tolerance::Exact)?,
        }
    }
    Ok(Some(comparing.comparisons))
}

/// Concentration = mass × purity/factor/volume, and the mass that gives 1000 mg/L.
fn stock(case: &Node<'_>) -> Computed {
    let mass = case.number_of("printed_mass_g")?;
    let (volume, factor) = (case.number_of("final_volume_l")?, case.number_of("factor")?);
    let purity = case.number_or("purity", 1.0)?;
    let mut found = Found::new();
    found.put("concentration_mg_l_recomputed", 1000.0 * mass * purity / factor / volume);
    found.put("exact_mass_g_recomputed", factor * volume / purity);
    // The recipe of the handbook, where it is the same one.
    let shipped = Handbook::shipped().stocks().iter().find(|stock| {
        stock.symbol == case.text_or_none("symbol")
            && stock.compound == case.text_or_none("compound")
            && stock.printed_mass_g == mass
    });
    if let Some(stock) = shipped {
        found.put("concentration_mg_l_recomputed", stock.mass_concentration_mg_l());
    }
    Ok(found)
}

/// Where the net curve of a stray fraction and a sensitivity ratio turns.
fn roll_over(case: &Node<'_>) -> Computed {
    let curve =
        NetCurve { stray_fraction: case.number_of("alpha")?, sensitivity_ratio: case.number_of("sensitivity_ratio")? };
    let top = curve.roll_over().ok_or_else(|| no_value("the roll-over"))?;
    let mut found = Found::new();
    found.put("absorbance_at_maximum", top.true_absorbance);
    found.put("rollover_absorbance", top.net);
    Ok(found)
}

/// An element as the handbook of the program has it.
fn element(case: &Node<'_>) -> Computed {
    let symbol = case.text_of("symbol")?;
    let element = Handbook::shipped().element(symbol).map_err(|_| refused(format!("the handbook has no {symbol}")))?;
    let mut found = Found::new();
    found.put("atomic_weight", element.atomic_weight);
    found.put("atomic_number", u32::from(element.atomic_number));
    found.put("name", element.name.as_str());
    Ok(found)
}

//! Stock solutions: what a mass of metal, oxide or salt gives, by the atomic weights that ship with the program.
//!
//! Each atomic weight is one source, so that the analyte in the numerator and in the molar mass below it move together.

use std::collections::BTreeMap;

use darkline_metrology::kind::{Factor, Kind, Mass, MassConcentration, Volume};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{Shape, Source, SourceId};
use darkline_metrology::type_b::Stated;

use super::Computed;
use crate::answer::Found;
use crate::case_file::{CaseFile, Node};
use crate::shipped;
use crate::stop::{Stop, no_value, refused};

/// The standard atomic weights of 2021, T. Prohaska and others, Pure Appl. Chem. 94 (2022) 573-600.
const WEIGHTS: &str = "uncertainty/atomic-weights-2021.toml";

/// Atomic weights as inputs of a model, g/mol.
struct Chemistry<'m> {
    model: &'m Model,
    weights: BTreeMap<String, Term<'m, Factor>>,
}

/// The value and the spread of each atomic weight.
fn weights() -> Result<BTreeMap<String, (f64, String)>, Stop> {
    let source = shipped::sources().into_iter().find(|source| source.name == WEIGHTS);
    let source = source.ok_or_else(|| refused("no atomic weights ship with the program"))?;
    let file = CaseFile::read(source.name, source.text)?;
    let mut weights = BTreeMap::new();
    for item in file.root().list_of("item")? {
        let spread = item.text_of("spread")?.to_owned();
        weights.insert(item.text_of("symbol")?.to_owned(), (item.number_of("value")?, spread));
    }
    Ok(weights)
}

impl<'m> Chemistry<'m> {
    /// The standard atomic weights, each rectangular within its interval or decisional uncertainty.
    fn of(model: &'m Model) -> Result<Self, Stop> {
        let mut terms = BTreeMap::new();
        for (symbol, (value, written)) in weights()? {
            let u = spread(&written).and_then(|spread| spread.u()).unwrap_or(0.0);
            let source = Source::shaped(SourceId::new(format!("atomic weight/{symbol}")), u, Shape::Rectangular);
            terms.insert(symbol, model.input(Factor::from_si(value), &[source]));
        }
        Ok(Self { model, weights: terms })
    }

    fn exact(&self, value: f64) -> Term<'m, Factor> {
        self.model.exact(Factor::from_si(value))
    }

    fn weight(&self, symbol: &str) -> Result<Term<'m, Factor>, Stop> {
        self.weights.get(symbol).copied().ok_or_else(|| refused(format!("no atomic weight of {symbol} is on file")))
    }

    /// The molar mass of a formula, g/mol.
    fn molar_mass(&self, formula: &Node<'_>) -> Result<Term<'m, Factor>, Stop> {
        let parts = atoms_of(formula)?
            .iter()
            .map(|(symbol, n)| Ok(self.exact(*n) * self.weight(symbol)?))
            .collect::<Result<Vec<_>, Stop>>()?;
        Ok(self.model.sum(&parts))
    }

    /// The gravimetric factor: mass of analyte in a mass of the compound.
    fn factor(&self, analyte: &str, formula: &Node<'_>) -> Result<Term<'m, Factor>, Stop> {
        let atoms = atoms_of(formula)?;
        let n = atoms.get(analyte).ok_or_else(|| formula.fault(format!("{} holds no {analyte}", formula.written())))?;
        Ok(self.exact(*n) * self.weight(analyte)? / self.molar_mass(formula)?)
    }
}

fn atoms_of(formula: &Node<'_>) -> Result<BTreeMap<String, f64>, Stop> {
    let text = formula.text()?;
    atoms(text).ok_or_else(|| formula.fault(format!("{text} is no chemical formula")).into())
}

/// A spread such as `[206.14, 207.94]` or `0.004`.
fn spread(written: &str) -> Option<Stated> {
    match written.strip_prefix('[').and_then(|rest| rest.strip_suffix(']')) {
        Some(interval) => {
            let (lower, upper) = interval.split_once(',')?;
            Some(Stated::RectangularLimits { lower: lower.trim().parse().ok()?, upper: upper.trim().parse().ok()? })
        }
        None => Some(Stated::Rectangular { half_width: written.trim().parse().ok()? }),
    }
}

/// How many atoms of each element a formula has: brackets, and hydrate parts with their number after a dot.
fn atoms(formula: &str) -> Option<BTreeMap<String, f64>> {
    let mut found = BTreeMap::new();
    let mut rest = formula;
    loop {
        let (number, after) = leading_number(rest);
        let length = after.find('.').unwrap_or(after.len());
        add_part(&after[..length], number.unwrap_or(1.0), 0, &mut found)?;
        match after[length..].strip_prefix('.') {
            Some(more) => rest = more,
            None => return (!found.is_empty()).then_some(found),
        }
    }
}

/// A number at the start, such as the `0.5` of `0.5H2O`, and what follows.
fn leading_number(text: &str) -> (Option<f64>, &str) {
    let end = text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
    match text[..end].parse() {
        Ok(number) => (Some(number), &text[end..]),
        Err(_) => (None, text),
    }
}

/// Brackets within brackets are read so far.
const DEEPEST: usize = 20;

fn add_part(part: &str, times: f64, depth: usize, found: &mut BTreeMap<String, f64>) -> Option<()> {
    if depth > DEEPEST {
        return None;
    }
    let mut rest = part;
    while let Some(first) = rest.chars().next() {
        let (inside, after) = if first == '(' {
            let end = closing(rest)?;
            (Some(&rest[1..end]), &rest[end + 1..])
        } else if first.is_ascii_uppercase() {
            let end = rest[1..].find(|c: char| !c.is_ascii_lowercase()).map_or(rest.len(), |end| end + 1);
            (None, &rest[end..])
        } else {
            return None;
        };
        let digits = after.find(|c: char| !c.is_ascii_digit()).unwrap_or(after.len());
        let n = times * if digits == 0 { 1.0 } else { after[..digits].parse().ok()? };
        match inside {
            Some(inside) => add_part(inside, n, depth + 1, found)?,
            None => *found.entry(rest[..rest.len() - after.len()].to_owned()).or_insert(0.0) += n,
        }
        rest = &after[digits..];
    }
    Some(())
}

/// Where the bracket closes that the text opens with.
fn closing(text: &str) -> Option<usize> {
    let mut depth = 0_usize;
    text.char_indices().find_map(|(at, c)| {
        match c {
            '(' => depth += 1,
            ')' => depth = depth.checked_sub(1)?,
            _ => {}
        }
        (depth == 0).then_some(at)
    })
}

/// The content of a compound in what is weighed, `purity` or `P`.
fn purity(item: &Node<'_>) -> Result<f64, Stop> {
    Ok(item.number_or("purity", item.number_or("P", 1.0)?)?)
}

/// The weight on file, and its spread.
pub(super) fn atomic_weight(_: Node<'_>, item: Node<'_>) -> Computed {
    let symbol = item.text_of("symbol")?;
    let weights = weights()?;
    let known = weights.get(symbol).map(|(value, _)| *value);
    let mut found = Found::new();
    found.put_or("value", known.ok_or_else(|| format!("no atomic weight of {symbol} is on file")));
    Ok(found)
}

/// Molar mass, gravimetric factor, and the mass for a volume of a concentration: 1 L of 1000 mg/L where none is stated.
pub(super) fn gravimetric(_: Node<'_>, item: Node<'_>) -> Computed {
    let (analyte, formula) = (item.text_of("analyte")?, item.need("formula")?);
    let model = Model::new();
    let chemistry = Chemistry::of(&model)?;
    let factor = chemistry.factor(analyte, &formula)?;
    let gram = Mass::unit("g").ok_or_else(|| refused("g is no unit here"))?;
    let purity = model.exact(Factor::from_si(purity(&item)?));
    let wanted = 1e-6 * item.number_or("volume_mL", 1000.0)? * item.number_or("nominal_mg_L", 1000.0)?;
    let mass = model.exact(gram.of(wanted)) / (factor * purity);
    let mut found = Found::new();
    found.put("M", chemistry.molar_mass(&formula)?.value().si());
    found.put("factor", factor.value().si());
    found.put("mass_g", gram.read(mass.value()));
    Ok(found)
}

/// The concentration that a printed mass gives, after the dilutions that follow.
pub(super) fn stock(_: Node<'_>, item: Node<'_>) -> Computed {
    let gram = Mass::unit("g").ok_or_else(|| refused("g is no unit here"))?;
    let millilitre = Volume::unit("mL").ok_or_else(|| refused("mL is no unit here"))?;
    let milligram_per_litre = MassConcentration::unit("mg/L").ok_or_else(|| refused("mg/L is no unit here"))?;
    let model = Model::new();
    let chemistry = Chemistry::of(&model)?;
    let volume = |figure: f64| model.exact(millilitre.of(figure));
    let weighed = model.exact(gram.of(item.number_of("mass_g")?));
    let content = chemistry.factor(item.text_of("analyte")?, &item.need("formula")?)?;
    let purity = model.exact(Factor::from_si(purity(&item)?));
    let mut concentration = weighed * content * purity / volume(item.number_of("volume_mL")?);
    for step in item.list_or_none("dilution")? {
        let [aliquot, made_up_to] = step.numbers()?[..] else {
            return Err(step.fault("a step is an aliquot and a final volume").into());
        };
        concentration = concentration * (volume(aliquot) / volume(made_up_to));
    }
    let mut found = Found::new();
    found.put("nominal_mg_L", milligram_per_litre.read(concentration.value()));
    Ok(found)
}

/// A gravimetric factor when an atomic weight is an interval: lead in lead nitrate where no other salt is named.
pub(super) fn interval(case: Node<'_>) -> Computed {
    let data = case.need("data")?;
    let (low, high) = (data.number_of("A_low")?, data.number_of("A_high")?);
    let u_a = Stated::RectangularLimits { lower: low, upper: high }.u().ok_or_else(|| no_value("u of the interval"))?;
    let analyte = data.get("analyte").map_or(Ok("Pb"), |analyte| analyte.text())?;
    let named = match data.get("formula") {
        Some(formula) => atoms_of(&formula)?,
        None => atoms("Pb(NO3)2").ok_or_else(|| refused("no formula"))?,
    };
    let factor = |a: f64| -> Result<_, Stop> {
        let model = Model::new();
        let source = Source::shaped(SourceId::new("atomic weight"), u_a, Shape::Rectangular);
        let weight = model.input(Factor::from_si(a), &[source]);
        let chemistry = Chemistry::of(&model)?;
        let mut parts = Vec::new();
        let mut of_analyte = None;
        for (symbol, n) in &named {
            // The other elements count as exact here.
            let term = if symbol == analyte {
                let term = chemistry.exact(*n) * weight;
                of_analyte = Some(term);
                term
            } else {
                chemistry.exact(*n * chemistry.weight(symbol)?.value().si())
            };
            parts.push(term);
        }
        let of_analyte = of_analyte.ok_or_else(|| refused(format!("the formula holds no {analyte}")))?;
        Ok(model.first_order(of_analyte / model.sum(&parts)))
    };
    let conventional = factor(data.number_of("A_conventional")?)?;
    let (f_low, f_high) = (factor(low)?.value.si(), factor(high)?.value.si());
    let mut found = Found::new();
    found.put("F_low", f_low);
    found.put("F_high", f_high);
    found.put("F_conventional", conventional.value.si());
    found.put("u_A", u_a);
    found.put("u_rel_F", conventional.u() / conventional.value.si());
    found.put("mass_g_low", 1.0 / f_high);
    found.put("mass_g_high", 1.0 / f_low);
    found.put("mass_g_conventional", 1.0 / conventional.value.si());
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_read_with_brackets_and_hydrate_parts() {
        let expected = [("C", 4.0), ("H", 5.0), ("K", 1.0), ("O", 7.5), ("Sb", 1.0)];
        let expected: BTreeMap<String, f64> = expected.map(|(symbol, n)| (symbol.to_owned(), n)).into();
        assert_eq!(atoms("K(SbO)C4H4O6.0.5H2O"), Some(expected));
        assert_eq!(atoms("(CdSO4)3.8H2O").unwrap()["O"], 20.0);
        assert_eq!(atoms("FeNH4(SO4)2.12H2O").unwrap()["H"], 28.0);
        assert_eq!(atoms("Al2(SO4(H2O)2)3").unwrap()["H"], 12.0);
        for text in ["", "(", "()", "Pb(NO3", "pb", "Pb)", "é", "3", "(".repeat(50).as_str()] {
            assert_eq!(atoms(text), None, "{text}");
        }
    }
}

//! Before the first sample: the cautions of the safety list that apply to the work, and what it is refused for.
//!
//! [`work`] reads from methods and procedures what is used; [`cautions`] picks from the list, [`refusals`] holds the work against
//! the rules of the list. They are reminders, never an assessment: nothing here says that something is safe.
//!
//! Source: none needed, the rules and their pressures are those of reference/safety, each with its publication there.

use darkline_handbook::{Applies, Caution, Handbook};
use darkline_record::method::{ResolvedMethod, Technique};
use serde::Serialize;

/// Work that is planned.
#[derive(Clone, Debug, PartialEq)]
pub struct Work {
    /// What it uses, in the words of the safety list.
    pub uses: Applies,
    /// All that methods and procedures say, in small letters.
    said: String,
}

/// Pressures that were read off, in kPa above the air's.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pressures {
    /// Of acetylene behind the regulator.
    pub acetylene: Option<f64>,
    /// Of the acetylene cylinder.
    pub cylinder: Option<f64>,
}

/// What follows from a rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Follows {
    /// The plan is refused.
    Refused,
    /// It comes near to that.
    Warned,
    /// It is refused until somebody has looked at the points.
    UntilTicked,
}

/// A rule of the safety list that the work meets.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Met {
    /// Its name in the list.
    pub rule: &'static str,
    /// What follows.
    pub follows: Follows,
    /// What it says.
    pub says: &'static str,
}

/// 15 psig and 13 psig, at and above which acetylene behind the regulator is refused and warned about; 50 psi, below which a cylinder
/// is; in kPa at 6.894757 kPa a psi.
const HIGHEST_ACETYLENE: f64 = 15.0 * 6.894_757;
const NEARLY: f64 = 13.0 * 6.894_757;
const LOWEST_CYLINDER: f64 = 50.0 * 6.894_757;

/// What is looked at before a flame is lit.
pub const BEFORE_LIGHTING: [&str; 5] = ["exhaust", "trap", "burner kind", "leak test", "eye protection"];

/// What the planned work uses.
///
/// # Arguments
/// * `procedures`: how portions are prepared, in words.
pub fn work(methods: &[&ResolvedMethod], procedures: &[&str]) -> Work {
    let mut said: String = procedures.join("\n").to_lowercase();
    for method in methods {
        said.push_str(&format!("\n{}", method.limits.diluent.clone().unwrap_or_default().to_lowercase()));
        // What helps against an interference is advice, no part of the plan.
        for condition in method.conditions.iter().filter(|one| !one.name.starts_with("against ")) {
            said.push_str(&format!("\n{} {}", condition.name, condition.value).to_lowercase());
        }
    }
    let of = |known: &[&str]| -> Vec<String> {
        known.iter().filter(|word| said.contains(*word)).map(|word| (*word).to_owned()).collect()
    };
    let has = |technique: Technique| methods.iter().any(|method| method.technique == technique);
    let mut uses = Applies {
        technique: vec!["preparation".into()],
        gas: of(&["acetylene", "nitrous oxide", "hydrogen", "argon", "nitrogen"]),
        reagent: of(&[
            "nitric acid",
            "hydrochloric acid",
            "sulfuric acid",
            "hydrofluoric acid",
            "perchloric acid",
            "aqua regia",
            "hydrogen peroxide",
            "ammonia",
            "potassium cyanide",
            "sodium borohydride",
            "ammonium pyrrolidine dithiocarbamate",
            "organic solvent",
        ]),
        element: methods.iter().map(|method| method.element.as_str().to_owned()).collect(),
    };
    // Hydrogen peroxide is no hydrogen.
    if !said.replace("hydrogen peroxide", "").contains("hydrogen") {
        uses.gas.retain(|gas| gas != "hydrogen");
    }
    if has(Technique::Flame) {
        uses.technique.push("flame".into());
    }
    if has(Technique::Furnace) {
        uses.technique.push("furnace".into());
        if !uses.gas.contains(&"argon".to_owned()) {
            uses.gas.push("argon".into());
        }
    }
    if methods.iter().any(|method| method.solid.is_some()) {
        uses.technique.push("solid".into());
    }
    Work { uses, said }
}

impl Work {
    fn uses_technique(&self, word: &str) -> bool {
        self.uses.technique.iter().any(|one| one == word)
    }
    fn uses_gas(&self, word: &str) -> bool {
        self.uses.gas.iter().any(|one| one == word)
    }
    fn says(&self, word: &str) -> bool {
        self.said.contains(word)
    }
}

/// The cautions that apply, the worst first; for a furnace in a magnetic field the one about implants before anything else.
pub fn cautions(work: &Work) -> Vec<&'static Caution> {
    let mut fitting = Handbook::shipped().cautions().fitting(&work.uses);
    if work.uses_technique("furnace") && (work.says("zeeman") || work.says("magnetic field")) {
        fitting.sort_by_key(|caution| caution.id != "furnace-magnet");
    }
    fitting
}

/// The rules of the safety list that the work meets.
///
/// # Arguments
/// * `is_ticked`: whether a named person has looked at the points of [`BEFORE_LIGHTING`].
pub fn refusals(work: &Work, pressures: Pressures, is_ticked: bool) -> Vec<Met> {
    let mut met = Vec::new();
    let mut rule = |rule: &'static str, follows: Follows, says: &'static str| met.push(Met { rule, follows, says });
    if work.uses_gas("nitrous oxide") && (work.says("10 cm") || work.says("100 mm")) {
        rule(
            "n2o-on-long-slot",
            Follows::Refused,
            "nitrous oxide stands beside a burner of 10 cm; it needs the short slot made for it",
        );
    }
    let complexed = work.says("boric") || work.says("complexed");
    if work.says("hydrofluoric") && !complexed && (work.says("quartz") || work.says("glass")) {
        rule(
            "hf-on-quartz",
            Follows::Refused,
            "hydrofluoric acid that is not complexed would come onto glass or quartz",
        );
    }
    if let Some(perchloric) = work.said.find("perchloric")
        && work.said.find("nitric").is_none_or(|nitric| nitric > perchloric)
    {
        rule("perchloric-first", Follows::Refused, "perchloric acid comes before oxidation with nitric acid");
    }
    if work.says("potassium cyanide") && work.says(" acid") {
        rule(
            "cyanide-and-acid",
            Follows::Refused,
            "potassium cyanide and an acid are in one plan, and share its drain",
        );
    }
    if work.uses_gas("acetylene") {
        match pressures.acetylene {
            Some(pressure) if pressure > HIGHEST_ACETYLENE => {
                rule(
                    "acetylene-setpoint",
                    Follows::Refused,
                    "acetylene behind the regulator is above 103 kPa (15 psig)",
                );
            }
            Some(pressure) if pressure >= NEARLY => {
                rule("acetylene-setpoint", Follows::Warned, "acetylene behind the regulator is near 103 kPa (15 psig)");
            }
            _ => {}
        }
        if pressures.cylinder.is_some_and(|pressure| pressure < LOWEST_CYLINDER) {
            rule("cylinder-low", Follows::Refused, "the acetylene cylinder is below 345 kPa (50 psi): change it first");
        }
    }
    if work.uses_technique("flame") && !is_ticked {
        rule(
            "checklist-before-lighting",
            Follows::UntilTicked,
            "nobody has stated yet that exhaust, trap, burner kind, leak test and eye protection were looked at",
        );
    }
    met
}

/// What is looked at before the first sample.
pub fn checks(work: &Work) -> Vec<&'static str> {
    let mut checks = vec!["exhaust on", "eye protection"];
    if work.uses_technique("flame") {
        checks.extend(["drain trap filled", "burner of the right kind in place", "joints of gases tested for leaks"]);
    }
    if work.uses_technique("furnace") {
        checks.extend([
            "cooling water and argon on",
            "tube and platform look sound; firings so far written down",
            "capillary adjusted, a drop put on the platform watched once",
            "an empty firing and a reagent blank without a pulse",
        ]);
    }
    checks.push("lamps lit, warm, and at their usual energy");
    checks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn method(technique: &str, conditions: &str) -> ResolvedMethod {
        let response = if technique == "flame" { "absorbance" } else { "integrated-absorbance" };
        let unit = if technique == "flame" { "" } else { " s" };
        serde_json::from_str(&format!(
            r#"{{"id": "m", "version": "1", "title": "t", "element": "Cd", "technique": "{technique}",
                "response": {{"kind": "{response}"}},
                "calibration": {{"model": "straight-line", "weights": "equal"}},
                "replicates": {{"n": 3, "sd_at_zero": "0.001{unit}", "rsd": "2 %"}},
                "blank": {{"subtract": "nothing"}}, "check": {{"lowest": "90 %", "highest": "110 %"}},
                "result": {{"kind": "mass-concentration", "unit": "µg/L", "coverage_factor": "2"}},
                "conditions": [{{"name": "set", "value": "{conditions}"}}]}}"#
        ))
        .unwrap()
    }

    fn ids(work: &Work) -> Vec<&'static str> {
        cautions(work).iter().map(|caution| caution.id.as_str()).collect()
    }

    fn rules(
        technique: &str,
        conditions: &str,
        procedure: &str,
        pressures: Pressures,
        is_ticked: bool,
    ) -> Vec<&'static str> {
        let method = method(technique, conditions);
        refusals(&work(&[&method], &[procedure]), pressures, is_ticked).iter().map(|met| met.rule).collect()
    }

    #[test]
    fn cautions_are_those_of_the_gas_and_the_element() {
        let acetylene = method("flame", "air-acetylene, fuel lean");
        let hydrogen = method("flame", "air-hydrogen");
        assert!(ids(&work(&[&acetylene], &[])).contains(&"acetylene-pressure"));
        assert!(!ids(&work(&[&hydrogen], &[])).contains(&"acetylene-pressure"));
        let furnace = method("furnace", "800 °C");
        assert!(ids(&work(&[&furnace], &[])).contains(&"lead-cadmium-arsenic"));
        let field = method("furnace", "Zeeman correction");
        assert_eq!(ids(&work(&[&field], &[]))[0], "furnace-magnet", "the implant caution before anything else");
        let peroxide = work(&[&furnace], &["nitric acid and hydrogen peroxide"]);
        assert!(!peroxide.uses.gas.contains(&"hydrogen".into()));
    }

    /// For each rule of the list the smallest plan that breaks it, and the nearest that does not (reference/safety, section 3).
    #[test]
    fn each_rule_of_the_safety_list_is_met_by_the_plan_that_breaks_it_and_not_by_the_nearest() {
        let none = Pressures::default();
        let flame =
            |conditions: &str, pressures: Pressures, ticked: bool| rules("flame", conditions, "", pressures, ticked);
        assert_eq!(flame("nitrous oxide-acetylene, burner 10 cm", none, true), ["n2o-on-long-slot"]);
        assert!(flame("nitrous oxide-acetylene, burner 5 cm", none, true).is_empty());
        assert_eq!(rules("furnace", "quartz window", "nitric and hydrofluoric acid", none, true), ["hf-on-quartz"]);
        assert!(
            rules("furnace", "quartz window", "nitric and hydrofluoric acid, then boric acid", none, true).is_empty()
        );
        assert_eq!(rules("furnace", "", "perchloric acid, then nitric acid", none, true), ["perchloric-first"]);
        assert!(rules("furnace", "", "nitric acid, then perchloric acid", none, true).is_empty());
        assert_eq!(rules("furnace", "", "potassium cyanide and nitric acid", none, true), ["cyanide-and-acid"]);
        assert!(rules("furnace", "", "potassium cyanide in ammonia", none, true).is_empty());
        let set = |kpa: f64| flame("air-acetylene", Pressures { acetylene: Some(kpa), cylinder: None }, true);
        assert_eq!(set(104.0), ["acetylene-setpoint"]);
        assert_eq!(set(95.0), ["acetylene-setpoint"]);
        assert!(set(80.0).is_empty());
        let cylinder = |kpa: f64| flame("air-acetylene", Pressures { acetylene: None, cylinder: Some(kpa) }, true);
        assert_eq!(cylinder(340.0), ["cylinder-low"]);
        assert!(cylinder(350.0).is_empty());
        assert_eq!(flame("air-acetylene", none, false), ["checklist-before-lighting"]);
        assert!(flame("air-acetylene", none, true).is_empty());
        assert!(rules("furnace", "", "", none, false).is_empty(), "nothing is lit");
    }

    #[test]
    fn every_rule_of_the_shipped_list_is_one_of_these() {
        let list = include_str!("../../../reference/safety/cautions.toml");
        let rules: Vec<&str> = list
            .split("[[plan_check]]\n")
            .skip(1)
            .map(|part| part.lines().next().unwrap().trim_start_matches("id = \"").trim_end_matches('"'))
            .collect();
        let known = [
            "n2o-on-long-slot",
            "cyanide-and-acid",
            "acetylene-setpoint",
            "cylinder-low",
            "checklist-before-lighting",
            "hf-on-quartz",
            "perchloric-first",
            // Shown first by `cautions`.
            "pacemaker",
        ];
        assert_eq!(rules, known);
    }
}

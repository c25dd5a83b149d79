//! What a cup really holds: the solution of a row, from the truth and the errors of ware and weighing.
//!
//! Every figure of the documents that carries an uncertainty is off by a draw of its own cause. Figures that share a cause
//! by name share the draw, as they share the source in an evaluation; a stock is off for all standards of a run together.
//!
//! What a cup shows may be less or more than it holds: a matrix takes part of the response, of what is added to a spiked
//! portion another part.

use darkline_metrology::kind::{Kind, Mass, MassConcentration};
use darkline_record::figure::{Uncertain, Written};
use darkline_record::identity::BatchId;
use darkline_record::method::ResolvedMethod;
use darkline_record::order::ResultFigure;
use darkline_record::package::DataPackage;
use darkline_record::preparation::{Portion, PortionRole};
use darkline_record::run::{Row, RowHolds, Run};

use crate::disturbance::{Disturbance, InCup, Plan};
use crate::draws::Draws;
use crate::simulator_fault::SimulatorFault;
use crate::truth::{DENSEST, MaterialTruth, Truth};

/// The solution in a cup.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Cup {
    /// Mass concentration of the element.
    pub(crate) amount: MassConcentration,
    /// Height of the background its matrix makes.
    pub(crate) background: f64,
    /// Mass concentration of a clean solution with the same response.
    pub(crate) seen: MassConcentration,
}

impl Cup {
    /// A cup of diluent.
    pub(crate) fn diluent() -> Self {
        let nothing = MassConcentration::from_si(0.0);
        Cup { amount: nothing, background: 0.0, seen: nothing }
    }
}

/// What a solution holds, in SI, and what it shows.
#[derive(Clone, Copy)]
struct Holds {
    amount: f64,
    background: f64,
    seen: f64,
}

/// Where cups are filled from.
#[derive(Clone, Copy)]
pub(crate) struct Bench<'a> {
    pub(crate) package: &'a DataPackage,
    pub(crate) run: &'a Run,
    pub(crate) method: &'a ResolvedMethod,
    pub(crate) truth: &'a Truth,
    pub(crate) plan: &'a Plan<'a>,
    pub(crate) seed: u64,
}

impl Bench<'_> {
    /// Fills the cup of a row.
    ///
    /// # Errors
    /// What is missing for it, by name, or [`SimulatorFault::Solution`].
    pub(crate) fn cup(&self, row: &Row) -> Result<Cup, SimulatorFault> {
        let run = &self.run.id;
        // Rows of one solution hold the same one, error and all.
        let home = self.run.home(row.number);
        let wrong = self.plan.in_cup(row);
        let clean = |amount: f64| Holds { amount, background: 0.0, seen: amount };
        let mut holds = match &row.holds {
            RowHolds::CalibrationBlank | RowHolds::CheckBlank => clean(0.0),
            RowHolds::Standard { amount } => {
                let stated = self.realised(amount, &format!("{run}/{home}/amount")) * self.dispensed();
                clean(stated * self.stock(&format!("{run}/stock")))
            }
            RowHolds::Check { amount } => {
                // The verification standard is made from a stock of its own.
                let stated = self.realised(amount, &format!("{run}/{home}/amount")) * self.dispensed();
                clean(stated * self.stock(&format!("{run}/check stock")))
            }
            RowHolds::Portion { batch, portion, dilution } => {
                let found = self.package.portion(batch, portion);
                let portion = found.ok_or_else(|| SimulatorFault::NoPortion {
                    row: row.number,
                    batch: batch.clone(),
                    portion: portion.clone(),
                })?;
                if self.method.solid.is_some() {
                    return self.nominal(row, batch, portion);
                }
                let dilution = self.realised(dilution, &format!("{run}/{home}/dilution"));
                self.solution(batch, portion, dilution, wrong)?
            }
        };
        if wrong.strength != 1.0 {
            holds = Holds { amount: holds.amount * wrong.strength, seen: holds.seen * wrong.strength, ..holds };
        }
        if wrong.added_of_top != 0.0 {
            let added = wrong.added_of_top * self.top_standard();
            holds = Holds { amount: holds.amount + added, seen: holds.seen + added, ..holds };
        }
        // A draw may take a small blank below nothing; what is not a number or too much stays and is told.
        let not_negative = |amount: f64| if amount < 0.0 && amount > -DENSEST { 0.0 } else { amount };
        let Holds { amount, background, seen } = holds;
        let (amount, seen) = (not_negative(amount), not_negative(seen));
        if !(0.0..=DENSEST).contains(&amount) || !background.is_finite() || !(0.0..=10.0 * DENSEST).contains(&seen) {
            return Err(SimulatorFault::Solution { row: row.number, found: amount });
        }
        Ok(Cup {
            amount: MassConcentration::from_si(amount),
            background: background.clamp(0.0, 1e6),
            seen: MassConcentration::from_si(seen),
        })
    }

    /// A portion weighed into the tube for a reading, with its mass as noted; `None` where the row holds a solution.
    ///
    /// Its draws are those of a cause of its own, so that the firing's stay what they are.
    pub(crate) fn weighed(
        &self,
        row: &Row,
        replicate: u8,
        attempt: u8,
        wrong: &Disturbance,
    ) -> Result<Option<(Cup, Written<Mass>)>, SimulatorFault> {
        let (Some(plan), RowHolds::Portion { batch, portion, .. }) = (&self.method.solid, &row.holds) else {
            return Ok(None);
        };
        let found = self.package.portion(batch, portion).ok_or_else(|| SimulatorFault::NoPortion {
            row: row.number,
            batch: batch.clone(),
            portion: portion.clone(),
        })?;
        let Some(material) = self.material(batch, found)? else { return Ok(None) };
        let name = format!("{}/{}/{replicate}/{attempt}/weighed", self.run.id, row.number);
        let mut draws = Draws::of_cause(self.seed, &name);
        let usual = si(material.portion_mass).unwrap_or(USUAL_PORTION_KG);
        let mass = usual * (1.0 - PORTION_SPREAD + 2.0 * PORTION_SPREAD * draws.uniform());
        let rsd = 0.01 * (si(material.sampling_constant).unwrap_or(0.0) / mass).sqrt();
        let held = (1.0 + rsd * draws.normal()).max(0.0) + wrong.nugget;
        let noted = (mass + plan.u_mass.value().si() * draws.normal()) * (1.0 + wrong.noted);
        let of_element = material.value.si() * mass * held * (1.0 - wrong.spilled);
        let blank = self.blank_of(batch)?;
        let in_cup = self.plan.in_cup(row);
        let native = (1.0 - si(material.suppression).unwrap_or(0.0)) * in_cup.native * in_cup.strength;
        let volume = plan.dispensed.value.value().si();
        let amount = of_element / volume + blank;
        let seen = of_element / volume * native + blank + in_cup.added_of_top * self.top_standard();
        if !(0.0..=DENSEST).contains(&amount) || !(0.0..=10.0 * DENSEST).contains(&seen) {
            return Err(SimulatorFault::Solution { row: row.number, found: amount });
        }
        let background = si(material.background).unwrap_or(0.0) * mass / usual;
        let cup = Cup {
            amount: MassConcentration::from_si(amount),
            background: background.clamp(0.0, 1e6),
            seen: MassConcentration::from_si(seen),
        };
        // Three decimals of a milligram, as a microbalance shows them; a portion is never nothing.
        let noted = format!("{:.3} mg", (noted * 1e6).clamp(0.001, 1e6));
        Ok(Some((cup, noted.parse().expect("a number above zero in mg is a mass"))))
    }

    /// What a weighed portion of usual mass brings.
    fn nominal(&self, row: &Row, batch: &BatchId, portion: &Portion) -> Result<Cup, SimulatorFault> {
        let blank = self.blank_of(batch)?;
        let plan = self.method.solid.as_ref();
        let brought = match (self.material(batch, portion)?, plan) {
            (Some(material), Some(plan)) => {
                let mass = si(material.portion_mass).unwrap_or(USUAL_PORTION_KG);
                material.value.si() * mass / plan.dispensed.value.value().si()
            }
            _ => 0.0,
        };
        let amount = brought + blank;
        if !(0.0..=DENSEST).contains(&amount) {
            return Err(SimulatorFault::Solution { row: row.number, found: amount });
        }
        let amount = MassConcentration::from_si(amount);
        Ok(Cup { amount, background: 0.0, seen: amount })
    }

    /// What the reagents of a batch bring, in SI.
    fn blank_of(&self, batch: &BatchId) -> Result<f64, SimulatorFault> {
        let truth = self.truth.batch(batch);
        let truth = truth.ok_or_else(|| SimulatorFault::NoBatchTruth { batch: batch.clone() })?;
        Ok(truth.blank.value().si())
    }

    /// By which factor the volume dispensed onto the platform is really off; 1 where portions are not weighed in.
    fn dispensed(&self) -> f64 {
        self.method.solid.as_ref().map_or(1.0, |plan| {
            self.realised(&plan.dispensed, "dispensed volume/platform") / plan.dispensed.value.value().si()
        })
    }

    /// The highest standard of the run, as its documents say, in SI.
    fn top_standard(&self) -> f64 {
        self.run.rows().fold(0.0, |top, row| match &row.holds {
            RowHolds::Standard { amount } => amount.value.value().si().max(top),
            _ => top,
        })
    }

    /// The solution of a portion after dilution.
    fn solution(
        &self,
        batch: &BatchId,
        portion: &Portion,
        dilution: f64,
        wrong: InCup,
    ) -> Result<Holds, SimulatorFault> {
        let truth = self.truth.batch(batch);
        let truth = truth.ok_or_else(|| SimulatorFault::NoBatchTruth { batch: batch.clone() })?;
        let own = |what: &str| format!("{batch}/{}/{what}", portion.id);
        let vessel = Draws::of_cause(self.seed, &own("vessel")).normal();
        let blank = si(Some(&truth.blank)).unwrap_or(0.0) + si(truth.between_vessels.as_ref()).unwrap_or(0.0) * vessel;
        let Some(material) = self.material(batch, portion)? else {
            return Ok(Holds { amount: blank / dilution, background: 0.0, seen: blank / dilution });
        };
        let between = Draws::of_cause(self.seed, &own("between portions")).normal();
        let between_portions = si(material.between_portions).unwrap_or(0.0);
        let held = self.dissolved(batch, portion, material.value)? * (1.0 + between_portions * between);
        let added = match &portion.role {
            PortionRole::Spike { added, .. } => {
                let volume = self.figure(batch, portion, portion.volume.as_ref(), "volume")?;
                self.realised(added, &own("added")) / volume
            }
            _ => 0.0,
        };
        let recovery = truth.recovery.value().si();
        let amount = (held + added) * recovery + blank;
        // A diluted matrix takes less.
        let native = (1.0 - si(material.suppression).unwrap_or(0.0) / dilution) * wrong.native;
        let of_spike = material.suppression_of_spike.or(material.suppression);
        let spiked = (1.0 - si(of_spike).unwrap_or(0.0) / dilution) * wrong.spiked;
        let seen = if native == 1.0 && spiked == 1.0 {
            amount
        } else {
            held * recovery * native + added * recovery * spiked + blank * native
        };
        let background = si(material.background).unwrap_or(0.0);
        Ok(Holds { amount: amount / dilution, background: background / dilution, seen: seen / dilution })
    }

    /// What a portion brings into its solution if all of it comes through: mass concentration in SI.
    fn dissolved(&self, batch: &BatchId, portion: &Portion, value: &ResultFigure) -> Result<f64, SimulatorFault> {
        let volume = || self.figure(batch, portion, portion.volume.as_ref(), "volume");
        let mass = || self.figure(batch, portion, portion.mass.as_ref(), "mass");
        Ok(match value {
            ResultFigure::MassFraction(value) => {
                let dry = portion.dry_matter.as_ref();
                let dry = match dry {
                    Some(_) => self.figure(batch, portion, dry, "dry matter")?,
                    None => 1.0,
                };
                value.value().si() * mass()? * dry / volume()?
            }
            ResultFigure::MassConcentration(value) => {
                // A water that is measured as it came has neither figure.
                let taken = portion.volume_taken.as_ref();
                match (taken, &portion.volume) {
                    (None, None) => value.value().si(),
                    _ => {
                        let taken = self.figure(batch, portion, taken, "volume taken")?;
                        value.value().si() * taken / volume()?
                    }
                }
            }
            ResultFigure::ReleasePerArea(value) => {
                let area = self.figure(batch, portion, portion.area.as_ref(), "area")?;
                value.value().si() * area / volume()?
            }
            ResultFigure::AmountPerDose(value) => {
                let dose = self.figure(batch, portion, portion.dose.as_ref(), "dose")?;
                value.value().si() / dose * mass()? / volume()?
            }
        })
    }

    /// What a portion is made of; nothing for a method blank.
    fn material(&self, batch: &BatchId, portion: &Portion) -> Result<Option<MaterialTruth<'_>>, SimulatorFault> {
        let mut origin = portion;
        // As many steps as the batch has portions lead to a sample, or round a circle.
        let preparation = self.package.preparations.iter().find(|p| p.id == *batch);
        for _ in 0..preparation.map_or(0, |preparation| preparation.portions.len()) {
            let of = match &origin.role {
                PortionRole::MethodBlank => return Ok(None),
                PortionRole::Sample { sample, .. } => {
                    let truth = self.truth.sample(sample);
                    let truth = truth.ok_or_else(|| SimulatorFault::NoSampleTruth { sample: sample.clone() })?;
                    return Ok(Some(truth.into()));
                }
                PortionRole::Control { material, .. } => {
                    let truth = self.truth.control(material);
                    let truth = truth.ok_or_else(|| SimulatorFault::NoControlTruth {
                        material: material.chars().take(80).collect(),
                    })?;
                    return Ok(Some(truth.into()));
                }
                PortionRole::Duplicate { of } | PortionRole::Spike { of, .. } => of,
            };
            let Some(next) = self.package.portion(batch, of) else {
                return Err(SimulatorFault::NoFigure {
                    batch: batch.clone(),
                    portion: portion.id.clone(),
                    what: "portion that it repeats",
                });
            };
            origin = next;
        }
        Err(SimulatorFault::Circle { batch: batch.clone(), portion: portion.id.clone() })
    }

    /// A figure of a portion as it really is, in SI.
    fn figure<K: Kind>(
        &self,
        batch: &BatchId,
        portion: &Portion,
        figure: Option<&Uncertain<K>>,
        what: &'static str,
    ) -> Result<f64, SimulatorFault> {
        let figure = figure.ok_or_else(|| SimulatorFault::NoFigure {
            batch: batch.clone(),
            portion: portion.id.clone(),
            what,
        })?;
        Ok(self.realised(figure, &format!("{batch}/{}/{what}", portion.id)))
    }

    /// A stated figure as it really is: off by a draw for each of its causes.
    fn realised<K: Kind>(&self, figure: &Uncertain<K>, own: &str) -> f64 {
        figure
            .sources(own)
            .iter()
            .map(|source| source.u * Draws::of_cause(self.seed, source.id.as_str()).of_shape(source.shape))
            .fold(figure.value.value().si(), |sum, error| sum + error)
    }

    /// By which factor the solutions made from a stock are really off.
    fn stock(&self, cause: &str) -> f64 {
        let u = si(self.method.calibration.u_stock.as_ref()).unwrap_or(0.0);
        1.0 + u * Draws::of_cause(self.seed, cause).normal()
    }
}

/// Mass of a portion where the truth says none: 0.3 mg; invented.
const USUAL_PORTION_KG: f64 = 0.3e-6;
/// Portions lie within this part of their usual mass; invented.
const PORTION_SPREAD: f64 = 0.3;

fn si<K: Kind>(figure: Option<&Written<K>>) -> Option<f64> {
    figure.map(|figure| figure.value().si())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::small_run;

    fn amounts(package: &DataPackage, truth: &Truth, seed: u64) -> Result<Vec<f64>, SimulatorFault> {
        let (run, method) = (&package.runs[0], &package.methods[0]);
        let plan = Plan::of(truth, package, run, method)?;
        let bench = Bench { package, run, method, truth, plan: &plan, seed };
        run.rows().map(|row| bench.cup(row).map(|cup| cup.amount.si() * 1e6)).collect()
    }

    #[test]
    fn cups_hold_what_the_truth_and_the_portion_make() {
        let (mut package, mut truth) = (small_run::package(), small_run::truth());
        small_run::take_all_as_exact(&mut package, &mut truth);
        // By hand: 1.20 mg/kg · 0.5 g/25 mL · 0.98 + 0.4 µg/L, diluted twice; the spike brings 0.5 µg/25 mL more.
        let expected = [
            ("calibration blank", 0.0),
            ("standard", 50.0),
            ("check", 25.0),
            ("method blank", 0.2),
            ("sample S01", (24.0 * 0.98 + 0.4) / 2.0),
            ("duplicate", (24.0 * 0.98 + 0.4) / 2.0),
            ("spike", (44.0 * 0.98 + 0.4) / 2.0),
            ("control", (40.0 * 0.98 + 0.4) / 4.0),
            ("joined", (24.0 * 0.98 + 0.4) / 2.0),
        ];
        let found = amounts(&package, &truth, 1).unwrap();
        assert_eq!(found.len(), expected.len());
        for ((what, expected), found) in expected.iter().zip(found) {
            assert!((found - expected).abs() < 1e-9, "{what}: {found}, not {expected}");
        }
    }

    #[test]
    fn causes_that_are_shared_are_off_together() {
        let (package, truth) = (small_run::package(), small_run::truth());
        let exact = {
            let (mut package, mut truth) = (package.clone(), truth.clone());
            small_run::take_all_as_exact(&mut package, &mut truth);
            amounts(&package, &truth, 1).unwrap()
        };
        // Over many seeds the cups scatter as the stated uncertainties say.
        let n = 4000;
        let all: Vec<Vec<f64>> = (0..n).map(|seed| amounts(&package, &truth, seed).unwrap()).collect();
        let relative = |row: usize| -> Vec<f64> { all.iter().map(|found| found[row] / exact[row] - 1.0).collect() };
        let covariance = |one: &[f64], other: &[f64]| one.iter().zip(other).map(|(a, b)| a * b).sum::<f64>() / n as f64;
        let (sample, duplicate, joined) = (relative(4), relative(5), relative(8));
        // Volume 0.12 % shared, dilution 0.5 %, weighing 0.04 %, portions 1 %, vessels 0.04 in 23.92.
        let native = 24.0 * 0.98 / (24.0 * 0.98 + 0.4);
        let own = native * native * (0.01 * 0.01 + 0.0004 * 0.0004) + (0.04 / 23.92) * (0.04 / 23.92) + 0.005 * 0.005;
        let shared = native * native * 0.0012 * 0.0012;
        assert!((covariance(&sample, &sample) / (own + shared) - 1.0).abs() < 0.09);
        // The covariance of the duplicate comes from the flask alone: 1.4e-6 of 1.3e-4, four standard errors are 8e-6.
        assert!((covariance(&sample, &duplicate) - shared).abs() < 8.2e-6);
        // A row that joins another is the same cup.
        assert_eq!(sample, joined);
        let stock = relative(1);
        assert!((covariance(&stock, &stock).sqrt() / 0.003 - 1.0).abs() < 0.05);
    }

    #[test]
    fn what_is_missing_is_told_by_name() {
        let told = |change: fn(&mut DataPackage, &mut Truth)| {
            let (mut package, mut truth) = (small_run::package(), small_run::truth());
            change(&mut package, &mut truth);
            amounts(&package, &truth, 1).unwrap_err().to_string()
        };
        assert_eq!(told(|_, truth| truth.samples.clear()), "the truth says nothing about sample S01");
        assert_eq!(told(|_, truth| truth.batches.clear()), "the truth says nothing about batch P1");
        assert_eq!(told(|_, truth| truth.controls.clear()), "the truth says nothing about control \"leaf control\"");
        assert_eq!(
            told(|package, _| package.preparations.clear()),
            "the package holds no portion P1-1 of batch P1 (row 4)"
        );
        assert_eq!(
            told(|package, _| package.preparations[0].portions[1].mass = None),
            "portion P1-2 of batch P1 has no mass, from which its solution would follow"
        );
        assert_eq!(
            told(|package, _| {
                package.preparations[0].portions[2].role = PortionRole::Duplicate { of: "P1-3".parse().unwrap() };
            }),
            "portion P1-3 of batch P1 repeats a portion that repeats it"
        );
        assert_eq!(
            told(|package, _| {
                package.preparations[0].portions[1].volume = Some(Uncertain::exact("0 mL".parse().unwrap()));
            }),
            "the solution at row 5 would hold inf kg/m³; between 0 and 1000 can be real"
        );
        let huge = told(|package, _| {
            package.preparations[0].portions[1].mass = Some(Uncertain::exact("1e300 kg".parse().unwrap()));
        });
        assert!(huge.starts_with("the solution at row 5 would hold 2.3") && huge.contains("e298 kg/m³"), "{huge}");
    }

    #[test]
    fn every_kind_of_result_has_its_solution() {
        let (mut package, mut truth) = (small_run::package(), small_run::truth());
        small_run::take_all_as_exact(&mut package, &mut truth);
        truth.batches[0].blank = "0 µg/L".parse().unwrap();
        let portion = &mut package.preparations[0].portions[1];
        portion.volume_taken = Some(Uncertain::exact("5 mL".parse().unwrap()));
        portion.area = Some(Uncertain::exact("2 dm²".parse().unwrap()));
        portion.dose = Some(Uncertain::exact("0.25 g".parse().unwrap()));
        portion.dry_matter = Some(Uncertain::exact("0.9".parse().unwrap()));
        // By hand, in 25 mL of solution and diluted twice, 98 % recovered.
        let cases = [
            ("1.20 mg/kg", 24.0 * 0.9 * 0.49),
            ("100 µg/L", 20.0 * 0.49),
            ("0.5 µg/dm²", 40.0 * 0.49),
            ("0.3 µg", 24.0 * 0.49),
        ];
        for (value, expected) in cases {
            let text = small_run::TRUTH.replacen("1.20 mg/kg", value, 1);
            truth.samples[0].value = Truth::from_toml(&text).unwrap().samples[0].value.clone();
            let (run, method) = (&package.runs[0], &package.methods[0]);
            let plan = Plan::of(&truth, &package, run, method).unwrap();
            let bench = Bench { package: &package, run, method, truth: &truth, plan: &plan, seed: 1 };
            let found = bench.cup(&run.legs[0].rows[4]).unwrap().amount.si() * 1e6;
            assert!((found - expected).abs() < 1e-9, "{value}: {found}, not {expected}");
        }
    }
}

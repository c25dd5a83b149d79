//! What the faults of a truth do to one reading: all that reach it, put together.
//!
//! [`Plan::of`] holds the faults against the run they are planned for; [`Plan::at`] says what is disturbed at a reading,
//! [`Plan::in_cup`] what is in the cup of a row.
//!
//! Invariant: where no fault reaches, every factor is 1 and every addition 0, bit for bit.

use std::collections::BTreeSet;

use darkline_record::method::{ResolvedMethod, Technique};
use darkline_record::package::DataPackage;
use darkline_record::preparation::PortionRole;
use darkline_record::run::{Row, RowHolds, Run};

use crate::fault::{Fault, PlannedFault, Reach};
use crate::simulator_fault::{Impossible, SimulatorFault};
use crate::truth::Truth;

/// What is disturbed at one reading.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Disturbance {
    /// Where the sampler goes.
    pub(crate) takes: Takes,
    /// Whether the instrument gives nothing.
    pub(crate) lost: bool,
    /// A bad injection; the part lost where its size is given.
    pub(crate) bad_injection: Option<Option<f64>>,
    /// Later by this, in s.
    pub(crate) delay_s: f64,
    /// Part of the area that comes from a second site.
    pub(crate) second_site: f64,
    /// Height of a background pulse on top.
    pub(crate) background: f64,
    /// Height of what the background channel alone reads.
    pub(crate) structured: f64,
    /// Factor of the response, all causes together.
    pub(crate) response: f64,
    /// Hotter by this, in K.
    pub(crate) hotter_k: f64,
    /// Part of the analyte's absorbance left in the background channel on top of that of the bench.
    pub(crate) field_left: f64,
    /// Stray light on top of that of the bench.
    pub(crate) stray: f64,
    /// Factor of the noise.
    pub(crate) noise: f64,
    /// Part of the highest total absorbance that is cut off.
    pub(crate) clipped: f64,
    /// Time without samples, in s.
    pub(crate) gap_s: f64,
    /// Rise of the zero.
    pub(crate) zero: f64,
    /// Too early by this, in s.
    pub(crate) early_s: f64,
    /// Part of the time of reading without solution.
    pub(crate) bubble: f64,
    /// Part of a weighed portion that does not arrive.
    pub(crate) spilled: f64,
    /// By which part the mass noted is too high.
    pub(crate) noted: f64,
    /// Part of its usual content that a portion has on top.
    pub(crate) nugget: f64,
    /// Rows whose solution is read too, with the part of it.
    pub(crate) carried: Vec<(u32, f64)>,
}

/// Where the sampler goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Takes {
    /// To the cup of the row.
    Own,
    /// To a cup of diluent.
    Nothing,
    /// To the cup of another row.
    Row(u32),
}

impl Disturbance {
    /// Nothing is disturbed.
    pub(crate) const NONE: Self = Self {
        takes: Takes::Own,
        lost: false,
        bad_injection: None,
        delay_s: 0.0,
        second_site: 0.0,
        background: 0.0,
        structured: 0.0,
        response: 1.0,
        hotter_k: 0.0,
        field_left: 0.0,
        stray: 0.0,
        noise: 1.0,
        clipped: 0.0,
        gap_s: 0.0,
        zero: 0.0,
        early_s: 0.0,
        bubble: 0.0,
        spilled: 0.0,
        noted: 0.0,
        nugget: 0.0,
        carried: Vec::new(),
    };
}

/// What is wrong with the solution in a cup.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct InCup {
    /// Part of the top standard that was added.
    pub(crate) added_of_top: f64,
    /// Factor of its strength.
    pub(crate) strength: f64,
    /// Factor of the response to what the material brought.
    pub(crate) native: f64,
    /// Factor of the response to what was added to a spiked portion.
    pub(crate) spiked: f64,
}

/// Readings after which a lamp that warms up has e times less to go; invented.
pub(crate) const WARM_UP_READINGS: f64 = 20.0;

/// A reading further behind than this shows nothing of a row any more.
pub(crate) const REMEMBERED: u64 = 4;

/// The faults of a truth, held against a run.
#[derive(Clone, Debug)]
pub(crate) struct Plan<'a> {
    package: &'a DataPackage,
    run: &'a Run,
    faults: Vec<Placed<'a>>,
}

#[derive(Clone, Debug)]
struct Placed<'a> {
    fault: &'a PlannedFault,
    /// Place of its leg.
    leg: usize,
    /// Readings before its row.
    earlier: u64,
    /// Replicates of its row.
    replicates: u64,
    /// The row that comes next in its leg.
    next: Option<u32>,
    /// What the material of its row goes by.
    material: Option<&'a str>,
}

/// Where a reading stands in its run.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Standing {
    pub(crate) replicate: u8,
    pub(crate) attempt: u8,
    /// Readings before it, as the run order plans them.
    pub(crate) earlier: u64,
}

impl<'a> Plan<'a> {
    /// Holds the faults of a truth against a run.
    ///
    /// # Errors
    /// [`SimulatorFault::ImpossibleFault`], with the place of the fault in the truth.
    pub(crate) fn of(
        truth: &'a Truth,
        package: &'a DataPackage,
        run: &'a Run,
        method: &ResolvedMethod,
    ) -> Result<Self, SimulatorFault> {
        let mut faults = Vec::new();
        for (number, fault) in truth.faults.iter().enumerate() {
            let placed = place(fault, package, run, method).map_err(|why| SimulatorFault::ImpossibleFault {
                number,
                fault: fault.to_string(),
                run: run.id.clone(),
                why,
            })?;
            faults.push(placed);
        }
        Ok(Self { package, run, faults })
    }

    /// What is disturbed at a reading.
    pub(crate) fn at(&self, row: &Row, standing: Standing) -> Disturbance {
        let leg = leg_of(self.run, row.number);
        let mut all = Disturbance::NONE;
        for placed in &self.faults {
            let (fault, size) = (placed.fault, placed.fault.size());
            let is_here = fault.row == row.number;
            let reaches = match fault.kind.facts().reach {
                Reach::Reading => {
                    is_here && standing.attempt == 1 && fault.replicate.is_none_or(|named| named == standing.replicate)
                }
                Reach::Onwards => leg == placed.leg && standing.earlier >= placed.earlier,
                Reach::Following => leg == placed.leg && standing.earlier >= placed.earlier + placed.replicates,
                // In the cup.
                Reach::Solution | Reach::Material => false,
            };
            if !reaches {
                continue;
            }
            let since = standing.earlier.saturating_sub(placed.earlier) as f64;
            match fault.kind {
                Fault::BadInjection => all.bad_injection = Some(fault.size.as_ref().map(|_| size)),
                Fault::LateRelease => all.delay_s += size,
                Fault::DoublePeak => all.second_site = size,
                Fault::HighBackground => all.background += size,
                Fault::OverCorrection => all.structured += size,
                Fault::VapourLoss | Fault::WornTube | Fault::BlockedNebuliser => all.response *= 1.0 - size,
                Fault::FastAgeing => all.response *= libm::exp(since * libm::log1p(-size)),
                Fault::SlotClogging => all.response *= libm::exp(since / 10.0 * libm::log1p(-size)),
                Fault::WarmingLamp => all.response *= 1.0 - size * libm::exp(-since / WARM_UP_READINGS),
                Fault::TemperatureError => all.hotter_k += size,
                Fault::WeakField => all.field_left = size,
                Fault::StrayLight => all.stray += size,
                Fault::NoisyLamp => all.noise *= size,
                Fault::ClippedSignal => all.clipped = size,
                Fault::GapInTrace => all.gap_s = size,
                Fault::LostReading => all.lost = true,
                Fault::EmptyCup => all.takes = Takes::Nothing,
                Fault::WrongCup => all.takes = placed.next.map_or(Takes::Own, Takes::Row),
                Fault::BlankDrift => all.zero += size * since / 10.0,
                Fault::ShortDelay => all.early_s += size,
                Fault::AirBubble => all.bubble = size,
                Fault::SpilledPortion => all.spilled = size,
                Fault::WrongMass => all.noted = size,
                Fault::Nugget => all.nugget += size,
                Fault::CarryOver => {
                    let behind = standing.earlier - placed.earlier - placed.replicates;
                    if behind < REMEMBERED {
                        all.carried.push((fault.row, nth_power(size, behind + 1)));
                    }
                }
                Fault::MatrixSuppression
                | Fault::Ionisation
                | Fault::ViscousSolution
                | Fault::Contamination
                | Fault::WrongDilution => {}
            }
        }
        all
    }

    /// The rows that each fault reaches, in the order of the truth.
    pub(crate) fn reached(&self) -> Vec<BTreeSet<u32>> {
        self.faults.iter().map(|placed| self.rows_of(placed)).collect()
    }

    fn rows_of(&self, placed: &Placed<'_>) -> BTreeSet<u32> {
        let fault = placed.fault;
        let holds = self.run.row(fault.row).map(|row| &row.holds);
        let reach = fault.kind.facts().reach;
        // Everything is read back from the standards.
        let is_standard = matches!(holds, Some(RowHolds::Standard { .. } | RowHolds::CalibrationBlank));
        if is_standard && matches!(reach, Reach::Reading | Reach::Solution) {
            return self.run.rows().map(|row| row.number).collect();
        }
        let mut rows = BTreeSet::new();
        let mut earlier = 0;
        for (leg, row) in
            self.run.legs.iter().enumerate().flat_map(|(leg, of)| of.rows.iter().map(move |row| (leg, row)))
        {
            let is_home = self.run.home(row.number) == self.run.home(fault.row);
            let until = placed.earlier + placed.replicates;
            let reaches = match reach {
                Reach::Reading | Reach::Solution => is_home,
                Reach::Material => placed.material == material(self.package, &row.holds),
                Reach::Onwards => leg == placed.leg && earlier >= placed.earlier,
                Reach::Following => leg == placed.leg && earlier >= until && earlier < until + REMEMBERED,
            };
            if reaches {
                rows.insert(row.number);
            }
            earlier += u64::from(row.replicates);
        }
        rows
    }

    /// What is wrong with the solution in the cup of a row.
    pub(crate) fn in_cup(&self, row: &Row) -> InCup {
        let home = self.run.home(row.number);
        let mut cup = InCup { added_of_top: 0.0, strength: 1.0, native: 1.0, spiked: 1.0 };
        for placed in &self.faults {
            let size = placed.fault.size();
            let is_here = self.run.home(placed.fault.row) == home;
            let is_like = placed.material.is_some() && placed.material == material(self.package, &row.holds);
            match placed.fault.kind {
                Fault::Contamination if is_here => cup.added_of_top += size,
                Fault::WrongDilution if is_here => cup.strength *= 1.0 + size,
                Fault::MatrixSuppression if is_like => {
                    cup.native *= 1.0 - size;
                    cup.spiked *= 1.0 - size / 2.0;
                }
                Fault::ViscousSolution if is_like => {
                    cup.native *= 1.0 - size;
                    cup.spiked *= 1.0 - size;
                }
                Fault::Ionisation if is_like => {
                    cup.native *= 1.0 + size;
                    cup.spiked *= 1.0 + size;
                }
                _ => {}
            }
        }
        cup
    }
}

/// A part to a small power, factor by factor.
pub(crate) fn nth_power(part: f64, n: u64) -> f64 {
    (0..n).fold(1.0, |product, _| product * part)
}

fn place<'a>(
    fault: &'a PlannedFault,
    package: &'a DataPackage,
    run: &'a Run,
    method: &ResolvedMethod,
) -> Result<Placed<'a>, Impossible> {
    let facts = fault.kind.facts();
    let is_solid = is_solid(method);
    if !facts.place.takes(method.technique, is_solid) {
        return Err(Impossible::Elsewhere { happens: facts.place.words() });
    }
    let mut earlier = 0;
    for (leg, rows) in run.legs.iter().map(|leg| &leg.rows).enumerate() {
        for (place, row) in rows.iter().enumerate() {
            if row.number != fault.row {
                earlier += u64::from(row.replicates);
                continue;
            }
            if fault.replicate.is_some_and(|replicate| replicate > row.replicates) {
                return Err(Impossible::NoReplicate { replicates: row.replicates });
            }
            let next = rows.get(place + 1).map(|row| row.number);
            if fault.kind == Fault::WrongCup && next.is_none() {
                return Err(Impossible::NoNextRow);
            }
            let material = material(package, &row.holds);
            if facts.reach == Reach::Material && material.is_none() {
                return Err(Impossible::NoMaterial);
            }
            let replicates = u64::from(row.replicates);
            return Ok(Placed { fault, leg, earlier, replicates, next, material });
        }
    }
    Err(Impossible::NoRow)
}

/// Whether readings are of weighed portions.
pub(crate) fn is_solid(method: &ResolvedMethod) -> bool {
    method.solid.is_some()
}

fn leg_of(run: &Run, row: u32) -> usize {
    run.legs.iter().position(|leg| leg.rows.iter().any(|candidate| candidate.number == row)).unwrap_or(0)
}

/// What the material of a row goes by: the sample, or the control.
fn material<'a>(package: &'a DataPackage, holds: &RowHolds) -> Option<&'a str> {
    let RowHolds::Portion { batch, portion, .. } = holds else { return None };
    let mut portion = package.portion(batch, portion)?;
    // As many steps as there are portions lead to a material, or round a circle.
    let steps = package.preparations.iter().find(|preparation| preparation.id == *batch)?.portions.len();
    for _ in 0..steps {
        match &portion.role {
            PortionRole::MethodBlank => return None,
            PortionRole::Sample { sample, .. } => return Some(sample.as_str()),
            PortionRole::Control { material, .. } => return Some(material),
            PortionRole::Duplicate { of } | PortionRole::Spike { of, .. } => portion = package.portion(batch, of)?,
        }
    }
    None
}

/// Whether the technique is one of the two benches there are.
pub(crate) fn is_flame(method: &ResolvedMethod) -> bool {
    method.technique == Technique::Flame
}

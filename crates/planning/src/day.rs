//! A day at the bench: from an order, its methods and what stands on the bench to preparation batches, standards, run orders
//! and cups.
//!
//! [`plan_day`] puts the pieces together; the documents it makes are those that an order is opened with.
//!
//! Source: none needed, amounts are carried from step to step (conservation of mass).
//!
//! Invariant: equal input gives equal documents.

use std::collections::BTreeMap;

use darkline_metrology::kind::{Factor, Kind, Mass, MassConcentration, Unit};
use darkline_preparation::batch;
use darkline_preparation::bench::{Bench, ControlMaterial, Refused};
use darkline_preparation::levels::rounded;
use darkline_preparation::lot::LotFault;
use darkline_preparation::tree::{self, Found, TreeFault};
use darkline_record::figure::{Given, Spread, Uncertain, Written};
use darkline_record::identity::{BatchId, IdentityFault, PortionId, RunId, SampleId};
use darkline_record::method::{ResolvedMethod, Technique};
use darkline_record::order::{Order, Requested};
use darkline_record::preparation::{Portion, PortionRole, PreparationBatch};
use darkline_record::run::{Row, RowHolds};
use darkline_record::time::Timestamp;
use jiff::civil::Date;

use crate::choice::CHARACTERISTIC;
use crate::cups::{self, SetOut, Taking, Tray, TrayFault};
use crate::method_draft::digits;
use crate::run_order::{self, Cell, Element, PlanFault};

/// What a plan is made of.
#[derive(Clone, Debug)]
pub struct Asked<'a> {
    /// The order.
    pub order: &'a Order,
    /// Its methods.
    pub methods: &'a [&'a ResolvedMethod],
    /// The bench.
    pub bench: &'a Bench,
    /// The day.
    pub on: Date,
    /// When portions are prepared.
    pub prepared: Timestamp,
    /// By whom.
    pub by: &'a str,
    /// Decides the order of portions between which nothing is carried over.
    pub seed: u64,
}

/// The standards of one element.
#[derive(Clone, Debug, PartialEq)]
pub struct Standards {
    /// The element.
    pub element: String,
    /// The lot of the stock.
    pub stock: String,
    /// The lot with all that it was made of.
    pub lots: Vec<String>,
    /// Its amount, in kg/m³.
    pub stock_amount: f64,
    /// What is made: levels from the lowest, then check, check at the quantification limit, spiking solution.
    pub solutions: Vec<(String, f64)>,
    /// How.
    pub found: Found,
    /// Volume of the spiking solution that goes into a portion, in m³, and with which pipette.
    pub spiked: (f64, String),
}

/// A run of the day.
#[derive(Clone, Debug, PartialEq)]
pub struct DayRun {
    /// Its identity.
    pub id: RunId,
    /// The element, by its place among the analytes.
    pub element: usize,
    /// The instrument.
    pub instrument: String,
    /// Its rows.
    pub rows: Vec<Row>,
    /// When it starts, in s from the start of the day's work.
    pub starts: f64,
    /// When it ends.
    pub ends: f64,
    /// Whether a new tube is put in before it.
    pub new_tube: bool,
}

/// What the first check of an element should show.
#[derive(Clone, Debug, PartialEq)]
pub struct FirstReading {
    /// The element.
    pub element: String,
    /// Of what.
    pub of: String,
    /// The response.
    pub response: f64,
    /// Its unit.
    pub unit: &'static str,
    /// How far it may lie away, relative.
    pub window: f64,
}

/// Everything for the day.
#[derive(Clone, Debug, PartialEq)]
pub struct Day {
    /// Preparation batches.
    pub batches: Vec<PreparationBatch>,
    /// Standards, by analyte.
    pub standards: Vec<Standards>,
    /// Runs in the order measured.
    pub runs: Vec<DayRun>,
    /// Time to the last reading, in s.
    pub seconds: f64,
    /// Firings of the tube.
    pub firings: usize,
    /// Time of flames and of furnaces, in s.
    pub burning: (f64, f64),
    /// Cups of the furnace's tray.
    pub cups: Option<SetOut>,
    /// What may not be used.
    pub refused: Vec<Refused>,
    /// First readings.
    pub first_readings: Vec<FirstReading>,
    /// The rules of each run, by analyte: for another look at the order of runs.
    pub elements: Vec<Element>,
    /// The bench as the run order sees it.
    pub run_bench: run_order::Bench,
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DayFault {
    /// A method that is not there.
    #[error(
        "{element} is asked for by method {method}, and there is no such method in the folder; draft it with darkline method {element}"
    )]
    NoMethod {
        /// The element.
        element: String,
        /// The method.
        method: String,
    },
    /// A method without what levels are designed from.
    #[error(
        "method {method} tells neither its calibration levels nor its sensitivity; write a [[condition]] \"calibration levels\" \
         with a value such as \"5 10 20 35 50 µg/L\""
    )]
    NoLevels {
        /// The method.
        method: String,
    },
    /// Levels that cannot be read.
    #[error(
        "the calibration levels of method {method}, \"{value}\", cannot be read; write them with one unit at the end, such as \"5 10 20 35 50 µg/L\""
    )]
    Levels {
        /// The method.
        method: String,
        /// What stands there.
        value: String,
    },
    /// No instrument for a technique.
    #[error("method {method} needs a {technique}, and this bench has none; add a part [{technique}] to bench.toml")]
    NoInstrument {
        /// The method.
        method: String,
        /// The technique.
        technique: &'static str,
    },
    /// No stock.
    #[error("no stock of {element} may be used{}; add a [[lot]] with element = \"{element}\"", because(.faults))]
    NoStock {
        /// The element.
        element: String,
        /// Stocks that there are, and why they may not be used.
        faults: Vec<LotFault>,
    },
    /// No control material.
    #[error("method {method} wants a control, and bench.toml has none for {element}; add a [[control]] with its value")]
    NoControl {
        /// The method.
        method: String,
        /// The element.
        element: String,
    },
    /// No pipette for the spike.
    #[error(
        "no pipette that may be used delivers between 10 µL and 2 % of a portion's solution, for the spike of {element}"
    )]
    NoSpike {
        /// The element.
        element: String,
    },
    /// No dilutions lead there.
    #[error("standards of {element}: {fault}")]
    Tree {
        /// The element.
        element: String,
        /// Why.
        fault: TreeFault,
    },
    /// The run order.
    #[error(transparent)]
    Plan(#[from] PlanFault),
    /// The tray.
    #[error(transparent)]
    Tray(#[from] TrayFault),
    /// An identity that does not fit on a label.
    #[error(transparent)]
    Identity(#[from] IdentityFault),
    /// Results of another kind than portions of this bench give.
    #[error("method {method} gives a {kind}; portions of this bench are {made}")]
    Kind {
        /// The method.
        method: String,
        /// The kind of its results.
        kind: &'static str,
        /// How portions are made.
        made: &'static str,
    },
}

fn because(faults: &[LotFault]) -> String {
    if faults.is_empty() {
        return String::new();
    }
    let told: Vec<String> = faults.iter().map(ToString::to_string).collect();
    format!(": {}", told.join(", "))
}

/// Part of an amount carried over where a method says nothing. Common practice, no source.
const CARRY_OVER: f64 = 0.001;

/// Plans the day of an order.
///
/// # Errors
/// All that stands in the way of it.
pub fn plan_day(asked: &Asked<'_>) -> Result<Day, Vec<DayFault>> {
    let (bench, refused) = asked.bench.usable(asked.on);
    let mut faults = Vec::new();
    let mut analytes: Vec<Analyte<'_>> = Vec::new();
    for requested in &asked.order.analytes {
        match Analyte::of(asked, &bench, requested) {
            Ok(analyte) => analytes.push(analyte),
            Err(fault) => faults.push(fault),
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    planned(asked, &bench, refused, &mut analytes).map_err(|fault| vec![fault])
}

/// An analyte with what its method says.
struct Analyte<'a> {
    symbol: String,
    method: &'a ResolvedMethod,
    /// In kg/m³.
    levels: Vec<f64>,
    check: f64,
    low_check: f64,
    /// The limit in the sample, SI.
    limit: f64,
    /// What a sample is in its solution.
    taken: f64,
    control: Option<&'a ControlMaterial>,
    stock: (String, f64, f64),
    instrument: String,
    seconds_per_reading: f64,
    per_reading: f64,
    response_of: Option<f64>,
}

/// Response per amount: absorbance, or integrated absorbance in s, over kg/m³.
fn slope(method: &ResolvedMethod) -> Option<f64> {
    let limits = &method.limits;
    match method.technique {
        Technique::Flame => limits.characteristic_concentration.as_ref().map(|c0| CHARACTERISTIC / c0.value().si()),
        Technique::Furnace => {
            let (m0, volume) = limits.characteristic_mass.as_ref().zip(limits.injected_volume.as_ref())?;
            Some(CHARACTERISTIC * volume.value().si() / m0.value().si())
        }
    }
}

impl<'a> Analyte<'a> {
    fn of(asked: &Asked<'a>, bench: &Bench, requested: &Requested) -> Result<Self, DayFault> {
        let symbol = requested.element.as_str().to_owned();
        let method = asked.methods.iter().find(|method| method.id == requested.method).ok_or_else(|| {
            DayFault::NoMethod { element: symbol.clone(), method: requested.method.as_str().to_owned() }
        })?;
        let id = || method.id.as_str().to_owned();
        let levels = levels(method)?;
        let highest = levels.last().copied().unwrap_or(0.0);
        let middle = levels[levels.len() / 2];
        let lowest = levels[0];
        let blank = method.blank.highest.as_ref().map_or(lowest, |highest| highest.value().si());
        let low_check = rounded_si(blank.min(lowest), highest);
        let technique = method.technique.word();
        let no_instrument = || DayFault::NoInstrument { method: id(), technique };
        let (instrument, seconds_per_reading, per_reading) = match method.technique {
            Technique::Flame => {
                let flame = bench.flame.as_ref().ok_or_else(no_instrument)?;
                (flame.instrument.clone(), flame.seconds_per_reading, flame.per_reading)
            }
            Technique::Furnace => {
                let furnace = bench.furnace.as_ref().ok_or_else(no_instrument)?;
                let injected = method.limits.injected_volume.as_ref().map_or(20e-9, |volume| volume.value().si());
                (furnace.instrument.clone(), furnace.seconds_per_reading, injected)
            }
        };
        let made = bench.portions.made_up_to.value.value().si();
        let is_solid = bench.portions.mass.is_some();
        let of_portion = match (&bench.portions.taken, &bench.portions.mass) {
            (Some(taken), _) => taken.value.value().si(),
            (None, Some(mass)) => mass.value.value().si(),
            (None, None) => 0.0,
        };
        let kind = method.result.kind;
        let fits = match kind {
            darkline_record::order::ResultKind::MassConcentration => !is_solid,
            darkline_record::order::ResultKind::MassFraction => is_solid,
            _ => false,
        };
        if !fits {
            let made = if is_solid { "weighed in" } else { "taken by volume" };
            return Err(DayFault::Kind { method: id(), kind: kind.words(), made });
        }
        let stock =
            bench.stock(&symbol, asked.on).map_err(|faults| DayFault::NoStock { element: symbol.clone(), faults })?;
        let holds =
            stock.holds.as_ref().ok_or_else(|| DayFault::NoStock { element: symbol.clone(), faults: vec![] })?;
        let control = asked.bench.controls.iter().find(|control| control.element == symbol);
        let wants = method.limits.batch_controls.contains(&darkline_record::limits::BatchControl::Control);
        if control.is_none() && wants {
            return Err(DayFault::NoControl { method: id(), element: symbol });
        }
        let taken = of_portion / made;
        let limit = requested.limit.as_ref().map_or(middle / taken, |limit| limit.at_most.si());
        Ok(Self {
            method,
            check: middle,
            low_check,
            limit,
            taken,
            control,
            stock: (stock.id.clone(), holds.amount, holds.volume),
            instrument,
            seconds_per_reading,
            per_reading,
            response_of: slope(method),
            symbol,
            levels,
        })
    }

    /// The unit amounts are written in.
    fn unit(&self) -> Unit<MassConcentration> {
        let top = self.levels.last().copied().unwrap_or(0.0);
        let symbol = if top >= 0.5e-3 { "mg/L" } else { "µg/L" };
        MassConcentration::unit(symbol).expect("both are units of mass concentration")
    }

    fn expected(&self, order: &Order, sample: &SampleId) -> Option<f64> {
        let sample = order.samples.iter().find(|one| one.id == *sample)?;
        let expected = sample.expected.iter().find(|one| one.element.as_str() == self.symbol)?;
        Some(expected.value.si())
    }

    /// The smallest dilution that brings an amount well into the range.
    fn dilution(&self, amount: f64) -> f64 {
        let top = self.levels.last().copied().unwrap_or(0.0);
        let factors = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0];
        factors.into_iter().find(|factor| amount / factor <= 0.9 * top).unwrap_or(1000.0)
    }
}

/// Rounds an amount in the unit that its range is written in.
fn rounded_si(amount: f64, top: f64) -> f64 {
    let per = if top >= 0.5e-3 { 1e3 } else { 1e6 };
    rounded(amount * per) / per
}

/// The levels a method states, or those that suit its sensitivity, ascending, in kg/m³.
fn levels(method: &ResolvedMethod) -> Result<Vec<f64>, DayFault> {
    let id = || method.id.as_str().to_owned();
    if let Some(stated) = method.conditions.iter().find(|one| one.name == "calibration levels") {
        let fault = || DayFault::Levels { method: id(), value: stated.value.clone() };
        let (figures, unit) = stated.value.trim().rsplit_once(' ').ok_or_else(fault)?;
        let unit = MassConcentration::unit(unit).ok_or_else(fault)?;
        let read: Option<Vec<f64>> = figures
            .split([' ', ';'])
            .filter(|part| !part.is_empty())
            .map(|part| Written::in_unit(part, unit).ok().map(|figure| figure.value().si()).filter(|si| *si > 0.0))
            .collect();
        let mut levels = read.filter(|levels| !levels.is_empty()).ok_or_else(fault)?;
        levels.sort_by(f64::total_cmp);
        levels.dedup();
        return Ok(levels);
    }
    let slope = slope(method).ok_or_else(|| DayFault::NoLevels { method: id() })?;
    let top = 0.5 / slope;
    Ok([0.1, 0.2, 0.4, 0.7, 1.0].into_iter().map(|part| rounded_si(part * top, top)).collect())
}

/// A portion of one element's run.
struct Use {
    batch: BatchId,
    portion: PortionId,
    name: String,
    /// In the solution, undiluted.
    expected: f64,
}

fn planned(
    asked: &Asked<'_>,
    bench: &Bench,
    refused: Vec<Refused>,
    analytes: &mut [Analyte<'_>],
) -> Result<Day, DayFault> {
    let mut standards = Vec::new();
    let mut spikes = Vec::new();
    for analyte in analytes.iter() {
        let (of_analyte, spike) = standards_of(bench, asked, analyte)?;
        standards.push(of_analyte);
        spikes.push(spike);
    }
    let (batches, uses) = portions(asked, bench, analytes, &spikes)?;
    let elements: Vec<Element> = analytes
        .iter()
        .zip(&uses)
        .map(|(analyte, uses)| {
            let limits = &analyte.method.limits;
            Element {
                symbol: analyte.symbol.clone(),
                is_furnace: analyte.method.technique == Technique::Furnace,
                levels: analyte.levels.len(),
                replicates: usize::from(analyte.method.replicates.n),
                most_between_checks: limits.most_between_checks.map_or(10, usize::from),
                has_low_check: limits.low_check_lowest.is_some(),
                seconds_per_reading: analyte.seconds_per_reading,
                warm_up: bench.warm_up,
                carry_over: limits.highest_carry_over.as_ref().map_or(CARRY_OVER, |part| part.value().si().min(0.01)),
                tolerated: analyte.low_check / 3.0,
                check: analyte.check,
                expected: uses.iter().map(|one| one.expected / analyte.dilution(one.expected)).collect(),
            }
        })
        .collect();
    let run_bench = run_order::Bench {
        lamp_places: bench.lamps,
        technique_change: bench.technique_change,
        firings_left: bench.furnace.as_ref().map_or(0, |furnace| furnace.firings_left),
        tube_life: bench.furnace.as_ref().map_or(0, |furnace| furnace.tube_life),
        tube_change: bench.furnace.as_ref().map_or(0.0, |furnace| furnace.tube_change),
    };
    let plan = run_order::plan(&run_bench, &elements, asked.seed)?;
    let cups = match &bench.furnace {
        None => None,
        Some(furnace) => {
            let tray =
                Tray { places: furnace.places, cup: furnace.cup, rest: furnace.rest, evaporation: furnace.evaporation };
            let takings: Vec<Taking> = analytes
                .iter()
                .map(|analyte| Taking {
                    per_reading: analyte.per_reading,
                    replicates: usize::from(analyte.method.replicates.n),
                })
                .collect();
            // Portions of several elements share a cup only where they are the same solution.
            let renumbered = shared_portions(&plan.runs, &uses, analytes);
            let runs: Vec<&run_order::PlannedRun> =
                renumbered.iter().filter(|run| elements[run.element].is_furnace).collect();
            (!runs.is_empty()).then(|| cups::set_out(&tray, &runs, &takings)).transpose()?
        }
    };
    let mut runs = Vec::new();
    let mut of_furnace = 0;
    for run in &plan.runs {
        let analyte = &analytes[run.element];
        let places = match (&cups, elements[run.element].is_furnace) {
            (Some(cups), true) => {
                of_furnace += 1;
                cups.places.get(of_furnace - 1).cloned().unwrap_or_default()
            }
            _ => (1..=run.rows.len()).collect(),
        };
        runs.push(DayRun {
            id: format!("R-{}-{}", asked.order.id, analyte.symbol).parse()?,
            element: run.element,
            instrument: analyte.instrument.clone(),
            rows: rows(analyte, &standards[run.element], &uses[run.element], &run.rows, &places),
            starts: run.starts,
            ends: run.ends,
            new_tube: run.new_tube,
        });
    }
    let time = |is_furnace: bool| {
        plan.runs
            .iter()
            .filter(|run| elements[run.element].is_furnace == is_furnace)
            .map(|run| run.ends - run.starts)
            .sum()
    };
    let first_readings = analytes.iter().filter_map(first_reading).collect();
    Ok(Day {
        batches,
        standards,
        runs,
        seconds: plan.seconds,
        firings: plan.firings,
        burning: (time(false), time(true)),
        cups,
        refused,
        first_readings,
        elements,
        run_bench,
    })
}

fn first_reading(analyte: &Analyte<'_>) -> Option<FirstReading> {
    let unit = if analyte.method.technique == Technique::Furnace { "s" } else { "" };
    Some(FirstReading {
        element: analyte.symbol.clone(),
        of: format!("check {}", amount(analyte.check, analyte.unit())),
        response: analyte.response_of? * analyte.check,
        unit,
        window: analyte.method.limits.sensitivity_window.as_ref().map_or(0.2, |window| window.value().si()),
    })
}

/// An amount with its unit, without digits that nobody set.
pub fn amount(si: f64, unit: Unit<MassConcentration>) -> String {
    format!("{} {}", plain(unit.read_si(si)), unit.symbol())
}

/// A figure without the noise of its last bits.
pub fn plain(figure: f64) -> String {
    let rounded: f64 = format!("{figure:.8e}").parse().unwrap_or(figure);
    format!("{rounded}")
}

/// Rows of several elements that measure the same portion get the same number, so that they share its cup.
fn shared_portions(
    runs: &[run_order::PlannedRun],
    uses: &[Vec<Use>],
    analytes: &[Analyte<'_>],
) -> Vec<run_order::PlannedRun> {
    let mut numbers: BTreeMap<(String, u64), usize> = BTreeMap::new();
    runs.iter()
        .map(|run| {
            let mut run = run.clone();
            for row in &mut run.rows {
                if let Cell::Portion(place) = row {
                    let one = &uses[run.element][*place];
                    let dilution = analytes[run.element].dilution(one.expected);
                    let next = numbers.len();
                    let key = (one.portion.as_str().to_owned(), dilution.to_bits());
                    *row = Cell::Portion(*numbers.entry(key).or_insert(next));
                }
            }
            run
        })
        .collect()
}

/// The standards of an analyte, and what a spike adds.
fn standards_of(
    bench: &Bench,
    asked: &Asked<'_>,
    analyte: &Analyte<'_>,
) -> Result<(Standards, Uncertain<Mass>), DayFault> {
    let symbol = || analyte.symbol.clone();
    let made = bench.portions.made_up_to.value.value().si();
    // Of what may be spiked with, the surest volume.
    let mut best: Option<(f64, f64, String)> = None;
    for pipette in &bench.pipettes {
        for volume in pipette.round_settings() {
            if !(10e-9..=0.02 * made).contains(&volume) {
                continue;
            }
            if let Some(u) = pipette.step(volume).map(|u| u / volume)
                && best.as_ref().is_none_or(|(_, least, _)| u < *least)
            {
                best = Some((volume, u, pipette.id.clone()));
            }
        }
    }
    let (volume, u_volume, pipette) = best.ok_or_else(|| DayFault::NoSpike { element: symbol() })?;
    let expected: Vec<f64> =
        asked.order.samples.iter().filter_map(|sample| analyte.expected(asked.order, &sample.id)).collect();
    let middle = (!expected.is_empty()).then(|| expected.iter().sum::<f64>() / expected.len() as f64);
    let top = analyte.levels.last().copied().unwrap_or(0.0) / analyte.taken;
    let wanted = batch::spike(middle, analyte.limit, analyte.low_check / analyte.taken, top);
    // Content times what a portion is, in the volume that is pipetted.
    let spiking = rounded_si(wanted * analyte.taken * made / volume, 1.0);
    let mut solutions: Vec<(String, f64)> = analyte
        .levels
        .iter()
        .map(|level| (format!("{} standard {}", analyte.symbol, amount(*level, analyte.unit())), *level))
        .collect();
    solutions.push((format!("{} check {}", analyte.symbol, amount(analyte.check, analyte.unit())), analyte.check));
    solutions
        .push((format!("{} check {}", analyte.symbol, amount(analyte.low_check, analyte.unit())), analyte.low_check));
    let milligram = MassConcentration::unit("mg/L").expect("a unit of mass concentration");
    solutions.push((format!("{} spiking solution {}", analyte.symbol, amount(spiking, milligram)), spiking));
    let levels: Vec<f64> = solutions.iter().map(|(_, amount)| *amount).collect();
    let largest = bench.flasks.iter().map(|flask| flask.volume).fold(0.0, f64::max);
    // The check is drawn most often: every ten portions, with all replicates.
    let n = asked.order.samples.len() + 4;
    let draws = (2 + n / 8) * usize::from(analyte.method.replicates.n);
    let least_volume = (draws as f64 * analyte.per_reading + 2e-6).min(largest);
    let found = tree::plan(&tree::Task {
        stock: analyte.stock.1,
        stock_volume: analyte.stock.2,
        levels: &levels,
        pipettes: &bench.pipettes,
        flasks: &bench.flasks,
        least_volume,
        least_pipetted: 0.0,
        most_steps: 3,
        most_intermediates: 2,
        rest: 0.1,
    })
    .map_err(|fault| DayFault::Tree { element: symbol(), fault })?;
    let u_solution = found.tree.levels.last().map_or(0.0, |made| made.u_relative);
    let u = (u_solution * u_solution + u_volume * u_volume).sqrt();
    let microgram = Mass::unit("µg").expect("a unit of mass");
    let added = microgram.read_si(spiking * volume);
    let added = Uncertain {
        value: Written::in_unit(&plain(added), microgram).expect("a finite figure"),
        spread: Some(Spread {
            given: Given::U(Written::in_unit(&digits(u * added, 2), microgram).expect("a finite figure")),
            dof: None,
            shared: None,
        }),
    };
    let standards = Standards {
        element: symbol(),
        stock: analyte.stock.0.clone(),
        lots: std::iter::once(analyte.stock.0.clone()).chain(bench.lots.ancestors(&analyte.stock.0)).collect(),
        stock_amount: analyte.stock.1,
        solutions,
        found,
        spiked: (volume, pipette),
    };
    Ok((standards, added))
}

/// The portions of all batches, and those that each analyte's run measures.
fn portions(
    asked: &Asked<'_>,
    bench: &Bench,
    analytes: &[Analyte<'_>],
    spikes: &[Uncertain<Mass>],
) -> Result<(Vec<PreparationBatch>, Vec<Vec<Use>>), DayFault> {
    let order = asked.order;
    let planned = &bench.portions;
    // The largest expected content over its limit stands for a sample.
    let expected: Vec<Option<f64>> = order
        .samples
        .iter()
        .map(|sample| {
            let parts =
                analytes.iter().filter_map(|analyte| Some(analyte.expected(order, &sample.id)? / analyte.limit));
            parts.fold(None, |most: Option<f64>, part| Some(most.map_or(part, |most| most.max(part))))
        })
        .collect();
    let split = batch::batches(&expected);
    let mut batches = Vec::new();
    let mut uses: Vec<Vec<Use>> = analytes.iter().map(|_| Vec::new()).collect();
    for (number, of) in split.iter().enumerate() {
        let name = if split.len() == 1 { format!("P-{}", order.id) } else { format!("P-{}-{}", order.id, number + 1) };
        let id: BatchId = name.parse()?;
        let mut all = Vec::new();
        let mut add = |mark: &str, role: PortionRole| -> Result<PortionId, DayFault> {
            let portion: PortionId = format!("{name}-{mark}").parse()?;
            let is_blank = role == PortionRole::MethodBlank;
            all.push(Portion {
                id: portion.clone(),
                role,
                mass: planned.mass.clone().filter(|_| !is_blank),
                volume_taken: planned.taken.clone().filter(|_| !is_blank),
                volume: Some(planned.made_up_to.clone()),
                area: None,
                dry_matter: None,
                dose: None,
            });
            Ok(portion)
        };
        let mut measure = |place: usize, portion: &PortionId, name: String, expected: f64| {
            uses[place].push(Use { batch: id.clone(), portion: portion.clone(), name, expected });
        };
        let blank = add("B", PortionRole::MethodBlank)?;
        for place in 0..analytes.len() {
            measure(place, &blank, format!("method blank {name}"), 0.0);
        }
        for (place, analyte) in analytes.iter().enumerate() {
            let Some(control) = analyte.control else { continue };
            let role = PortionRole::Control {
                material: control.material.clone(),
                assigned: control.assigned.clone(),
                u: control.u.clone(),
            };
            let portion = add(&format!("C-{}", analyte.symbol), role)?;
            measure(place, &portion, format!("control {}", analyte.symbol), control.assigned.si() * analyte.taken);
        }
        let content = |analyte: &Analyte<'_>, sample: &SampleId| {
            analyte.expected(order, sample).unwrap_or(analyte.limit / 2.0) * analyte.taken
        };
        let mut of_sample: BTreeMap<usize, PortionId> = BTreeMap::new();
        for &sample_place in &of.samples {
            let sample = &order.samples[sample_place].id;
            let role = PortionRole::Sample { order: order.id.clone(), sample: sample.clone() };
            let portion = add(&format!("{:02}", sample_place + 1), role)?;
            for (place, analyte) in analytes.iter().enumerate() {
                measure(place, &portion, sample.to_string(), content(analyte, sample));
            }
            of_sample.insert(sample_place, portion);
        }
        let repeated = &order.samples[of.duplicate].id;
        let duplicate = add("D", PortionRole::Duplicate { of: of_sample[&of.duplicate].clone() })?;
        let spiked = &order.samples[of.spike].id;
        for (place, analyte) in analytes.iter().enumerate() {
            measure(place, &duplicate, format!("{repeated} duplicate"), content(analyte, repeated));
            let added = spikes[place].value.value().si() / planned.made_up_to.value.value().si();
            let role = PortionRole::Spike {
                of: of_sample[&of.spike].clone(),
                added: spikes[place].clone(),
                added_volume: None,
            };
            let portion = add(&format!("S-{}", analyte.symbol), role)?;
            measure(place, &portion, format!("{spiked} spike {}", analyte.symbol), content(analyte, spiked) + added);
        }
        batches.push(PreparationBatch {
            id: id.clone(),
            prepared: asked.prepared.clone(),
            by: asked.by.to_owned(),
            procedure: planned.procedure.clone(),
            portions: all,
        });
    }
    Ok((batches, uses))
}

/// The rows of a run as the record holds them.
fn rows(analyte: &Analyte<'_>, standards: &Standards, uses: &[Use], cells: &[Cell], places: &[usize]) -> Vec<Row> {
    let unit = analyte.unit();
    let figure = |si: f64, place: usize| {
        let value = Written::in_unit(&plain(unit.read_si(si)), unit).expect("a finite figure");
        let u = standards.found.tree.levels.get(place).map_or(0.0, |made| made.u_relative);
        let u = Written::in_unit(&digits(unit.read_si(u * si), 2), unit).expect("a finite figure");
        Uncertain { value, spread: Some(Spread { given: Given::U(u), dof: None, shared: None }) }
    };
    let n = analyte.levels.len();
    let (mut checks, mut blanks) = (0, 0);
    cells
        .iter()
        .enumerate()
        .map(|(place, cell)| {
            let (name, holds) = match *cell {
                Cell::CalibrationBlank => ("calibration blank".to_owned(), RowHolds::CalibrationBlank),
                Cell::Level(level) => {
                    let amount = figure(analyte.levels[level], level);
                    (format!("standard {}", amount.value), RowHolds::Standard { amount })
                }
                Cell::Check => {
                    checks += 1;
                    (format!("check {checks}"), RowHolds::Check { amount: figure(analyte.check, n) })
                }
                Cell::LowCheck => {
                    ("low check".to_owned(), RowHolds::Check { amount: figure(analyte.low_check, n + 1) })
                }
                Cell::CheckBlank => {
                    blanks += 1;
                    (format!("check blank {blanks}"), RowHolds::CheckBlank)
                }
                Cell::CleanOut => ("blank after clean-out".to_owned(), RowHolds::CheckBlank),
                Cell::Portion(which) => {
                    let one = &uses[which];
                    let factor = analyte.dilution(one.expected);
                    let factor = Written::in_unit(&plain(factor), Factor::usual_unit()).expect("a finite figure");
                    let holds = RowHolds::Portion {
                        batch: one.batch.clone(),
                        portion: one.portion.clone(),
                        dilution: Uncertain::exact(factor),
                    };
                    (one.name.clone(), holds)
                }
            };
            Row {
                number: u32::try_from(place + 1).unwrap_or(u32::MAX),
                cup: places.get(place).and_then(|place| u32::try_from(*place).ok()),
                name,
                holds,
                replicates: analyte.method.replicates.n,
                follows: None,
            }
        })
        .collect()
}

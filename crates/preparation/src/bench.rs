//! The bench: ware, lots, instruments, trays, and how portions are made there, as its document says.
//!
//! Source: none needed, it holds figures and sorts out what may not be used.

use darkline_metrology::kind::{Mass, Volume};
use darkline_record::figure::Uncertain;
use darkline_record::order::ResultFigure;
use jiff::civil::Date;
use serde::Serialize;

use crate::lot::{Lot, LotFault, Lots};
use crate::ware::{Flask, Pipette, overdue};
use crate::weighing::smallest_weight;

/// All that stands on a bench.
#[derive(Clone, Debug, PartialEq)]
pub struct Bench {
    /// What the laboratory calls it.
    pub id: String,
    /// Pipettes.
    pub pipettes: Vec<Pipette>,
    /// Flasks.
    pub flasks: Vec<Flask>,
    /// Balances.
    pub balances: Vec<Balance>,
    /// Lots of stocks, acids, modifiers.
    pub lots: Lots,
    /// The furnace, where there is one.
    pub furnace: Option<Furnace>,
    /// The flame, where there is one.
    pub flame: Option<Flame>,
    /// Lamps that can burn at the same time.
    pub lamps: usize,
    /// Time a lamp needs to warm up, in s.
    pub warm_up: f64,
    /// Time to change from flame to furnace or back, in s.
    pub technique_change: f64,
    /// How portions are made.
    pub portions: Portions,
    /// Control materials, one for each element and matrix.
    pub controls: Vec<ControlMaterial>,
}

/// A balance.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Balance {
    /// What the laboratory calls it.
    pub id: String,
    /// Standard deviation of ten weighings of one small weight, in kg.
    pub sd: f64,
    /// The last digit shown, in kg.
    pub division: f64,
    /// The last day its calibration holds.
    pub due: Option<Date>,
}

/// A furnace with its sampler.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Furnace {
    /// What the laboratory calls it.
    pub instrument: String,
    /// Time from one firing to the next, in s.
    pub seconds_per_reading: f64,
    /// Places of the tray.
    pub places: usize,
    /// Volume of a cup, in m³.
    pub cup: f64,
    /// What the sampler does not reach, in m³.
    pub rest: f64,
    /// What evaporates from a cup, in m³ an hour.
    pub evaporation: f64,
    /// Firings that the tube in place still has.
    pub firings_left: usize,
    /// Firings of a new tube.
    pub tube_life: usize,
    /// Time to change the tube and condition the new one, in s.
    pub tube_change: f64,
}

/// A flame.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Flame {
    /// What the laboratory calls it.
    pub instrument: String,
    /// Time from one reading to the next, in s.
    pub seconds_per_reading: f64,
    /// Volume drawn for one reading, in m³.
    pub per_reading: f64,
}

/// How portions are made.
#[derive(Clone, Debug, PartialEq)]
pub struct Portions {
    /// How, in a sentence.
    pub procedure: String,
    /// Volume taken of a liquid.
    pub taken: Option<Uncertain<Volume>>,
    /// Mass weighed in of a solid, as it is planned.
    pub mass: Option<Uncertain<Mass>>,
    /// Volume made up to.
    pub made_up_to: Uncertain<Volume>,
}

/// A control material.
#[derive(Clone, Debug, PartialEq)]
pub struct ControlMaterial {
    /// The element its value is of.
    pub element: String,
    /// What it is.
    pub material: String,
    /// Its value.
    pub assigned: ResultFigure,
    /// Standard uncertainty of its value.
    pub u: Option<ResultFigure>,
}

/// Something that may not be used.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Refused {
    /// What.
    pub what: String,
    /// Why.
    pub why: String,
}

impl Balance {
    /// The smallest mass it weighs to 0.1 % (k = 2), in kg.
    pub fn smallest(&self) -> f64 {
        smallest_weight(self.sd, self.division, 0.001)
    }
}

impl Bench {
    /// The bench without what may not be used on a day, and what that is.
    pub fn usable(&self, on: Date) -> (Bench, Vec<Refused>) {
        let mut refused = Vec::new();
        let mut serves = |what: String, due: Option<Date>| match due {
            Some(day) if overdue(due, on) => {
                refused.push(Refused { what, why: format!("its calibration was due on {day}") });
                false
            }
            _ => true,
        };
        let mut bench = self.clone();
        bench.pipettes.retain(|pipette| serves(format!("pipette {}", pipette.id), pipette.due));
        bench.flasks.retain(|flask| serves(format!("flask {}", flask.id), flask.due));
        bench.balances.retain(|balance| serves(format!("balance {}", balance.id), balance.due));
        for lot in self.lots.iter() {
            if let Err(fault @ LotFault::Expired { .. }) = self.lots.usable(&lot.id, on) {
                refused.push(Refused { what: format!("lot {}", lot.id), why: fault.to_string() });
            }
        }
        (bench, refused)
    }

    /// The stock of an element that serves longest on a day.
    ///
    /// # Errors
    /// What is known of those that do not serve.
    pub fn stock(&self, element: &str, on: Date) -> Result<&Lot, Vec<LotFault>> {
        let mut faults = Vec::new();
        let mut best: Option<&Lot> = None;
        for lot in self.lots.iter().filter(|lot| lot.holds.as_ref().is_some_and(|holds| holds.element == element)) {
            match self.lots.usable(&lot.id, on) {
                Err(fault) => faults.push(fault),
                Ok(()) => {
                    let last = |lot: &Lot| self.lots.expires(&lot.id).map_or(Date::MAX, |(day, _)| day);
                    if best.is_none_or(|best| last(lot) > last(best)) {
                        best = Some(lot);
                    }
                }
            }
        }
        best.ok_or(faults)
    }
}

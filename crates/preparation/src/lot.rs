//! Lots of stocks, acids, modifiers and of what is made from them: certificate, opening, expiry, evaporation.
//!
//! [`Lots::expires`] follows the parents: a child expires with its first parent. [`concentrated`] tells what evaporation
//! did to a bottle from its masses.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// A lot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lot {
    /// What the laboratory calls it.
    pub id: String,
    /// What it is.
    pub what: String,
    /// The certificate it came with.
    pub certificate: Option<String>,
    /// When it was opened or made.
    pub opened: Option<Date>,
    /// The last day that the maker or the laboratory gives it.
    pub expires: Option<Date>,
    /// How long it serves once opened, in days.
    pub days_once_opened: Option<u16>,
    /// The lots it was made of.
    pub made_of: Vec<String>,
    /// What a stock holds.
    pub holds: Option<Holds>,
}

/// What a stock solution holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Holds {
    /// The element.
    pub element: String,
    /// How much, in kg/m³.
    pub amount: f64,
    /// Its relative standard uncertainty.
    pub u_relative: f64,
    /// Volume that may be used, in m³.
    pub volume: f64,
}

/// All lots of a bench, by identity.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Lots {
    lots: BTreeMap<String, Lot>,
}

/// Lots that contradict each other.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LotFault {
    /// A parent that is not there.
    #[error("lot {lot} was made of {parent}, and there is no such lot")]
    NoParent {
        /// The lot.
        lot: String,
        /// The parent.
        parent: String,
    },
    /// A lot that was made of itself.
    #[error("lot {lot} was made of itself, by way of {by_way_of}")]
    Circle {
        /// The lot.
        lot: String,
        /// The last parent before it came back.
        by_way_of: String,
    },
    /// Two lots of one name.
    #[error("there are two lots {lot}")]
    Twice {
        /// The lot.
        lot: String,
    },
    /// It may not be used any more.
    #[error("lot {lot} expired on {expired}{}", by_way_of(.lot, .because_of))]
    Expired {
        /// The lot.
        lot: String,
        /// The day.
        expired: Date,
        /// The lot whose day it is.
        because_of: String,
    },
    /// It is not known.
    #[error("there is no lot {lot}")]
    Unknown {
        /// The lot.
        lot: String,
    },
}

fn by_way_of(lot: &str, because_of: &str) -> String {
    if lot == because_of { String::new() } else { format!(", with {because_of} that it was made of") }
}

impl Lot {
    /// The last day by its own papers.
    fn own_last_day(&self) -> Option<Date> {
        let once_opened = self
            .opened
            .zip(self.days_once_opened)
            .and_then(|(opened, days)| opened.checked_add(jiff::Span::new().days(i64::from(days))).ok());
        match (self.expires, once_opened) {
            (Some(expires), Some(once_opened)) => Some(expires.min(once_opened)),
            (expires, once_opened) => expires.or(once_opened),
        }
    }
}

impl Lots {
    /// The lots, held against each other.
    ///
    /// # Errors
    /// [`LotFault::Twice`], [`LotFault::NoParent`], [`LotFault::Circle`]: the first found, in the order given.
    pub fn new(lots: impl IntoIterator<Item = Lot>) -> Result<Self, LotFault> {
        let mut all = BTreeMap::new();
        for lot in lots {
            if all.contains_key(&lot.id) {
                return Err(LotFault::Twice { lot: lot.id });
            }
            all.insert(lot.id.clone(), lot);
        }
        let lots = Lots { lots: all };
        for lot in lots.lots.values() {
            for parent in &lot.made_of {
                if !lots.lots.contains_key(parent) {
                    return Err(LotFault::NoParent { lot: lot.id.clone(), parent: parent.clone() });
                }
                if parent == &lot.id || lots.ancestors(parent).contains(&lot.id) {
                    return Err(LotFault::Circle { lot: lot.id.clone(), by_way_of: parent.clone() });
                }
            }
        }
        Ok(lots)
    }

    /// A lot.
    pub fn get(&self, id: &str) -> Option<&Lot> {
        self.lots.get(id)
    }
    /// All lots, by identity.
    pub fn iter(&self) -> impl Iterator<Item = &Lot> {
        self.lots.values()
    }

    /// Everything a lot was made of, and what that was made of.
    pub fn ancestors(&self, id: &str) -> BTreeSet<String> {
        let mut found = BTreeSet::new();
        let mut open = vec![id.to_owned()];
        while let Some(next) = open.pop() {
            for parent in self.lots.get(&next).map_or(&[][..], |lot| &lot.made_of) {
                if found.insert(parent.clone()) {
                    open.push(parent.clone());
                }
            }
        }
        found
    }

    /// The lots that were made of a lot, directly or by way of others.
    pub fn descendants(&self, id: &str) -> BTreeSet<String> {
        self.lots.keys().filter(|other| self.ancestors(other).contains(id)).cloned().collect()
    }

    /// The last day of a lot and the lot whose day it is: its own, or that of the first of its ancestors to expire.
    pub fn expires(&self, id: &str) -> Option<(Date, &Lot)> {
        let mut all: Vec<&Lot> = self.lots.get(id).into_iter().collect();
        all.extend(self.ancestors(id).iter().filter_map(|ancestor| self.lots.get(ancestor)));
        // Among equal days the lot itself stands first.
        all.into_iter().filter_map(|lot| Some((lot.own_last_day()?, lot))).min_by_key(|(day, _)| *day)
    }

    /// Whether a lot may be used on a day.
    ///
    /// # Errors
    /// [`LotFault::Unknown`], [`LotFault::Expired`].
    pub fn usable(&self, id: &str, on: Date) -> Result<(), LotFault> {
        if !self.lots.contains_key(id) {
            return Err(LotFault::Unknown { lot: id.to_owned() });
        }
        match self.expires(id) {
            Some((expired, lot)) if on > expired => {
                Err(LotFault::Expired { lot: id.to_owned(), expired, because_of: lot.id.clone() })
            }
            _ => Ok(()),
        }
    }
}

/// By which factor evaporation made a solution stronger while the bottle stood.
///
/// # Arguments
/// * `put_away`, `taken_out`: mass of the bottle after the last use and before this one. `empty`: mass of the empty bottle;
///   all in one unit.
///
/// # Returns
/// None where the masses are none of a bottle that lost some of its solution or nothing.
///
/// # Source
/// Conservation of mass, only solvent evaporates; common practice, no source.
pub fn concentrated(put_away: f64, taken_out: f64, empty: f64) -> Option<f64> {
    let (before, after) = (put_away - empty, taken_out - empty);
    (empty >= 0.0 && after > 0.0 && before >= after).then(|| before / after)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lot(id: &str, expires: Option<&str>, made_of: &[&str]) -> Lot {
        Lot {
            id: id.into(),
            what: "solution".into(),
            certificate: None,
            opened: None,
            expires: expires.map(|day| day.parse().unwrap()),
            days_once_opened: None,
            made_of: made_of.iter().map(|id| (*id).into()).collect(),
            holds: None,
        }
    }

    fn day(text: &str) -> Date {
        text.parse().unwrap()
    }

    #[test]
    fn a_child_expires_with_its_first_parent() {
        let lots = Lots::new([
            lot("stock", Some("2027-01-31"), &[]),
            lot("acid", Some("2026-06-30"), &[]),
            lot("working", Some("2026-12-31"), &["stock", "acid"]),
            lot("level-1", None, &["working"]),
        ])
        .unwrap();
        let (last, because_of) = lots.expires("level-1").unwrap();
        assert_eq!((last, because_of.id.as_str()), (day("2026-06-30"), "acid"));
        assert_eq!(lots.usable("level-1", day("2026-06-30")), Ok(()));
        let told = lots.usable("level-1", day("2026-07-01")).unwrap_err();
        assert_eq!(told.to_string(), "lot level-1 expired on 2026-06-30, with acid that it was made of");
        assert_eq!(lots.descendants("acid").into_iter().collect::<Vec<_>>(), ["level-1", "working"]);
    }

    #[test]
    fn an_opened_bottle_serves_its_days() {
        let mut modifier = lot("pd", Some("2028-01-01"), &[]);
        modifier.opened = Some(day("2026-03-01"));
        modifier.days_once_opened = Some(30);
        let lots = Lots::new([modifier]).unwrap();
        assert_eq!(lots.expires("pd").unwrap().0, day("2026-03-31"));
    }

    #[test]
    fn lots_that_contradict_each_other_are_told() {
        let circle = Lots::new([lot("a", None, &["b"]), lot("b", None, &["a"])]);
        assert_eq!(circle, Err(LotFault::Circle { lot: "a".into(), by_way_of: "b".into() }));
        assert!(matches!(Lots::new([lot("a", None, &["a"])]), Err(LotFault::Circle { .. })));
        assert!(matches!(Lots::new([lot("a", None, &["c"])]), Err(LotFault::NoParent { .. })));
        assert!(matches!(Lots::new([lot("a", None, &[]), lot("a", None, &[])]), Err(LotFault::Twice { .. })));
        assert!(matches!(Lots::default().usable("x", day("2026-01-01")), Err(LotFault::Unknown { .. })));
    }

    #[test]
    fn a_tenth_evaporated_makes_the_rest_stronger_by_a_ninth() {
        assert_eq!(concentrated(150.0, 140.0, 50.0), Some(100.0 / 90.0));
        assert_eq!(concentrated(150.0, 150.0, 50.0), Some(1.0));
        for none in
            [concentrated(140.0, 150.0, 50.0), concentrated(150.0, 50.0, 50.0), concentrated(f64::NAN, 1.0, 0.0)]
        {
            assert_eq!(none, None);
        }
    }
}

//! Bracketing: a sample between two standards close to it, or beside one, with drift taken out in run order.
//!
//! [`Bracket`] reads an amount between a lower and a higher standard; [`OneStandard`] by proportion to one. Standards
//! measured several times give their response at the sample's place in the run by [`Drift`].
//!
//! A sample outside its bracket is not read from it.

use darkline_metrology::kind::{Kind, MassConcentration, Response};

use crate::shown::Shown;

/// Readings of one standard along the run, from which its response at a place between them follows.
#[derive(Clone, Debug, PartialEq)]
pub struct Drift {
    /// Place in the run (position or time) and response, by ascending place.
    readings: Vec<(f64, Response)>,
}

/// The readings a response at a place was taken from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interpolated {
    /// Place of the earlier reading in the list.
    pub earlier: usize,
    /// Place of the later reading in the list; the same where the sample stands outside the readings.
    pub later: usize,
    /// Share of the later reading, between 0 and 1.
    pub share: f64,
    /// The response at the place.
    pub response: Response,
    /// Whether the sample stands between two readings.
    pub is_enclosed: bool,
}

/// A sample that a bracket cannot read.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NotBracketed {
    /// The standards do not stand in order.
    #[error(
        "the standards {} µg/L and {} µg/L gave {} and {}; the second must exceed the first",
        Shown(*low),
        Shown(*high),
        Shown(*response_low),
        Shown(*response_high)
    )]
    NotRising {
        /// Lower amount, in µg/L.
        low: f64,
        /// Higher amount, in µg/L.
        high: f64,
        /// Response of the lower.
        response_low: f64,
        /// Response of the higher.
        response_high: f64,
    },
    /// The response lies outside the bracket.
    #[error("the response {} lies outside the bracket {} to {}", Shown(*response), Shown(*low), Shown(*high))]
    Outside {
        /// The response.
        response: f64,
        /// Response of the lower standard.
        low: f64,
        /// Response of the higher standard.
        high: f64,
    },
    /// A figure is not finite.
    #[error("a figure of the bracket is not finite")]
    NotFinite,
    /// A standard uncertainty is below zero.
    #[error("the standard uncertainty {} of a response is below zero", Shown(*u))]
    NotUncertain {
        /// The standard uncertainty.
        u: f64,
    },
}

impl Interpolated {
    /// Standard uncertainty of the response at the place, from that of one reading; less than that between two readings.
    ///
    /// # Source
    /// First order (GUM 5.1.2) over two independent readings: u·√((1 − share)² + share²).
    pub fn u_response(&self, u_reading: Response) -> Response {
        let (earlier, later) = (1.0 - self.share, self.share);
        Response::from_si(u_reading.si() * (earlier * earlier + later * later).sqrt())
    }
}

impl Drift {
    /// Readings of one standard, in any order; `None` without one, or with a figure that is not finite.
    pub fn of(readings: &[(f64, Response)]) -> Option<Self> {
        let finite = |(place, response): &(f64, Response)| place.is_finite() && response.si().is_finite();
        if readings.is_empty() || !readings.iter().all(finite) {
            return None;
        }
        let mut readings = readings.to_vec();
        readings.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.si().total_cmp(&b.1.si())));
        Some(Self { readings })
    }

    /// The readings, by ascending place.
    pub fn readings(&self) -> &[(f64, Response)] {
        &self.readings
    }

    /// The response at a place: straight between the readings before and after it; of the nearest one outside.
    ///
    /// # Source
    /// M. S. Epstein, course material on atomic absorption, method of bracketing; the rule outside the readings is common
    /// practice, no source. Checked by `tests/published/calcium_in_serum.rs`.
    pub fn at(&self, place: f64) -> Interpolated {
        let last = self.readings.len() - 1;
        let only = |reading: usize| Interpolated {
            earlier: reading,
            later: reading,
            share: 0.0,
            response: self.readings[reading].1,
            is_enclosed: self.readings[reading].0 == place,
        };
        let Some(later) = self.readings.iter().position(|(at, _)| *at >= place) else { return only(last) };
        if later == 0 || self.readings[later].0 == place {
            return only(later);
        }
        let ((before, low), (after, high)) = (self.readings[later - 1], self.readings[later]);
        let share = (place - before) / (after - before);
        Interpolated {
            earlier: later - 1,
            later,
            share,
            response: Response::from_si(low.si() + share * (high.si() - low.si())),
            is_enclosed: true,
        }
    }
}

/// Two standards around a sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bracket {
    /// Amount of the lower standard.
    pub low: MassConcentration,
    /// Amount of the higher standard.
    pub high: MassConcentration,
    /// Response of the lower standard, at the sample's place in the run.
    pub response_low: Response,
    /// Response of the higher standard, at the sample's place in the run.
    pub response_high: Response,
}

/// An amount read in a bracket.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bracketed {
    /// The amount.
    pub amount: MassConcentration,
    /// Where in the bracket it stands, 0 at the lower and 1 at the higher standard.
    pub position: f64,
}

impl Bracket {
    /// A bracket from standards read once or several times along the run, at a sample's place in it.
    ///
    /// # Source
    /// As [`Drift::at`].
    pub fn at(low: (MassConcentration, &Drift), high: (MassConcentration, &Drift), place: f64) -> Self {
        Self {
            low: low.0,
            high: high.0,
            response_low: low.1.at(place).response,
            response_high: high.1.at(place).response,
        }
    }

    /// The amount of a sample.
    ///
    /// # Errors
    /// [`NotBracketed`].
    ///
    /// # Source
    /// M. S. Epstein, course material on atomic absorption, method of bracketing:
    /// c = c_low + (c_high − c_low)·(A − A_low)/(A_high − A_low). Checked by `tests/published/calcium_in_serum.rs`.
    pub fn amount(&self, response: Response) -> Result<Bracketed, NotBracketed> {
        let (low, high) = (self.response_low.si(), self.response_high.si());
        let span = self.high.si() - self.low.si();
        if !(response.si().is_finite() && low.is_finite() && high.is_finite() && span.is_finite()) {
            return Err(NotBracketed::NotFinite);
        }
        if !(span > 0.0 && high > low) {
            let unit = MassConcentration::usual_unit();
            return Err(NotBracketed::NotRising {
                low: unit.read(self.low),
                high: unit.read(self.high),
                response_low: low,
                response_high: high,
            });
        }
        if response.si() < low || response.si() > high {
            return Err(NotBracketed::Outside { response: response.si(), low, high });
        }
        let position = (response.si() - low) / (high - low);
        Ok(Bracketed { amount: MassConcentration::from_si(self.low.si() + span * position), position })
    }

    /// Standard uncertainty of the amount from that of the three responses, the standards taken as exact.
    ///
    /// # Arguments
    /// * `u_response`: standard uncertainty of each response: that of one reading, where each standard was read once.
    ///
    /// # Errors
    /// As [`Bracket::amount`].
    ///
    /// # Source
    /// First order (GUM 5.1.2): u(c) = (c_high − c_low)/(A_high − A_low)·u_A·√(1 + (1 − f)² + f²). Checked by
    /// `tests/published/calcium_in_serum.rs`.
    pub fn u_amount(&self, response: Response, u_response: Response) -> Result<MassConcentration, NotBracketed> {
        self.u_amount_of(response, u_response, u_response, u_response)
    }

    /// The same where the three responses are not equally uncertain, for example because the standards were read before
    /// and after the sample ([`Interpolated::u_response`]).
    ///
    /// # Arguments
    /// * `u_sample`, `u_low`, `u_high`: standard uncertainties of the responses of the sample and of the two standards.
    ///
    /// # Errors
    /// As [`Bracket::amount`]; [`NotBracketed::NotUncertain`].
    ///
    /// # Source
    /// As [`Bracket::u_amount`]. Checked by the study of coverage in `docs/reference/accuracy.md`.
    pub fn u_amount_of(
        &self,
        response: Response,
        u_sample: Response,
        u_low: Response,
        u_high: Response,
    ) -> Result<MassConcentration, NotBracketed> {
        let f = self.amount(response)?.position;
        if let Some(u) = [u_sample, u_low, u_high].iter().find(|u| u.si() < 0.0) {
            return Err(NotBracketed::NotUncertain { u: u.si() });
        }
        let per_response = (self.high.si() - self.low.si()) / (self.response_high.si() - self.response_low.si());
        let of_standards = libm::hypot((1.0 - f) * u_low.si(), f * u_high.si());
        let u = per_response * libm::hypot(u_sample.si(), of_standards);
        if u.is_finite() { Ok(MassConcentration::from_si(u)) } else { Err(NotBracketed::NotFinite) }
    }
}

/// One standard beside a sample: amount proportional to response.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OneStandard {
    /// Amount of the standard.
    pub amount: MassConcentration,
    /// Its response, blank subtracted, at the sample's place in the run.
    pub response: Response,
}

impl OneStandard {
    /// The amount of a sample; right only where the response is proportional and blank-corrected.
    ///
    /// # Errors
    /// [`NotBracketed`].
    ///
    /// # Source
    /// c = c_standard·A/A_standard; common practice, no source.
    pub fn amount(&self, response: Response) -> Result<MassConcentration, NotBracketed> {
        let (standard, at) = (self.amount.si(), self.response.si());
        if !(standard > 0.0 && at > 0.0) {
            let unit = MassConcentration::usual_unit();
            let (high, response_high) = (unit.read(self.amount), at);
            return Err(NotBracketed::NotRising { low: 0.0, high, response_low: 0.0, response_high });
        }
        let amount = standard * response.si() / at;
        if amount.is_finite() { Ok(MassConcentration::from_si(amount)) } else { Err(NotBracketed::NotFinite) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bracket(low: f64, high: f64) -> Bracket {
        Bracket {
            low: MassConcentration::from_si(1.0),
            high: MassConcentration::from_si(2.0),
            response_low: Response::from_si(low),
            response_high: Response::from_si(high),
        }
    }

    #[test]
    fn a_sample_outside_its_bracket_is_not_read_from_it() {
        let outside = bracket(0.2, 0.4).amount(Response::from_si(0.41));
        assert_eq!(outside, Err(NotBracketed::Outside { response: 0.41, low: 0.2, high: 0.4 }));
        assert!(matches!(bracket(0.4, 0.2).amount(Response::from_si(0.3)), Err(NotBracketed::NotRising { .. })));
        assert_eq!(bracket(0.2, f64::NAN).amount(Response::from_si(0.3)), Err(NotBracketed::NotFinite));
        assert_eq!(bracket(0.2, 0.4).amount(Response::from_si(0.2)).unwrap().position, 0.0);
    }

    #[test]
    fn a_standard_stands_for_itself_outside_its_readings() {
        let drift = Drift::of(&[(5.0, Response::from_si(0.4)), (1.0, Response::from_si(0.2))]).unwrap();
        let at = |place: f64| drift.at(place);
        assert_eq!((at(0.0).response, at(0.0).is_enclosed), (Response::from_si(0.2), false));
        assert_eq!((at(9.0).response, at(9.0).is_enclosed), (Response::from_si(0.4), false));
        assert_eq!((at(3.0).share, at(3.0).is_enclosed), (0.5, true));
        assert_eq!(at(f64::NAN).later, 1);
        assert_eq!(Drift::of(&[]), None);
        assert_eq!(Drift::of(&[(1.0, Response::from_si(f64::NAN))]), None);
    }

    #[test]
    fn a_standard_read_twice_is_less_uncertain_between_the_readings() {
        let drift = Drift::of(&[(0.0, Response::from_si(0.2)), (10.0, Response::from_si(0.3))]).unwrap();
        let u = |place: f64| drift.at(place).u_response(Response::from_si(0.01)).si();
        assert!((u(5.0) - 0.01 / 2.0_f64.sqrt()).abs() < 1e-15 && u(0.0) == 0.01 && u(99.0) == 0.01);
        let (bracket, u) = (bracket(0.2, 0.4), Response::from_si(0.01));
        let response = Response::from_si(0.3);
        let equal = bracket.u_amount(response, u).unwrap();
        assert!((equal.si() - 5.0 * 0.01 * 1.5_f64.sqrt()).abs() < 1e-12);
        let none = Response::from_si(0.0);
        assert!((bracket.u_amount_of(response, u, none, none).unwrap().si() - 0.05).abs() < 1e-15);
        assert_eq!(bracket.u_amount(response, Response::from_si(-0.01)), Err(NotBracketed::NotUncertain { u: -0.01 }));
    }

    #[test]
    fn one_standard_reads_by_proportion() {
        let standard = OneStandard { amount: MassConcentration::from_si(2.0), response: Response::from_si(0.4) };
        assert_eq!(standard.amount(Response::from_si(0.3)), Ok(MassConcentration::from_si(2.0 * 0.3 / 0.4)));
        let nothing = OneStandard { response: Response::from_si(0.0), ..standard };
        assert!(nothing.amount(Response::from_si(0.3)).is_err());
    }
}

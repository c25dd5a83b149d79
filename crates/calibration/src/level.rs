//! Levels: the readings of a calibration grouped by the amount they stand at.
//!
//! [`levels`] groups points; a [`Level`] knows its mean and its scatter.

use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_metrology::summary;

use crate::point::{Columns, Point};

/// The readings of one standard, in ascending order.
#[derive(Clone, Debug, PartialEq)]
pub struct Level {
    /// Its amount.
    pub amount: MassConcentration,
    /// Its responses.
    pub responses: Vec<Response>,
    /// The weights of the responses.
    pub weights: Vec<f64>,
}

impl Level {
    /// Number of readings.
    pub fn n(&self) -> usize {
        self.responses.len()
    }

    fn figures(&self) -> Vec<f64> {
        self.responses.iter().map(|response| response.si()).collect()
    }

    /// The arithmetic mean of the responses; `None` where one is not finite.
    pub fn mean(&self) -> Option<Response> {
        summary::mean(&self.figures()).map(Response::from_si)
    }

    /// The standard deviation of the responses; `None` below two of them.
    pub fn sd(&self) -> Option<Response> {
        summary::sd(&self.figures()).map(Response::from_si)
    }

    /// The weighted sum of squared distances from the weighted mean.
    ///
    /// # Source
    /// Pure error of N. R. Draper, H. Smith, Applied Regression Analysis, 3rd ed., 1998, 2.1 (from memory), with weights.
    pub fn weighted_squares(&self) -> f64 {
        let (mut sum, mut weighted) = (0.0, 0.0);
        for (response, weight) in self.responses.iter().zip(&self.weights) {
            sum += weight;
            weighted += weight * (response.si() - self.responses[0].si());
        }
        let mean = weighted / sum;
        let mut squares = 0.0;
        for (response, weight) in self.responses.iter().zip(&self.weights) {
            let distance = (response.si() - self.responses[0].si()) - mean;
            squares += weight * distance * distance;
        }
        squares
    }
}

/// The levels of a calibration, from the lowest amount to the highest.
pub fn levels(points: &[Point]) -> Vec<Level> {
    let columns = Columns::of(points);
    let mut levels: Vec<Level> = Vec::new();
    for place in 0..points.len() {
        let amount = MassConcentration::from_si(columns.amounts[place]);
        if levels.last().is_none_or(|level| level.amount != amount) {
            levels.push(Level { amount, responses: Vec::new(), weights: Vec::new() });
        }
        if let Some(level) = levels.last_mut() {
            level.responses.push(Response::from_si(columns.responses[place]));
            level.weights.push(columns.weights[place]);
        }
    }
    levels
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_fall_into_levels_whatever_their_order() {
        let point = |amount, response| Point {
            amount: MassConcentration::from_si(amount),
            response: Response::from_si(response),
            weight: 2.0,
        };
        let levels = levels(&[point(2.0, 0.4), point(1.0, 0.2), point(2.0, 0.6)]);
        assert_eq!(levels.len(), 2);
        assert_eq!((levels[0].n(), levels[1].n()), (1, 2));
        assert_eq!(levels[1].mean(), Some(Response::from_si(0.5)));
        assert_eq!(levels[0].sd(), None);
        assert!((levels[1].weighted_squares() - 2.0 * 2.0 * 0.01).abs() < 1e-15);
        assert!(super::levels(&[]).is_empty());
    }
}

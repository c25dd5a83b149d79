//! Run rules: patterns within the limits that chance does not make.
//!
//! A rule fires at a point that completes the pattern and belongs to it. Every comparison is strict: a point on a limit is
//! not beyond it, a point on the mean belongs to neither side.

/// A pattern.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RunRule {
    /// One point beyond three standard deviations.
    BeyondThree,
    /// Two of three beyond two on one side.
    TwoOfThreeBeyondTwo,
    /// Four of five beyond one on one side.
    FourOfFiveBeyondOne,
    /// So many on one side of the mean.
    OneSide(u8),
    /// So many rising or falling.
    Trend(u8),
    /// Fourteen up and down in turn.
    FourteenAlternating,
    /// Fifteen within one standard deviation.
    FifteenWithinOne,
    /// Eight outside one standard deviation, on both sides.
    EightOutsideOne,
}

/// The rules of NIST/SEMATECH e-Handbook 6.3.2 (Western Electric).
pub const WESTERN_ELECTRIC: &[RunRule] =
    &[RunRule::BeyondThree, RunRule::TwoOfThreeBeyondTwo, RunRule::FourOfFiveBeyondOne, RunRule::OneSide(8)];

/// The rules of L. S. Nelson, J. Qual. Technol. 16 (1984) 237; ISO 8258:1991.
pub const NELSON: &[RunRule] = &[
    RunRule::BeyondThree,
    RunRule::OneSide(9),
    RunRule::Trend(6),
    RunRule::FourteenAlternating,
    RunRule::TwoOfThreeBeyondTwo,
    RunRule::FourOfFiveBeyondOne,
    RunRule::FifteenWithinOne,
    RunRule::EightOutsideOne,
];

/// The rules of ISO 7870-2:2013.
pub const ISO_7870_2: &[RunRule] = &[RunRule::BeyondThree, RunRule::OneSide(7), RunRule::Trend(7)];

impl RunRule {
    /// Its name.
    pub fn name(self) -> String {
        match self {
            RunRule::BeyondThree => "beyond-3s".into(),
            RunRule::TwoOfThreeBeyondTwo => "2-of-3-beyond-2s".into(),
            RunRule::FourOfFiveBeyondOne => "4-of-5-beyond-1s".into(),
            RunRule::OneSide(n) => format!("{n}-one-side"),
            RunRule::Trend(n) => format!("{n}-trend"),
            RunRule::FourteenAlternating => "14-alternating".into(),
            RunRule::FifteenWithinOne => "15-within-1s".into(),
            RunRule::EightOutsideOne => "8-outside-1s".into(),
        }
    }

    /// The places where it fires, from zero.
    ///
    /// # Arguments
    /// * `z`: distances from the mean in standard deviations, in the order of the run.
    pub fn fires(self, z: &[f64]) -> Vec<usize> {
        (0..z.len()).filter(|place| self.fires_at(z, *place)).collect()
    }

    fn fires_at(self, z: &[f64], place: usize) -> bool {
        let newest = |n: usize| (place + 1 >= n).then(|| &z[place + 1 - n..=place]);
        // The newest so many, fewer at the start.
        let up_to = |n: usize| &z[(place + 1).saturating_sub(n)..=place];
        let beyond = |limit: f64, n: usize, wanted: usize| {
            [1.0, -1.0].into_iter().any(|side| {
                z[place] * side > limit && up_to(n).iter().filter(|value| **value * side > limit).count() >= wanted
            })
        };
        match self {
            RunRule::BeyondThree => z[place].abs() > 3.0,
            RunRule::TwoOfThreeBeyondTwo => beyond(2.0, 3, 2),
            RunRule::FourOfFiveBeyondOne => beyond(1.0, 5, 4),
            RunRule::OneSide(n) => newest(usize::from(n)).is_some_and(on_one_side),
            RunRule::Trend(n) => newest(usize::from(n)).is_some_and(is_trend),
            RunRule::FourteenAlternating => newest(14).is_some_and(|of| {
                let steps: Vec<f64> = of.windows(2).map(|pair| pair[1] - pair[0]).collect();
                steps.iter().all(|step| *step != 0.0) && steps.windows(2).all(|pair| (pair[0] > 0.0) != (pair[1] > 0.0))
            }),
            RunRule::FifteenWithinOne => newest(15).is_some_and(|of| of.iter().all(|value| value.abs() < 1.0)),
            RunRule::EightOutsideOne => newest(8).is_some_and(|of| {
                of.iter().all(|value| value.abs() > 1.0)
                    && of.iter().any(|value| *value > 0.0)
                    && of.iter().any(|value| *value < 0.0)
            }),
        }
    }
}

fn on_one_side(of: &[f64]) -> bool {
    of.iter().all(|value| *value > 0.0) || of.iter().all(|value| *value < 0.0)
}

fn is_trend(of: &[f64]) -> bool {
    of.windows(2).all(|pair| pair[1] > pair[0]) || of.windows(2).all(|pair| pair[1] < pair[0])
}

/// What a point of a chart over long times says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LongTerm {
    /// In control.
    InControl,
    /// In control, but not over the long term.
    InControlLongTermOut,
    /// Out of control.
    OutOfControl,
}

impl LongTerm {
    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            LongTerm::InControl => "in control",
            LongTerm::InControlLongTermOut => "in control, long-term out",
            LongTerm::OutOfControl => "out of control",
        }
    }
}

/// The verdict of each point of a chart.
///
/// # Source
/// Nordtest TR 569, Internal Quality Control (from memory; that the warnings stand on one side was not confirmed).
pub fn long_term(z: &[f64]) -> Vec<LongTerm> {
    (0..z.len())
        .map(|place| {
            let before = &z[place.saturating_sub(2)..place];
            let warned = |side: f64| z[place] * side > 2.0 && before.iter().any(|value| value * side > 2.0);
            if z[place].abs() > 3.0 || warned(1.0) || warned(-1.0) {
                return LongTerm::OutOfControl;
            }
            let newest = |n: usize| (place + 1 >= n).then(|| &z[place + 1 - n..=place]);
            let mostly = |of: &[f64]| {
                let above = of.iter().filter(|value| **value > 0.0).count();
                let below = of.iter().filter(|value| **value < 0.0).count();
                above >= 10 || below >= 10
            };
            if newest(7).is_some_and(is_trend) || newest(11).is_some_and(mostly) {
                LongTerm::InControlLongTermOut
            } else {
                LongTerm::InControl
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn any_series_has_an_answer(z in prop::collection::vec(any::<f64>(), 0..40)) {
            for rule in WESTERN_ELECTRIC.iter().chain(NELSON).chain(ISO_7870_2) {
                prop_assert!(rule.fires(&z).iter().all(|place| *place < z.len()));
            }
            prop_assert_eq!(long_term(&z).len(), z.len());
        }

        #[test]
        fn a_series_upside_down_fires_at_the_same_points(z in prop::collection::vec(-4.0_f64..4.0, 0..40)) {
            let turned: Vec<f64> = z.iter().map(|value| -value).collect();
            for rule in WESTERN_ELECTRIC.iter().chain(NELSON).chain(ISO_7870_2) {
                prop_assert_eq!(rule.fires(&z), rule.fires(&turned));
            }
        }
    }
}

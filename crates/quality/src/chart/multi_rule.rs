//! The multi-rule scheme: several rules on one or two control materials.

/// A rule of the scheme for one material, in the order they are told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MultiRule {
    /// One beyond two: a warning.
    OneTwo,
    /// One beyond three.
    OneThree,
    /// Two in a row beyond two on one side.
    TwoTwo,
    /// Two in a row beyond two on opposite sides.
    RFour,
    /// Four in a row beyond one on one side.
    FourOne,
    /// Ten in a row on one side.
    TenX,
}

impl MultiRule {
    /// All of them.
    pub const ALL: [MultiRule; 6] = [
        MultiRule::OneTwo,
        MultiRule::OneThree,
        MultiRule::TwoTwo,
        MultiRule::RFour,
        MultiRule::FourOne,
        MultiRule::TenX,
    ];

    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            MultiRule::OneTwo => "1-2s",
            MultiRule::OneThree => "1-3s",
            MultiRule::TwoTwo => "2-2s",
            MultiRule::RFour => "R-4s",
            MultiRule::FourOne => "4-1s",
            MultiRule::TenX => "10-x",
        }
    }

    /// Whether it rejects a run, or only warns.
    pub fn rejects(self) -> bool {
        self != MultiRule::OneTwo
    }

    /// The places where it fires, from zero.
    ///
    /// # Source
    /// J. O. Westgard, P. L. Barry, M. R. Hunt, T. Groth, Clin. Chem. 27 (1981) 493-501. R-4s in its stated form: both
    /// beyond 2 s.
    pub fn fires(self, z: &[f64]) -> Vec<usize> {
        let on_one_side = |of: &[f64], limit: f64| of.iter().all(|x| *x > limit) || of.iter().all(|x| *x < -limit);
        let fires = |place: usize| {
            let newest = |n: usize| (place + 1 >= n).then(|| &z[place + 1 - n..=place]);
            match self {
                MultiRule::OneTwo => z[place].abs() > 2.0,
                MultiRule::OneThree => z[place].abs() > 3.0,
                MultiRule::TwoTwo => newest(2).is_some_and(|of| on_one_side(of, 2.0)),
                MultiRule::RFour => {
                    newest(2).is_some_and(|of| of.iter().any(|x| *x > 2.0) && of.iter().any(|x| *x < -2.0))
                }
                MultiRule::FourOne => newest(4).is_some_and(|of| on_one_side(of, 1.0)),
                MultiRule::TenX => newest(10).is_some_and(|of| on_one_side(of, 0.0)),
            }
        };
        (0..z.len()).filter(|place| fires(*place)).collect()
    }
}

/// The rules that fire for each run of two control materials.
///
/// # Source
/// As [`MultiRule::fires`].
pub fn two_levels(runs: &[[f64; 2]]) -> Vec<Vec<&'static str>> {
    let mut before: Option<[f64; 2]> = None;
    runs.iter()
        .map(|run| {
            let beyond = |side: f64, value: f64| value * side > 2.0;
            let both = |side: f64| beyond(side, run[0]) && beyond(side, run[1]);
            let across = |side: f64, level: usize| {
                beyond(side, run[level]) && before.is_some_and(|before| beyond(side, before[level]))
            };
            let opposite =
                (beyond(1.0, run[0]) && beyond(-1.0, run[1])) || (beyond(-1.0, run[0]) && beyond(1.0, run[1]));
            let mut fired = Vec::new();
            if run.iter().any(|value| value.abs() > 2.0) {
                fired.push("1-2s");
            }
            if run.iter().any(|value| value.abs() > 3.0) {
                fired.push("1-3s");
            }
            if both(1.0) || both(-1.0) {
                fired.push("2-2s within");
            }
            if [0, 1].into_iter().any(|level| across(1.0, level) || across(-1.0, level)) {
                fired.push("2-2s across");
            }
            if opposite {
                fired.push("R-4s within");
            }
            before = Some(*run);
            fired
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ten_in_a_row_on_the_mean_are_on_no_side() {
        assert!(MultiRule::TenX.fires(&[0.0; 12]).is_empty());
        assert_eq!(MultiRule::TenX.fires(&[0.1; 11]), [9, 10]);
        assert_eq!(two_levels(&[[2.5, -2.5], [2.5, 0.0]]), [vec!["1-2s", "R-4s within"], vec!["1-2s", "2-2s across"]]);
    }
}

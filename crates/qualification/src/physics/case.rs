//! A case of the physics pack: its inputs, and what was wrong with them.

use std::cell::RefCell;

use crate::answer::Answer;
use crate::case_file::{Node, Read};
use crate::stop::Stop;

/// Figures by the name the case gives them.
pub(super) type Figures = Vec<(&'static str, Answer)>;

/// The figures of a case, or why there are none.
pub(super) type Computed = Result<Figures, Stop>;

/// Samples and values of one case at most.
pub(super) const MOST: usize = 2_000_000;

/// The computations, by the names of cases without their parameters.
const FAMILIES: &[&str] = &[
    "appearance",
    "area_depends_on_temperature_of_loss",
    "area_error_when_window_cuts_the_background",
    "area_independent_of_heating_rate",
    "area_noise_is_not_point_noise",
    "area_sd_autocorrelated",
    "area_sd_line_baseline",
    "area_sd_vs_baseline_length",
    "area_sd_white_constant_baseline",
    "atomisation_area",
    "background_limit",
    "background_lowers_the_ceiling",
    "best_absorbance",
    "best_window_exponential_tail",
    "both_branches",
    "carry_over",
    "characteristic_absorbance",
    "dip_or_double_peak",
    "double_peak",
    "drift_correction",
    "emg_area_in_window",
    "emg_area_sampled",
    "emg_shape",
    "emg_values",
    "finite_sampling_time",
    "gaussian_background",
    "gaussian_line_width_ratio",
    "gaussian_pulses",
    "hand_over_weight",
    "height_of_a_blank_is_biased",
    "injected_volume",
    "is_the_loss_real",
    "net_curve",
    "next_pyrolysis_temperature",
    "noise_of_stray_corrected_absorbance",
    "over_correction",
    "overlap_consistency",
    "photon_noise",
    "pyrolysis_survival",
    "pyrometer_emissivity",
    "random_walk_drift",
    "read_delay",
    "residual_term",
    "restoration_sampled",
    "rollover_table",
    "sensitivity_and_rollover",
    "sensitivity_to_the_two_parameters",
    "set_from_wanted",
    "smoothing_height_loss",
    "smoothing_noise_gain",
    "stray_alpha",
    "stray_fraction_from_rollover",
    "stray_inverse",
    "supply_loss_equal_rates",
    "supply_loss_shape",
    "supply_loss_symmetry",
    "supply_loss_values",
    "two_component_error",
    "two_lines_in_the_slit",
    "unfinished_pulse",
    "weights",
    "white_and_slow_noise",
];

/// One case. Its inputs are asked for where they are used; the first thing that is wrong with them is kept, and stops the
/// case when it has run, so that a formula reads as it is written.
pub(super) struct Case<'a> {
    pub(super) node: Node<'a>,
    given: Node<'a>,
    name: &'a str,
    wrong: RefCell<Option<Stop>>,
}

impl<'a> Case<'a> {
    pub(super) fn of(node: Node<'a>) -> Read<Self> {
        Ok(Self { node, given: node.need("given")?, name: node.text_of("name")?, wrong: RefCell::new(None) })
    }

    fn keep(&self, wrong: Stop) {
        self.wrong.borrow_mut().get_or_insert(wrong);
    }

    fn kept<T>(&self, read: Read<T>, otherwise: T) -> T {
        read.unwrap_or_else(|fault| {
            self.keep(Stop::Fault(fault));
            otherwise
        })
    }

    /// What was wrong with the case, if anything.
    pub(super) fn wrong(&self) -> Option<Stop> {
        self.wrong.take()
    }

    /// A number given.
    pub(super) fn number(&self, key: &str) -> f64 {
        self.kept(self.given.number_of(key), f64::NAN)
    }

    /// A number given, or another where it is missing.
    pub(super) fn number_or(&self, key: &str, otherwise: f64) -> f64 {
        self.kept(self.given.number_or(key, otherwise), f64::NAN)
    }

    /// A whole number given.
    pub(super) fn count(&self, key: &str) -> usize {
        self.kept(self.given.count_of(key, MOST), 0)
    }

    /// A whole number given, as the library takes it.
    pub(super) fn small(&self, key: &str) -> u32 {
        u32::try_from(self.count(key)).unwrap_or(0)
    }

    /// Numbers given.
    pub(super) fn numbers(&self, key: &str) -> Vec<f64> {
        let node = self.given.need(key);
        let numbers = node.and_then(|node| {
            let numbers = node.numbers()?;
            if numbers.len() > 10_000 {
                Err(node.fault(format!("{key}: more figures than are run")))
            } else {
                Ok(numbers)
            }
        });
        self.kept(numbers, Vec::new())
    }

    /// Whole numbers given.
    pub(super) fn counts(&self, key: &str) -> Vec<usize> {
        let counts = self.given.list_of(key).and_then(|list| list.iter().map(|node| node.count(MOST)).collect());
        self.kept(counts, Vec::new())
    }

    /// A tolerance that has a name of its own; none where it is not stated.
    pub(super) fn tolerance(&self, key: &str) -> f64 {
        let tolerance =
            self.node.get("tolerance").map_or(Ok(f64::INFINITY), |stated| stated.number_or(key, f64::INFINITY));
        self.kept(tolerance, f64::INFINITY)
    }

    /// The name up to its first parameter: the longest computation known that it begins with, or the name itself.
    pub(super) fn family(&self) -> &str {
        let known = FAMILIES.iter().filter(|family| self.name.starts_with(**family));
        known.max_by_key(|family| family.len()).copied().unwrap_or(self.name)
    }

    /// A figure that the library may have no value for.
    pub(super) fn or_none(&self, value: Option<f64>, what: &str) -> f64 {
        value.unwrap_or_else(|| {
            self.keep(Stop::Refused(format!("{what} has no value for these figures")));
            f64::NAN
        })
    }

    /// Two ways to one figure must agree.
    pub(super) fn agree(&self, agrees: bool, what: &str) {
        if !agrees {
            self.keep(Stop::Refused(format!("two ways disagree: {what}")));
        }
    }

    /// A number of steps; more than are run are refused.
    pub(super) fn steps(&self, number: f64) -> usize {
        if number >= 0.0 && number <= MOST as f64 {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "in range")]
            return number.round() as usize;
        }
        self.keep(Stop::Refused(format!("{number} steps are not run")));
        0
    }
}

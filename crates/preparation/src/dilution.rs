//! One dilution: a volume of a solution made up to a larger one, and how sure the result is.

use serde::Serialize;

/// A dilution that was or will be made.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Dilution {
    /// Volume pipetted, in m³.
    pub taken: f64,
    /// Its standard uncertainty.
    pub u_taken: f64,
    /// Volume made up to, in m³.
    pub made_up_to: f64,
    /// Its standard uncertainty.
    pub u_made_up_to: f64,
}

impl Dilution {
    /// The amount of the solution made, from that of the solution taken.
    ///
    /// # Source
    /// Conservation of mass: c = c₀·V_p/V_f. Checked by `tests/published/ware.rs`.
    pub fn of(&self, amount: f64) -> f64 {
        amount * self.taken / self.made_up_to
    }

    /// The relative variance that the step adds.
    ///
    /// Both volumes have one temperature, whose effect cancels in their ratio.
    ///
    /// # Source
    /// GUM 5.1.6: relative variances of a product add. Checked by `tests/published/ware.rs`.
    pub fn relative_variance(&self) -> f64 {
        let (taken, made) = (self.u_taken / self.taken, self.u_made_up_to / self.made_up_to);
        taken * taken + made * made
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_without_doubt_adds_none() {
        let step = Dilution { taken: 1.0, u_taken: 0.0, made_up_to: 10.0, u_made_up_to: 0.0 };
        assert_eq!((step.of(1000.0), step.relative_variance()), (100.0, 0.0));
    }
}

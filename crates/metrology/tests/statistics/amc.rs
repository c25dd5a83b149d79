//! Analytical Methods Committee: robust statistics, Analyst 114 (1989) 1693-1702 and Technical Brief No. 6.

use crate::held::hold;

/// Analyst 114 (1989) 1693: copper in wholemeal flour, 24 values and one of 28.95.
#[test]
fn amc_1989_copper_in_flour() {
    hold("quality/cases/robust-copper-flour.toml");
}

/// AMC Technical Brief No. 6 (2001): two passes of winsorising, step by step.
#[test]
fn amc_brief_6_winsorising_step_by_step() {
    hold("quality/cases/robust-amc-brief-6.toml");
}

//! The window of a method: where the baseline is taken and between which limits is integrated.
//!
//! The baseline runs up to but not including its end, so that it can end where integration begins;
//! integration takes the samples at both its limits, as the trapezoid rule does.

use core::ops::Range;

use crate::smoothing::POINTS;
use crate::trace::Trace;
use crate::trace_fault::TraceFault;

/// Least number of baseline samples. Fewer give a standard deviation nobody should build on (our
/// choice: 4 degrees of freedom leave it uncertain by a third).
pub const LEAST_BASELINE: usize = 5;

/// Baseline and integration limits, in seconds from the start of the read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// The baseline begins with the first sample at this time or later.
    pub baseline_from_s: f64,
    /// The baseline ends before the first sample at this time or later.
    pub baseline_to_s: f64,
    /// Integration begins with the first sample at this time or later.
    pub from_s: f64,
    /// Integration ends with the last sample at this time or earlier.
    pub to_s: f64,
}

/// The samples a window falls on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Spans {
    pub(crate) baseline: Range<usize>,
    pub(crate) window: Range<usize>,
}

impl Window {
    /// Lays the window over a trace.
    pub(crate) fn spans(&self, trace: &Trace<'_>) -> Result<Spans, TraceFault> {
        let (times, n) = (trace.times(), trace.n_samples());
        check_limits(self.baseline_from_s, self.baseline_to_s)?;
        let baseline = times.first_from(self.baseline_from_s, n)..times.first_from(self.baseline_to_s, n);
        if baseline.len() < LEAST_BASELINE {
            return Err(TraceFault::TooFewBeforeAtomisation {
                n: baseline.len(),
                needed: LEAST_BASELINE,
                from_s: self.baseline_from_s,
                to_s: self.baseline_to_s,
                trace_from_s: trace.from_s(),
                trace_to_s: trace.to_s(),
            });
        }
        let window = integration_span(trace, self.from_s, self.to_s, POINTS)?;
        Ok(Spans { baseline, window })
    }
}

/// The samples between two integration limits, both taken; at least `needed` of them.
pub(crate) fn integration_span(
    trace: &Trace<'_>,
    from_s: f64,
    to_s: f64,
    needed: usize,
) -> Result<Range<usize>, TraceFault> {
    check_limits(from_s, to_s)?;
    let (times, n) = (trace.times(), trace.n_samples());
    let (trace_from_s, trace_to_s) = (trace.from_s(), trace.to_s());
    // A trace that begins or ends up to one step inside the limits is whole: the last sample of
    // 5 s at 50 Hz stands at 4.98 s.
    let slack = times.mean_step_s(n) * (1.0 + 1e-6);
    if from_s < trace_from_s - slack || to_s > trace_to_s + slack {
        return Err(TraceFault::IntegrationOutsideTrace { from_s, to_s, trace_from_s, trace_to_s });
    }
    let first = times.first_from(from_s, n);
    let span = first..times.end_at(to_s, n).max(first);
    if span.len() < needed {
        return Err(TraceFault::TooFewSamples { n: span.len(), needed, from_s, to_s });
    }
    Ok(span)
}

fn check_limits(from_s: f64, to_s: f64) -> Result<(), TraceFault> {
    for value in [from_s, to_s] {
        if !value.is_finite() {
            return Err(TraceFault::WindowNotANumber { value });
        }
    }
    if to_s < from_s {
        return Err(TraceFault::WindowReversed { from_s, to_s });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::Times;

    const WINDOW: Window = Window { baseline_from_s: 0.0, baseline_to_s: 0.5, from_s: 0.5, to_s: 5.0 };

    fn total(n: usize) -> Vec<f32> {
        (0..n).map(|i| (i % 7) as f32 * 0.001).collect()
    }

    fn spans(n: usize, window: Window) -> Result<Spans, TraceFault> {
        let (total, background) = (total(n), vec![0.0; n]);
        let times = Times::Even { start_s: 0.0, rate_hz: 50.0 };
        window.spans(&Trace::new(times, &total, &background)?)
    }

    #[test]
    fn a_baseline_of_half_a_second_at_50_hz_is_25_samples() {
        let found = spans(251, WINDOW).expect("a whole trace");
        assert_eq!(found, Spans { baseline: 0..25, window: 25..251 });
    }

    #[test]
    fn a_trace_whose_last_sample_is_one_step_early_is_whole() {
        let found = spans(250, WINDOW).expect("4.98 s of 5 s");
        assert_eq!(found.window, 25..250);
    }

    #[test]
    fn a_cut_trace_is_told_from_a_whole_one() {
        let fault = spans(200, WINDOW).expect_err("3.98 s of 5 s");
        assert_eq!(fault.to_string(), "integration from 0.5 s to 5 s, but the trace runs from 0 s to 3.98 s");
    }

    #[test]
    fn a_read_that_began_with_atomisation_has_no_baseline() {
        let window = Window { baseline_from_s: -0.5, baseline_to_s: 0.0, ..WINDOW };
        let fault = spans(251, window).expect_err("no sample before 0 s");
        assert!(matches!(fault, TraceFault::TooFewBeforeAtomisation { n: 0, needed: 5, .. }));
    }

    #[test]
    fn limits_that_are_reversed_or_no_numbers_are_refused() {
        let reversed = Window { from_s: 3.0, to_s: 1.0, ..WINDOW };
        assert_eq!(spans(251, reversed), Err(TraceFault::WindowReversed { from_s: 3.0, to_s: 1.0 }));
        let endless = Window { to_s: f64::INFINITY, ..WINDOW };
        assert_eq!(spans(251, endless), Err(TraceFault::WindowNotANumber { value: f64::INFINITY }));
        let short = Window { from_s: 1.0, to_s: 1.1, ..WINDOW };
        assert!(matches!(spans(251, short), Err(TraceFault::TooFewSamples { n: 6, needed: 11, .. })));
    }
}

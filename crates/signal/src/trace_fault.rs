//! What can be wrong with a trace or with the window laid over it.
//!
//! Every variant is a fact and holds the values needed to say it; whoever knows the file or the
//! reading adds the place.

use core::fmt;

/// One of the two channels of a trace.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Channel {
    /// Absorbance of analyte and background together.
    Total,
    /// Absorbance of the background alone.
    Background,
}

impl fmt::Display for Channel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Channel::Total => "total",
            Channel::Background => "background",
        })
    }
}

/// Why a trace cannot be taken, or cannot be reduced with this window.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum TraceFault {
    /// The channels do not have one value each for every moment.
    #[error("{total} values of total but {background} of background absorbance; every moment needs both")]
    LengthsDiffer {
        /// Number of values of the total channel.
        total: usize,
        /// Number of values of the background channel.
        background: usize,
    },
    /// The times given do not belong to the samples given.
    #[error("{times} times for {samples} samples; every sample needs its time")]
    TimesDiffer {
        /// Number of times.
        times: usize,
        /// Number of samples of each channel.
        samples: usize,
    },
    /// The samples of a batch do not make whole pulses.
    #[error("{n} samples do not make whole pulses of {n_samples}; the last one is cut")]
    PulseCut {
        /// Samples of a channel.
        n: usize,
        /// Samples of one pulse.
        n_samples: usize,
    },
    /// There is nothing to reduce.
    #[error("the trace has no samples")]
    NoSamples,
    /// The sampling rate is zero, negative or not a number.
    #[error("a sampling rate of {rate_hz} Hz; it must be above zero")]
    RateNotAboveZero {
        /// The rate as given.
        rate_hz: f64,
    },
    /// A time is infinite, not a number, or beyond any reading.
    #[error("the time of sample {index} is {value}, which is not a number of seconds")]
    TimeNotANumber {
        /// Which sample, counted from 0.
        index: usize,
        /// The time as given.
        value: f64,
    },
    /// A time is not later than the one before it.
    #[error("sample {index} is at {at_s} s, not later than {before_s} s before it")]
    TimeNotIncreasing {
        /// Which sample, counted from 0.
        index: usize,
        /// Time of the sample before.
        before_s: f64,
        /// Time of this sample.
        at_s: f64,
    },
    /// A sample is infinite or not a number.
    #[error("sample {index} of the {channel} channel is {value}, which is not an absorbance")]
    NotANumber {
        /// Which channel.
        channel: Channel,
        /// Which sample, counted from 0.
        index: usize,
        /// The value as given.
        value: f32,
    },
    /// The total channel never moves: nothing was measured, or one value was copied.
    #[error("all {n} samples of total absorbance are {value}; a measured trace has noise")]
    AllEqual {
        /// Number of samples.
        n: usize,
        /// The one value.
        value: f32,
    },
    /// A channel stays at its highest value: the instrument reads no higher.
    #[error("the {channel} channel stays at its highest value, {ceiling}, for {n} samples from {from_s} s: clipped")]
    Clipped {
        /// Which channel.
        channel: Channel,
        /// The value it stays at.
        ceiling: f32,
        /// Time of the first sample at the ceiling.
        from_s: f64,
        /// Number of samples in a row at the ceiling.
        n: usize,
    },
    /// Channels sampled in turn: too few values of one of them to read between.
    #[error("{n} values of the {channel} channel, {needed} are needed to bring channels sampled in turn together")]
    TooFewOfAChannel {
        /// Which channel.
        channel: Channel,
        /// Values found.
        n: usize,
        /// Values needed.
        needed: usize,
    },
    /// Channels sampled in turn: the background moves too fast between two of its values to be known at the total's.
    #[error(
        "the background is sampled too seldom: near {at_s} s it may be wrong by {error:.4} of {of:.4} between its values"
    )]
    BackgroundTooFast {
        /// Where it is worst, in seconds.
        at_s: f64,
        /// By how much it may be wrong there.
        error: f64,
        /// Height of the background.
        of: f64,
    },
    /// A pulse with so few samples in its width that neither its height nor its area is known.
    #[error("the pulse is sampled too coarsely: {n:.1} samples in its width at half height, {needed} are needed")]
    TooCoarse {
        /// Samples in the width at half height.
        n: f64,
        /// Samples needed.
        needed: f64,
    },
    /// A limit of the window is infinite or not a number.
    #[error("a window limit is {value}, which is not a number of seconds")]
    WindowNotANumber {
        /// The limit as given.
        value: f64,
    },
    /// A window ends before it begins.
    #[error("a window from {from_s} s to {to_s} s ends before it begins")]
    WindowReversed {
        /// Where it begins.
        from_s: f64,
        /// Where it ends.
        to_s: f64,
    },
    /// No sample, or too few, before atomisation to take the baseline from.
    #[error(
        "{n} samples in the baseline from {from_s} s to {to_s} s, {needed} are needed; the trace runs from {trace_from_s} s to {trace_to_s} s"
    )]
    TooFewBeforeAtomisation {
        /// Samples found.
        n: usize,
        /// Samples needed.
        needed: usize,
        /// Where the baseline begins.
        from_s: f64,
        /// Where the baseline ends.
        to_s: f64,
        /// Time of the first sample.
        trace_from_s: f64,
        /// Time of the last sample.
        trace_to_s: f64,
    },
    /// The integration limits reach beyond the trace: the pulse was cut, or the method is another one's.
    #[error("integration from {from_s} s to {to_s} s, but the trace runs from {trace_from_s} s to {trace_to_s} s")]
    IntegrationOutsideTrace {
        /// Where integration begins.
        from_s: f64,
        /// Where integration ends.
        to_s: f64,
        /// Time of the first sample.
        trace_from_s: f64,
        /// Time of the last sample.
        trace_to_s: f64,
    },
    /// Too few samples between the integration limits.
    #[error("{n} samples from {from_s} s to {to_s} s, {needed} are needed")]
    TooFewSamples {
        /// Samples found.
        n: usize,
        /// Samples needed.
        needed: usize,
        /// Where the window begins.
        from_s: f64,
        /// Where the window ends.
        to_s: f64,
    },
}

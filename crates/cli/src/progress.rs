//! How far a long command is: a bar on a terminal, a plain line now and then elsewhere, nothing for what is quick.

use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::talk;

/// What takes less is not worth a line.
const QUICK: Duration = Duration::from_secs(1);
/// Without a terminal, lines come no faster.
const BETWEEN_LINES: Duration = Duration::from_secs(5);

/// A command on its way.
pub struct Progress {
    bar: Option<ProgressBar>,
    what: &'static str,
    total: usize,
    next_line: Instant,
}

impl Progress {
    /// Begins to count.
    ///
    /// # Arguments
    /// * `what`: what is counted, in the plural.
    /// * `total`: how many there are.
    pub fn new(what: &'static str, total: usize) -> Self {
        let bar = talk::may_draw().then(|| {
            let bar = ProgressBar::with_draw_target(Some(total as u64), ProgressDrawTarget::stderr_with_hz(10));
            let style = ProgressStyle::with_template("{msg} {pos}/{len} {bar:30} about {eta} to go");
            bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()));
            bar.set_message(what);
            bar
        });
        Self { bar, what, total, next_line: Instant::now() + QUICK }
    }

    /// So many are done.
    pub fn done(&mut self, n: usize) {
        if Instant::now() < self.next_line {
            return;
        }
        match &self.bar {
            Some(bar) => bar.set_position(n as u64),
            None if n >= self.total => {}
            None => {
                talk::tell(&format!("{} {n} of {}", self.what, self.total));
                self.next_line = Instant::now() + BETWEEN_LINES;
            }
        }
    }

    /// Says something above the bar.
    pub fn beside<T>(&self, say: impl FnOnce() -> T) -> T {
        match &self.bar {
            Some(bar) => bar.suspend(say),
            None => say(),
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

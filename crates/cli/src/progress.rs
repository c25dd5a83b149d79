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
    what: &'static str,
    total: usize,
    began: Instant,
    bar: Option<ProgressBar>,
    next_line: Instant,
}

impl Progress {
    /// Begins to count.
    ///
    /// # Arguments
    /// * `what`: what is counted, in the plural.
    /// * `total`: how many there are.
    pub fn new(what: &'static str, total: usize) -> Self {
        let began = Instant::now();
        Self { what, total, began, bar: None, next_line: began + QUICK }
    }

    /// So many are done.
    pub fn done(&mut self, n: usize) {
        let now = Instant::now();
        if n >= self.total || now < self.began + QUICK {
            return;
        }
        if talk::may_draw() {
            self.bar.get_or_insert_with(|| bar(self.what, self.total, now - self.began)).set_position(n as u64);
        } else if now >= self.next_line {
            talk::tell(&format!("{} {n} of {}", self.what, self.total));
            self.next_line = now + BETWEEN_LINES;
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

fn bar(what: &'static str, total: usize, elapsed: Duration) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(total as u64), ProgressDrawTarget::stderr_with_hz(10));
    let style = ProgressStyle::with_template("{msg} {pos}/{len} {bar:30} about {eta} to go");
    bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()));
    bar.set_message(what);
    bar.with_elapsed(elapsed)
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

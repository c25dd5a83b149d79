//! Which trace belongs to which reading: both sequences aligned as a whole, by the numbers of the firings and by what each trace
//! integrates to.
//!
//! Numbers start again after midnight or a new tube, traces are missing or there twice: the order of both sequences tells most of
//! it, the response printed beside a reading the rest. What cannot be told apart waits for a person.
//!
//! # Source
//! S. B. Needleman, C. D. Wunsch, J. Mol. Biol. 48 (1970) 443: global alignment by dynamic programming. The scores are ours
//! (common practice, no source).

/// A reading or a trace, as far as it can be recognised.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Firing {
    /// Its number.
    pub number: Option<u32>,
    /// Its response: printed beside the reading, worked out of the trace.
    pub response: Option<f64>,
}

/// What a reading has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paired {
    /// This trace.
    Trace(usize),
    /// No trace.
    Missing,
    /// This trace or another one, or none.
    Unsure(usize),
}

/// One number.
const SAME_NUMBER: f64 = 3.0;
/// No number on one of both sides.
const NO_NUMBER: f64 = 1.0;
/// Responses that agree, and that do not.
const AGREES: f64 = 1.0;
const DISAGREES: f64 = -1.5;
/// A reading without its trace, a trace without a reading.
const ALONE: f64 = -0.2;
/// Two alignments whose scores differ by less cannot be told apart.
const TIE: f64 = 0.5;
/// More cells than this are no run.
const MOST_CELLS: usize = 30_000_000;

/// Whether two responses are those of one reading: within a tenth, or 5 mA (mA·s) near zero (our choice; the instrument has a
/// baseline of its own).
pub fn agree(ours: f64, printed: f64) -> bool {
    (ours - printed).abs() <= (0.1 * printed.abs()).max(0.005)
}

/// Pairs readings with traces, both in the order measured; one answer a reading, `None` where there are too many of both to
/// compare.
pub fn pair(readings: &[Firing], traces: &[Firing]) -> Option<Vec<Paired>> {
    let (n, m) = (readings.len(), traces.len());
    if (n + 1).checked_mul(m + 1)? > MOST_CELLS {
        return None;
    }
    let at = |i: usize, j: usize| i * (m + 1) + j;
    // The best score of the first i readings with the first j traces, and of what is left behind them.
    let mut before = vec![0.0; (n + 1) * (m + 1)];
    for i in 0..=n {
        for j in 0..=m {
            if i == 0 && j == 0 {
                continue;
            }
            let mut best = f64::NEG_INFINITY;
            if i > 0 && j > 0 {
                best = best.max(before[at(i - 1, j - 1)] + score(&readings[i - 1], &traces[j - 1]));
            }
            if i > 0 {
                best = best.max(before[at(i - 1, j)] + ALONE);
            }
            if j > 0 {
                best = best.max(before[at(i, j - 1)] + ALONE);
            }
            before[at(i, j)] = best;
        }
    }
    let mut behind = vec![0.0; (n + 1) * (m + 1)];
    for i in (0..=n).rev() {
        for j in (0..=m).rev() {
            if i == n && j == m {
                continue;
            }
            let mut best = f64::NEG_INFINITY;
            if i < n && j < m {
                best = best.max(behind[at(i + 1, j + 1)] + score(&readings[i], &traces[j]));
            }
            if i < n {
                best = best.max(behind[at(i + 1, j)] + ALONE);
            }
            if j < m {
                best = best.max(behind[at(i, j + 1)] + ALONE);
            }
            behind[at(i, j)] = best;
        }
    }
    let paired = |i: usize| {
        let alone = (0..=m).map(|j| before[at(i, j)] + ALONE + behind[at(i + 1, j)]).fold(f64::NEG_INFINITY, f64::max);
        // The first of the best, and the best of the others.
        let (mut best, mut second) = ((None, alone), f64::NEG_INFINITY);
        for j in 0..m {
            let total = before[at(i, j)] + score(&readings[i], &traces[j]) + behind[at(i + 1, j + 1)];
            if total > best.1 {
                second = best.1;
                best = (Some(j), total);
            } else {
                second = second.max(total);
            }
        }
        match best {
            (None, _) => Paired::Missing,
            (Some(j), total) if total - second < TIE => Paired::Unsure(j),
            (Some(j), _) => Paired::Trace(j),
        }
    };
    Some((0..n).map(paired).collect())
}

fn score(reading: &Firing, trace: &Firing) -> f64 {
    let number = match (reading.number, trace.number) {
        (Some(one), Some(other)) if one == other => SAME_NUMBER,
        (Some(_), Some(_)) => return f64::NEG_INFINITY,
        _ => NO_NUMBER,
    };
    match (trace.response, reading.response) {
        (Some(ours), Some(printed)) if agree(ours, printed) => number + AGREES,
        (Some(_), Some(_)) => number + DISAGREES,
        _ => number,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn firing(number: u32, response: f64) -> Firing {
        Firing { number: Some(number), response: Some(response) }
    }

    #[test]
    fn numbers_that_start_again_go_by_the_order_of_both() {
        let readings: Vec<Firing> = [1, 2, 3, 1, 2, 3].map(|n| firing(n, 0.1)).into();
        let traces = readings.clone();
        let wanted: Vec<Paired> = (0..6).map(Paired::Trace).collect();
        assert_eq!(pair(&readings, &traces).unwrap(), wanted);
        // The second 2 has no trace.
        let lacking: Vec<Firing> = [1, 2, 3, 1, 3].map(|n| firing(n, 0.1)).into();
        let found = pair(&readings, &lacking).unwrap();
        assert_eq!((found[3], found[4], found[5]), (Paired::Trace(3), Paired::Missing, Paired::Trace(4)));
    }

    #[test]
    fn of_two_traces_with_one_number_that_which_integrates_to_the_printed_response_is_taken() {
        let readings = [firing(7, 0.2)];
        assert_eq!(pair(&readings, &[firing(7, 0.05), firing(7, 0.201)]).unwrap(), [Paired::Trace(1)]);
        assert_eq!(pair(&readings, &[firing(7, 0.2), firing(7, 0.201)]).unwrap(), [Paired::Unsure(0)]);
    }

    #[test]
    fn without_numbers_a_missing_trace_is_found_where_responses_differ_and_waits_where_they_do_not() {
        let bare = |response: f64| Firing { number: None, response: Some(response) };
        let readings = [bare(0.05), bare(0.1), bare(0.2)];
        let found = pair(&readings, &[bare(0.05), bare(0.2)]).unwrap();
        assert_eq!(found, [Paired::Trace(0), Paired::Missing, Paired::Trace(1)]);
        let alike = pair(&[bare(0.1), bare(0.1)], &[bare(0.1)]).unwrap();
        assert!(alike.iter().all(|paired| !matches!(paired, Paired::Trace(_))), "{alike:?}");
    }

    proptest! {
        #[test]
        fn no_trace_is_given_to_two_readings(
            readings in proptest::collection::vec((proptest::option::of(0u32..4), 0.0f64..0.3), 0..12),
            traces in proptest::collection::vec((proptest::option::of(0u32..4), 0.0f64..0.3), 0..12),
        ) {
            let firing = |(number, response): &(Option<u32>, f64)| Firing { number: *number, response: Some(*response) };
            let (readings, traces): (Vec<_>, Vec<_>) =
                (readings.iter().map(firing).collect(), traces.iter().map(firing).collect());
            let found = pair(&readings, &traces).unwrap();
            prop_assert_eq!(found.len(), readings.len());
            let mut given: Vec<usize> =
                found.iter().filter_map(|paired| if let Paired::Trace(j) = paired { Some(*j) } else { None }).collect();
            let n = given.len();
            prop_assert!(given.is_sorted());
            given.dedup();
            prop_assert_eq!(given.len(), n);
        }
    }
}

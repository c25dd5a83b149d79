//! Which planned row a received solution is: both sequences aligned as a whole.
//!
//! One skipped cup then shows as one gap, and not as thirty samples under the wrong name. What cannot be told apart waits for a
//! person.
//!
//! # Source
//! S. B. Needleman, C. D. Wunsch, J. Mol. Biol. 48 (1970) 443: global alignment by dynamic programming. The scores are ours: name
//! and cup weigh most, the size of a standard's response breaks ties; common practice, no source.

use crate::instrument_file::code_page::plain;

/// A row of the run order, as far as it can be recognised.
#[derive(Clone, Debug, PartialEq)]
pub struct Planned {
    /// Its number.
    pub row: u32,
    /// The name on its cup.
    pub name: String,
    /// Its cup.
    pub cup: Option<u32>,
    /// The amount it should show, where it is a standard or a check; any unit, the same for all.
    pub amount: Option<f64>,
}

/// A solution of the file: readings that follow one another under one name.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    /// Its name.
    pub name: Option<String>,
    /// Its cup.
    pub cup: Option<u32>,
    /// Its mean response, where it has one.
    pub response: Option<f64>,
}

/// What became of a solution.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fate {
    /// It is this row.
    Row(u32),
    /// It may be this row; a person decides.
    Doubtful {
        /// The row it seems to be.
        row: u32,
        /// Why that is not sure.
        why: String,
    },
    /// No row of the run order fits.
    NoRow,
}

/// Leaving a planned row out costs this.
const SKIPPED_ROW: f64 = -0.6;
/// Leaving out the one behind it as well costs this much more: a tray that was left out is one gap, not thirty.
const SKIPPED_TOO: f64 = -0.05;
/// Leaving a received solution out costs this.
const STRANGER: f64 = -2.0;
/// Below this a match rests on too little.
const SURE: f64 = 1.5;
/// Two alignments whose scores differ by less cannot be told apart.
const TIE: f64 = 0.5;

/// Aligns received solutions with planned rows.
///
/// Planned rows behind the last match cost nothing: the run is still going.
pub fn align(planned: &[Planned], received: &[Solution]) -> Vec<Fate> {
    let mut best = scores(planned, received, None);
    for slope in slopes(planned, received) {
        let with_sizes = scores(planned, received, Some(slope));
        if with_sizes.total() > best.total() {
            best = with_sizes;
        }
    }
    best.fates(planned)
}

/// What standards may give.
#[derive(Clone, Copy)]
struct Slope {
    response_by_amount: f64,
    /// A tenth of what the highest standard gives.
    small: f64,
}

/// Responses by amount that standards may have: that of each pair of a standard and a solution of its name. None with fewer than
/// three standards: two always lie on a line.
fn slopes(planned: &[Planned], received: &[Solution]) -> Vec<Slope> {
    let standards: Vec<(&Planned, f64)> =
        planned.iter().filter_map(|row| Some((row, row.amount.filter(|amount| *amount > 0.0)?))).collect();
    if standards.len() < 3 {
        return Vec::new();
    }
    let mut slopes: Vec<f64> = standards
        .iter()
        .flat_map(|(row, amount)| {
            let alike = received
                .iter()
                .filter(|solution| solution.name.as_deref().is_none_or(|name| name_score(&row.name, name) > 0.0));
            alike.filter_map(move |solution| Some(solution.response? / amount))
        })
        .filter(|slope| slope.is_finite() && *slope > 0.0)
        .collect();
    slopes.sort_by(f64::total_cmp);
    slopes.dedup_by(|a, b| *a < *b * 1.05);
    // Each costs a table of the alignment.
    let most = (20_000_000 / (planned.len() * received.len()).max(1)).clamp(1, 60);
    let step = slopes.len().div_ceil(most).max(1);
    let highest = standards.iter().map(|(_, amount)| *amount).fold(0.0, f64::max);
    slopes
        .into_iter()
        .step_by(step)
        .map(|response_by_amount| Slope { response_by_amount, small: 0.1 * response_by_amount * highest })
        .collect()
}

fn match_score(planned: &Planned, solution: &Solution, slope: Option<Slope>) -> f64 {
    let name = solution.name.as_deref().map_or(0.0, |name| name_score(&planned.name, name));
    let cup = match (planned.cup, solution.cup) {
        (Some(one), Some(other)) if one == other => 2.0,
        (Some(_), Some(_)) => -2.0,
        _ => 0.0,
    };
    let size = match (slope, planned.amount, solution.response) {
        (Some(slope), Some(amount), Some(response)) => {
            // A tenth of the response is as near as it has to be; near zero, a hundredth of what the highest standard gives.
            let (expected, response) = (slope.response_by_amount * amount, response.max(0.0));
            let away =
                (response - expected).abs() / (0.1 * expected.max(response).max(slope.small)).max(f64::MIN_POSITIVE);
            (1.0 - away / 2.0).max(-1.5)
        }
        _ => 0.0,
    };
    name + cup + size
}

fn name_score(planned: &str, received: &str) -> f64 {
    let (planned, received) = (plain(planned), plain(received));
    if planned == received {
        return 4.0;
    }
    let letters = |text: &str| text.chars().filter(|c| c.is_alphanumeric()).collect::<String>();
    let (bare_planned, bare_received) = (letters(&planned), letters(&received));
    if !bare_planned.is_empty() && without_zeros(&bare_planned) == without_zeros(&bare_received) {
        return 3.5;
    }
    // Names are cut at the end, rarely below six letters.
    if bare_received.chars().count() >= 6 && bare_planned.starts_with(&bare_received) {
        return 3.0;
    }
    let likeness = strsim::jaro_winkler(&planned, &received);
    if likeness >= 0.93 { 1.0 } else { -4.0 }
}

/// A name whose runs of digits have no leading zeros: 007 and 7 are one.
fn without_zeros(text: &str) -> String {
    let mut plain = String::new();
    let mut is_in_number = false;
    let letters: Vec<char> = text.chars().collect();
    for (place, c) in letters.iter().enumerate() {
        let leads = *c == '0' && !is_in_number && letters.get(place + 1).is_some_and(char::is_ascii_digit);
        if !leads {
            plain.push(*c);
            is_in_number = c.is_ascii_digit();
        }
    }
    plain
}

/// The table of the alignment, from both ends.
struct Scores {
    n_planned: usize,
    n_received: usize,
    matches: Vec<f64>,
    /// The best score of what lies before a place.
    from_start: Vec<f64>,
    /// The best score of what lies behind a place, where the row before it was not skipped, and where it was.
    from_end: [Vec<f64>; 2],
}

fn scores(planned: &[Planned], received: &[Solution], slope: Option<Slope>) -> Scores {
    let (m, n) = (planned.len(), received.len());
    let width = n + 1;
    let matches: Vec<f64> =
        planned.iter().flat_map(|row| received.iter().map(move |solution| match_score(row, solution, slope))).collect();
    let mut from_start = vec![0.0; (m + 1) * width];
    // Within a gap of skipped rows, as O. Gotoh, J. Mol. Biol. 162 (1982) 705, has it.
    let mut skipping = vec![f64::NEG_INFINITY; (m + 1) * width];
    let mut matching = vec![f64::NEG_INFINITY; (m + 1) * width];
    matching[0] = 0.0;
    for i in 0..=m {
        for j in 0..=n {
            let here = i * width + j;
            if i > 0 {
                let above = (i - 1) * width + j;
                skipping[here] = (matching[above] + SKIPPED_ROW).max(skipping[above] + SKIPPED_TOO);
            }
            if j > 0 {
                matching[here] = from_start[here - 1] + STRANGER;
                if i > 0 {
                    let before = from_start[(i - 1) * width + j - 1] + matches[(i - 1) * n + j - 1];
                    matching[here] = matching[here].max(before);
                }
            }
            from_start[here] = matching[here].max(skipping[here]);
        }
    }
    let mut from_end = [vec![0.0; (m + 1) * width], vec![0.0; (m + 1) * width]];
    for i in (0..=m).rev() {
        // Rows behind the last solution are still to come.
        for j in (0..n).rev() {
            let mut ahead = from_end[0][i * width + j + 1] + STRANGER;
            if i < m {
                ahead = ahead.max(from_end[0][(i + 1) * width + j + 1] + matches[i * n + j]);
            }
            for (was_skipped, cost) in [SKIPPED_ROW, SKIPPED_TOO].into_iter().enumerate() {
                let skipped = if i < m { from_end[1][(i + 1) * width + j] + cost } else { f64::NEG_INFINITY };
                from_end[was_skipped][i * width + j] = ahead.max(skipped);
            }
        }
    }
    Scores { n_planned: m, n_received: n, matches, from_start, from_end }
}

impl Scores {
    fn total(&self) -> f64 {
        self.from_end[0][0]
    }
    /// The best alignment in which a solution is a row.
    fn through(&self, row: usize, solution: usize) -> f64 {
        let width = self.n_received + 1;
        self.from_start[row * width + solution]
            + self.matches[row * self.n_received + solution]
            + self.from_end[0][(row + 1) * width + solution + 1]
    }
    /// The row of each solution in one best alignment; the earliest row where several are as good.
    fn chosen(&self) -> Vec<Option<usize>> {
        let width = self.n_received + 1;
        let (mut i, mut chosen) = (0, Vec::new());
        for j in 0..self.n_received {
            let is = |a: f64, b: f64| (a - b).abs() < 1e-9;
            let mut was_skipped = 0;
            loop {
                let best = self.from_end[was_skipped][i * width + j];
                let matched =
                    |i: usize| self.from_end[0][(i + 1) * width + j + 1] + self.matches[i * self.n_received + j];
                if i < self.n_planned && is(best, matched(i)) {
                    chosen.push(Some(i));
                    i += 1;
                    break;
                }
                if i >= self.n_planned || is(best, self.from_end[0][i * width + j + 1] + STRANGER) {
                    chosen.push(None);
                    break;
                }
                i += 1;
                was_skipped = 1;
            }
        }
        chosen
    }

    fn fates(&self, planned: &[Planned]) -> Vec<Fate> {
        let chosen = self.chosen();
        chosen
            .iter()
            .enumerate()
            .map(|(solution, place)| {
                let Some(place) = *place else { return Fate::NoRow };
                let row = planned[place].row;
                let score = self.matches[place * self.n_received + solution];
                if score < SURE {
                    let why = "too little of name, cup and size agrees".to_owned();
                    return Fate::Doubtful { row, why };
                }
                let others = (0..self.n_planned).filter(|other| *other != place);
                let rival = others
                    .filter(|other| self.through(*other, solution) > self.total() - TIE)
                    .max_by(|a, b| self.through(*a, solution).total_cmp(&self.through(*b, solution)));
                match rival {
                    Some(rival) => {
                        let why = format!("it could as well be row {}", planned[rival].row);
                        Fate::Doubtful { row, why }
                    }
                    None => Fate::Row(row),
                }
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn planned(names: &[&str]) -> Vec<Planned> {
        let row = |(place, name): (usize, &&str)| Planned {
            row: place as u32 + 1,
            name: (*name).into(),
            cup: Some(place as u32 + 1),
            amount: None,
        };
        names.iter().enumerate().map(row).collect()
    }

    fn solution(name: &str, cup: u32) -> Solution {
        Solution { name: Some(name.into()), cup: Some(cup), response: None }
    }

    #[test]
    fn one_skipped_cup_is_one_gap() {
        let plan = planned(&["blank", "S1", "S2", "S3", "S4", "S5"]);
        // Cup 3 was skipped, and the sampler went on.
        let received: Vec<Solution> =
            [("blank", 1), ("S1", 2), ("S3", 4), ("S4", 5), ("S5", 6)].map(|(name, cup)| solution(name, cup)).into();
        let wanted: Vec<Fate> = [1, 2, 4, 5, 6].map(Fate::Row).into();
        assert_eq!(align(&plan, &received), wanted);
        // The same where the file holds cups alone.
        let cups: Vec<Solution> = received.iter().map(|solution| Solution { name: None, ..solution.clone() }).collect();
        assert_eq!(align(&plan, &cups), wanted);
    }

    #[test]
    fn names_cut_or_without_their_zeros_are_recognised() {
        let plan = planned(&["Well 4 north", "007", "S-01"]);
        let received = [solution("Well 4 nor", 1), solution("7", 2), solution("s01", 3)];
        assert_eq!(align(&plan, &received), [1, 2, 3].map(Fate::Row));
    }

    #[test]
    fn a_stranger_is_no_row_and_moves_nothing() {
        let plan = planned(&["S1", "S2", "S3"]);
        let received = [solution("S1", 1), solution("rinse", 40), solution("S2", 2), solution("S3", 3)];
        assert_eq!(align(&plan, &received), [Fate::Row(1), Fate::NoRow, Fate::Row(2), Fate::Row(3)]);
    }

    #[test]
    fn twins_without_a_cup_wait_for_a_person() {
        let twin = |row| Planned { row, name: "check".into(), cup: None, amount: None };
        let plan = [twin(1), twin(2), twin(3)];
        let received = [Solution { name: Some("check".into()), cup: None, response: None }];
        // The first of three checks, or a later one after two that were skipped: the gaps tell them apart.
        assert_eq!(align(&plan, &received), [Fate::Row(1)]);
        // A name that two rows share, once behind a skipped row, stays open.
        let plan = [
            Planned { row: 1, name: "A".into(), cup: None, amount: None },
            Planned { row: 2, name: "A".into(), cup: None, amount: None },
            Planned { row: 3, name: "B".into(), cup: None, amount: None },
        ];
        let received = ["A", "B"].map(|name| Solution { name: Some(name.into()), cup: None, response: None });
        assert!(matches!(align(&plan, &received)[0], Fate::Doubtful { .. }));
        assert_eq!(align(&plan, &received)[1], Fate::Row(3));
    }

    #[test]
    fn the_size_of_standards_tells_twins_apart() {
        let standard = |row, amount: f64| Planned { row, name: "standard".into(), cup: None, amount: Some(amount) };
        let plan = [standard(1, 5.0), standard(2, 10.0), standard(3, 20.0), standard(4, 30.0), standard(5, 50.0)];
        // 20 was skipped.
        let received: Vec<Solution> = [0.05, 0.1, 0.3, 0.5]
            .map(|response| Solution { name: Some("standard".into()), cup: None, response: Some(response) })
            .into();
        assert_eq!(align(&plan, &received), [1, 2, 4, 5].map(Fate::Row));
    }

    proptest! {
        // Whatever is left out of a run order with distinct names and cups, the rest keeps its rows.
        #[test]
        fn what_is_left_of_a_run_order_keeps_its_rows(present in proptest::collection::vec(any::<bool>(), 1..40)) {
            let names: Vec<String> = (0..present.len()).map(|n| format!("W{}-{}", n * 7 % 97, (b'a' + (n % 26) as u8) as char)).collect();
            let plan = planned(&names.iter().map(String::as_str).collect::<Vec<_>>());
            let left: Vec<usize> = (0..present.len()).filter(|&n| present[n]).collect();
            let received: Vec<Solution> = left.iter().map(|&n| solution(&names[n], n as u32 + 1)).collect();
            let wanted: Vec<Fate> = left.iter().map(|&n| Fate::Row(n as u32 + 1)).collect();
            prop_assert_eq!(align(&plan, &received), wanted);
        }

        #[test]
        fn rows_never_cross_and_none_is_taken_twice(
            names in proptest::collection::vec("[ab]{1,2}", 0..8),
            found in proptest::collection::vec(("[ab]{1,2}", proptest::option::of(1u32..8), proptest::option::of(-1.0f64..1.0)), 0..8)
        ) {
            let plan = planned(&names.iter().map(String::as_str).collect::<Vec<_>>());
            let received: Vec<Solution> = found.into_iter()
                .map(|(name, cup, response)| Solution { name: Some(name), cup, response }).collect();
            let rows: Vec<u32> = align(&plan, &received).into_iter().filter_map(|fate| match fate {
                Fate::Row(row) | Fate::Doubtful { row, .. } => Some(row),
                Fate::NoRow => None,
            }).collect();
            prop_assert!(rows.windows(2).all(|pair| pair[0] < pair[1]), "{:?}", rows);
        }
    }
}

//! The known name that somebody may have meant.

use crate::fault::MOST_LISTED;

/// The nearest of the known names, where one is near enough to be a slip of the pen.
pub(crate) fn nearest<'k>(written: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    // A name from a file may be as long as the file; the distance takes time with its square.
    let written: String = written.chars().take(80).collect::<String>().to_lowercase();
    // One the beginning of the other, as "decision" and "decision_rule".
    let begins = |name: &str| written.len() >= 4 && (name.starts_with(&written) || written.starts_with(name));
    let known: Vec<&str> = known.into_iter().collect();
    if let Some(name) = known.iter().find(|name| begins(&name.to_lowercase())) {
        return Some(name);
    }
    known
        .into_iter()
        .map(|name| (strsim::damerau_levenshtein(&written, &name.to_lowercase()), name))
        .filter(|&(distance, name)| distance <= (name.chars().count() * 2 / 5).max(1))
        .min_by_key(|&(distance, _)| distance)
        .map(|(_, name)| name)
}

/// Names in a row: `a, b or c`.
pub(crate) fn one_of(names: &[&str]) -> String {
    match names {
        [] => "nothing".into(),
        [only] => (*only).into(),
        [others @ .., last] => format!("{} or {last}", others.join(", ")),
    }
}

/// "did you mean", where a known name is near; else all of them.
pub(crate) fn meant(written: &str, known: &[&str]) -> String {
    match nearest(written, known.iter().copied()) {
        Some(name) => format!("did you mean \"{name}\"?"),
        None => format!("known here: {}", known.join(", ")),
    }
}

/// The same for the n-th of many unknown names: looking takes its time, and behind those that are listed nobody reads it.
pub(crate) fn meant_of_many(n: usize, written: &str, known: &[&str]) -> String {
    if n > MOST_LISTED { "look at the others first".into() } else { meant(written, known) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_pen_finds_its_name_and_a_stranger_none() {
        let known = ["volume", "volume_taken", "mass", "area"];
        assert_eq!(nearest("volum", known), Some("volume"));
        assert_eq!(nearest("Mass", known), Some("mass"));
        assert_eq!(nearest("maas", known), Some("mass"));
        assert_eq!(nearest("volume_of_solution", known), Some("volume"));
        assert_eq!(nearest("temperature", known), None);
        assert_eq!(nearest(&"x".repeat(1_000_000), known), None);
    }
}

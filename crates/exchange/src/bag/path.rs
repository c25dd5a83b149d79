//! Paths of a bag: relative, `/` between their parts, storable on every machine.

use super::BagFault;

/// What is the matter with a path; `None` where nothing is.
pub(crate) fn fault(path: &str) -> Option<BagFault> {
    let why = if path.is_empty() {
        "is empty"
    } else if path.len() > 1000 {
        "is longer than 1000 bytes"
    } else if path.starts_with(['/', '~'])
        || path.as_bytes().get(1) == Some(&b':')
        || path.contains('\\')
        || path.split('/').any(|part| matches!(part, "." | ".."))
    {
        "leads out of the bag"
    } else if path.split('/').any(str::is_empty) {
        "has an empty part"
    } else if path.chars().any(|c| c.is_control() && !matches!(c, '\n' | '\r')) {
        "has a control character"
    } else {
        return None;
    };
    Some(BagFault::Path { path: path.chars().take(200).collect(), why })
}

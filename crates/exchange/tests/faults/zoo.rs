//! A zoo of broken files: each with a title, each told in full.

use darkline_exchange::fault::Faults;

/// What is told about each file, one below the other.
pub fn told<T>(files: &[(&str, &str)], read: impl Fn(&str) -> Result<T, Faults>) -> String {
    files
        .iter()
        .map(|(title, text)| match read(text) {
            Ok(_) => format!("## {title}\nread without a fault\n\n"),
            Err(faults) => {
                let told = faults.to_string();
                for word in ["invalid", "illegal", "please", "oops"] {
                    assert!(!told.contains(word), "{title}: {told}");
                }
                format!("## {title}\n{told}\n\n")
            }
        })
        .collect()
}

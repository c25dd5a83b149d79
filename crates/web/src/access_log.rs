//! The access log beside the record: who signed in or was refused, when, from where; one JSON object a line.
//!
//! Passphrases that do not open a key are entries of the record besides. No passphrase and no token is ever written here.
//!
//! Source: `reference/records/README.md`, pack of sign-in, item log-auth.

use std::io::Write as _;
use std::net::IpAddr;
use std::path::Path;

use darkline_audit_trail::Timestamp;
use serde::Serialize;

#[derive(Serialize)]
struct Line<'a> {
    schema: &'static str,
    at: String,
    from: String,
    person: Option<&'a str>,
    what: &'a str,
    path: &'a str,
}

/// Appends a line.
///
/// # Errors
/// The file cannot be written.
pub(crate) fn write(
    file: &Path,
    from: IpAddr,
    person: Option<&str>,
    what: &str,
    path: &str,
) -> Result<(), std::io::Error> {
    let at = Timestamp::now().to_string();
    let person = person.map(|person| person.chars().take(80).collect::<String>());
    let path: String = path.chars().take(200).collect();
    let line =
        Line { schema: "darkline/access/1", at, from: from.to_string(), person: person.as_deref(), what, path: &path };
    let mut text = serde_json::to_string(&line)?;
    text.push('\n');
    let mut open = std::fs::OpenOptions::new();
    open.create(true).append(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut open, 0o600);
    open.open(file)?.write_all(text.as_bytes())
}

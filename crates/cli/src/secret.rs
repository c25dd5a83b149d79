//! Passphrases: asked at the terminal, or read from a file that only its owner may read; never an option's value.

use std::io::IsTerminal;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use darkline_audit_trail::keys::{KeyFileFault, SHORTEST_PASSPHRASE};
use darkline_laboratory::accounts::Passphrase;

use crate::command_line::Everywhere;
use crate::ending::Failure;
use crate::new_file::in_words;
use crate::talk;

/// The passphrase of a person.
///
/// # Arguments
/// * `key_file`: a file whose first line is the passphrase.
///
/// # Errors
/// Without a terminal and without a file nothing is asked: the failure names the option that answers.
pub fn passphrase(everywhere: &Everywhere, person: &str, key_file: Option<&Path>) -> Result<Passphrase, Failure> {
    match key_file {
        Some(path) => from_file(path).map(Passphrase::from_file),
        None => {
            may_ask(everywhere, "the passphrase is asked at the terminal", "give a file with it: --key-file FILE")?;
            ask(&format!("Passphrase of {person}: ")).map(Passphrase::typed)
        }
    }
}

/// A new passphrase, asked twice.
///
/// # Errors
/// As [`passphrase`]; the two differ.
pub fn new_passphrase(everywhere: &Everywhere, person: &str, key_file: Option<&Path>) -> Result<String, Failure> {
    if let Some(path) = key_file {
        return long_enough(from_file(path)?, &format!("write another one into {}", path.display()));
    }
    may_ask(everywhere, "a new passphrase is asked at the terminal", "give a file with it: --key-file FILE")?;
    let first = ask(&format!("New passphrase of {person} ({SHORTEST_PASSPHRASE} characters or more): "))?;
    let first = long_enough(first, "nothing was appended; give the command again")?;
    let second = ask("The same again: ")?;
    if first == second { Ok(first) } else { Err(Failure::told("the two passphrases differ; nothing was appended")) }
}

/// A short one is told before anything is made.
fn long_enough(passphrase: String, hint: &str) -> Result<String, Failure> {
    let found = passphrase.chars().count();
    if found < SHORTEST_PASSPHRASE {
        return Err(Failure::with_hint(KeyFileFault::ShortPassphrase { found }.to_string(), hint));
    }
    Ok(passphrase)
}

static IS_TYPED_UNSEEN: AtomicBool = AtomicBool::new(false);

/// Asks for a text that is not shown while it is typed.
fn ask(prompt: &str) -> Result<String, Failure> {
    IS_TYPED_UNSEEN.store(true, Ordering::SeqCst);
    let typed = rpassword::prompt_password(prompt);
    if typed.as_ref().is_err_and(|error| error.kind() == std::io::ErrorKind::Interrupted) {
        // Ctrl-C, seen here before the handler of the program saw it.
        show_typing_again();
        std::process::exit(130);
    }
    IS_TYPED_UNSEEN.store(false, Ordering::SeqCst);
    Ok(typed?)
}

/// Lets a terminal show again what is typed, where an interruption came while a passphrase was asked.
pub fn show_typing_again() {
    #[cfg(unix)]
    if IS_TYPED_UNSEEN.load(Ordering::SeqCst)
        && let Ok(terminal) = std::fs::File::open("/dev/tty")
    {
        let _ = std::process::Command::new("stty").arg("echo").stdin(terminal).status();
        talk::say("");
    }
}

/// Asks for the name of what is signed, so that nobody signs by a slip of the finger.
///
/// # Errors
/// Another answer was typed, or nobody can be asked.
pub fn confirm(everywhere: &Everywhere, wanted: &str, given: Option<&str>, act: &str) -> Result<(), Failure> {
    let answer = match given {
        Some(given) => given.to_owned(),
        None => {
            may_ask(
                everywhere,
                &format!("{act} is confirmed at the terminal"),
                &format!("confirm it with --confirm {wanted}"),
            )?;
            talk::say(&format!("Type {wanted} to {act}, anything else to leave it:"));
            let mut line = String::new();
            std::io::stdin().read_line(&mut line)?;
            line.trim().to_owned()
        }
    };
    if answer == wanted {
        Ok(())
    } else {
        Err(Failure::told(format!("left as it was: \"{answer}\" is not {wanted}; nothing was appended")))
    }
}

fn may_ask(everywhere: &Everywhere, what: &str, hint: &str) -> Result<(), Failure> {
    if everywhere.no_input || !std::io::stdin().is_terminal() {
        return Err(Failure::with_hint(format!("{what}, and there is none"), hint));
    }
    Ok(())
}

fn from_file(path: &Path) -> Result<String, Failure> {
    let shown = path.display();
    let fault = |error| Failure::told(format!("{shown}: {}", in_words(&error)));
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = std::fs::metadata(path).map_err(fault)?.permissions().mode();
        if mode & 0o077 != 0 {
            return Err(Failure::with_hint(
                format!("others may read {shown}, which holds a passphrase"),
                format!("take it from them: chmod 600 {shown}"),
            ));
        }
    }
    let text = std::fs::read_to_string(path).map_err(fault)?;
    match text.lines().next().filter(|line| !line.is_empty()) {
        Some(line) => Ok(line.to_owned()),
        None => Err(Failure::with_hint(format!("{shown} has no first line"), "its first line is the passphrase")),
    }
}

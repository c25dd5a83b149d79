//! The contributor's commands: `cargo xtask test` and what helps to write in the style of the house.

mod accuracy;
mod clause_page;
mod command_page;
mod docs;
mod finding;
mod fuzz;
mod house;
mod new_published;
mod new_rule;
mod packages;
mod phrase;
mod role_page;
mod rule_page;
mod rust_text;
mod test_run;
mod tidy;
mod tools;
mod torture;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

const USAGE: &str = "\
The contributor's commands.

  cargo xtask test                 everything that .ci/run runs
  cargo xtask test --quick         without installing tools and without the release build
  cargo xtask test --dry-run       the steps, without running them
  cargo xtask torture              ten thousand kills at any moment, nothing lost, nothing doubled
  cargo xtask fuzz [TARGET …] [--seconds N]
                                   any bytes through every parser, 60 s each
  cargo xtask tidy                 the tidy checks alone
  cargo xtask docs                 write the generated pages of docs/reference/
  cargo xtask docs --check         only say whether they are up to date
  cargo xtask accuracy [NAME …]    the long studies: write docs/reference/accuracy.md, or some of its sections
  cargo xtask new-rule NAME        a rule, named by what is seen: carry-over
  cargo xtask new-published CRATE NAME
                                   a check against literature: calibration iso-ts-28037
";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let root = match root() {
        Ok(root) => root,
        Err(fault) => return failed(&fault),
    };
    let root = root.as_path();
    let result = match arguments.as_slice() {
        ["help" | "--help" | "-h"] => {
            print!("{USAGE}");
            return ExitCode::SUCCESS;
        }
        ["test", options @ ..] => match asked(options) {
            Some(asked) => test_run::run(root, asked),
            None => return misread(&arguments),
        },
        ["fuzz", arguments @ ..] => match fuzz::asked(arguments) {
            Some(asked) => fuzz::run(root, &asked),
            None => return misread(&["fuzz"]),
        },
        ["torture"] => torture::run(root),
        ["tidy"] => tidy::tell(root),
        ["docs"] => docs::write(root),
        ["docs", "--check"] => docs::check(root),
        ["accuracy", names @ ..] => accuracy::write(root, names),
        ["new-rule", name] => new_rule::write(root, name),
        ["new-published", in_crate, name] => new_published::write(root, in_crate, name),
        _ => return misread(&arguments),
    };
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(fault) => failed(&fault),
    }
}

/// The root of the repository that `cargo xtask` was called in.
///
/// Asked when it runs, not when it was built: two clones that share a target folder share the program too.
fn root() -> Result<PathBuf, String> {
    let folder = std::env::var_os("CARGO_MANIFEST_DIR").ok_or("call it by `cargo xtask`")?;
    let root = Path::new(&folder).parent().ok_or("xtask lies in the root of the repository")?;
    Ok(root.to_owned())
}

fn failed(fault: &str) -> ExitCode {
    eprintln!("error: {fault}");
    ExitCode::FAILURE
}

/// The options of `test`; `None` where one is not known.
fn asked(options: &[&str]) -> Option<test_run::Asked> {
    let mut asked = test_run::Asked { quick: false, dry_run: false };
    for option in options {
        match *option {
            "--quick" => asked.quick = true,
            "--dry-run" | "-n" => asked.dry_run = true,
            _ => return None,
        }
    }
    Some(asked)
}

fn misread(arguments: &[&str]) -> ExitCode {
    if !arguments.is_empty() {
        eprintln!("error: `cargo xtask {}` is none of these\n", arguments.join(" "));
    }
    eprint!("{USAGE}");
    ExitCode::from(2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn options_of_test_may_stand_in_any_order() {
        assert_eq!(asked(&["-n", "--quick"]), Some(test_run::Asked { quick: true, dry_run: true }));
        assert_eq!(asked(&[]), Some(test_run::Asked { quick: false, dry_run: false }));
        assert_eq!(asked(&["--fast"]), None);
    }
}

//! The `darkline` command: the whole job from a terminal or a script.
//!
//! Results go to standard output, all talk to standard error. It ends with 0 when done, 1 when done and a flag stops the
//! report, 2 when not done, 130 when interrupted.

mod bench;
mod choice_text;
mod command_line;
mod conformity_text;
mod coverage_text;
mod embedded_record;
mod ending;
mod handbook_text;
mod limits_text;
mod new_file;
mod paragraph;
mod progress;
mod reference;
mod result_text;
mod secret;
mod sum_text;
mod table;
mod talk;
mod verbs;

use std::process::ExitCode;

fn main() -> ExitCode {
    // Every acknowledged entry is on the disk already, so an interruption has nothing to tidy up but the terminal.
    let _ = ctrlc::set_handler(|| {
        secret::show_typing_again();
        std::process::exit(130)
    });
    match command_line::parse() {
        command_line::Parsed::Run(command) => ending::finish(verbs::run(*command)),
        command_line::Parsed::Told(code) => code,
    }
}

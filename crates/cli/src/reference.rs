//! The reference of all commands as Markdown, from the definition that the command line is read by.

use clap::{Arg, Command};

use crate::command_line::{definition, sentence};

/// The page.
pub fn page() -> String {
    let mut whole = definition();
    whole.build();
    let mut text = String::from(
        "# Commands\n\n\
         Written by `cargo xtask docs` from the definition in `crates/cli/src/command_line.rs`; change it there.\n\n\
         Results go to standard output, all talk to standard error.\n\n\
         | exit | meaning |\n|---|---|\n\
         | 0 | done; also when the reader of a pipe has gone away |\n\
         | 1 | done, and a flag stops the report, or a check found a fault (they are the output) |\n\
         | 2 | not done: the input, a file or the command is at fault; nothing was appended |\n\
         | 130 | interrupted with Ctrl-C; every acknowledged entry is kept, the same command goes on from there |\n\n\
         | command | what it does |\n|---|---|\n",
    );
    let verbs: Vec<&Command> = whole.get_subcommands().filter(|verb| !verb.is_hide_set()).collect();
    for verb in &verbs {
        let name = verb.get_name();
        text.push_str(&format!("| [{name}](#darkline-{name}) | {} |\n", cell(&sentence(verb))));
    }
    text.push_str("\n## Everywhere the same\n\n");
    text.push_str(&options(&whole, |option| {
        option.is_global_set() || option.get_id() == "help" || option.get_id() == "version"
    }));
    for verb in verbs {
        section(&mut text, verb, &format!("darkline {}", verb.get_name()), 2);
    }
    text
}

fn section(text: &mut String, command: &Command, name: &str, depth: usize) {
    let mut command = command.clone();
    text.push_str(&format!("\n{} {name}\n\n{}\n\n", "#".repeat(depth), sentence(&command)));
    let usage = command.render_usage().to_string();
    let usage = usage.trim_start_matches("Usage: ").lines().map(str::trim).collect::<Vec<_>>().join("\n");
    text.push_str(&format!("```text\n{usage}\n```\n\n"));
    if let Some(examples) = command.get_before_help() {
        let lines: Vec<String> = examples.to_string().lines().map(|line| line.trim_start().to_owned()).collect();
        text.push_str(&format!(
            "```sh\n{}\n```\n\n",
            lines.iter().map(|line| commented(line)).collect::<Vec<_>>().join("\n")
        ));
    }
    if let Some(notes) = command.get_after_help() {
        text.push_str(&format!("{notes}\n\n"));
    }
    let own = options(&command, |option| {
        !option.is_global_set() && option.get_id() != "help" && option.get_id() != "version"
    });
    if own.is_empty() {
        text.truncate(text.trim_end().len());
        text.push('\n');
    }
    text.push_str(&own);
    let inner: Vec<Command> = command.get_subcommands().filter(|inner| inner.get_name() != "help").cloned().collect();
    for inner in inner {
        section(text, &inner, &format!("{name} {}", inner.get_name()), depth + 1);
    }
}

/// An example with what it is for as a comment of the shell.
fn commented(example: &str) -> String {
    match example.split_once("  ") {
        Some((line, what)) => format!("{line}  # {}", what.trim()),
        None => example.to_owned(),
    }
}

/// A table of options; empty where there are none.
fn options(command: &Command, wanted: impl Fn(&Arg) -> bool) -> String {
    let rows: String = command
        .get_arguments()
        .filter(|option| wanted(option) && !option.is_hide_set())
        .map(|option| format!("| {} | {} |\n", cell(&written(option)), cell(&meaning(option))))
        .collect();
    if rows.is_empty() { rows } else { format!("| option | meaning |\n|---|---|\n{rows}") }
}

fn written(option: &Arg) -> String {
    let value = option.get_value_names().map_or_else(String::new, |names| names.join(" "));
    let takes = option.get_action().takes_values();
    match (option.get_short(), option.get_long()) {
        (None, None) => format!("`{value}`"),
        (short, long) => {
            let mut names: Vec<String> = short.map(|short| format!("-{short}")).into_iter().collect();
            names.extend(long.map(|long| format!("--{long}")));
            format!("`{}{}`", names.join(", "), if takes { format!(" {value}") } else { String::new() })
        }
    }
}

fn meaning(option: &Arg) -> String {
    let mut text = option.get_help().map_or_else(String::new, ToString::to_string);
    let usual: Vec<_> = option.get_default_values().iter().map(|value| value.to_string_lossy()).collect();
    if option.get_action().takes_values() && !usual.is_empty() {
        text.push_str(&format!(" [default: {}]", usual.join(" ")));
    }
    if option.is_required_set() {
        text.push_str(" (must be given)");
    }
    text
}

fn cell(text: &str) -> String {
    text.replace('|', "\\|").replace('\n', " ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_command_and_option_has_its_place_in_the_reference() {
        let page = page();
        let mut whole = definition();
        whole.build();
        for verb in whole.get_subcommands().filter(|verb| !verb.is_hide_set()) {
            assert!(page.contains(&format!("## darkline {}\n", verb.get_name())), "{}", verb.get_name());
            for option in verb.get_arguments().filter_map(Arg::get_long) {
                assert!(page.contains(&format!("--{option}")), "{option}");
            }
        }
        assert!(page.contains("### darkline people add\n"));
        assert!(!page.contains("help-reference |"));
    }
}

//! What is said about words of the command line that cannot be read: in the words of the house, with what was meant.

use clap::error::{ContextKind, ContextValue, ErrorKind};

/// A fault of the command line.
///
/// # Arguments
/// * `words`: the command line without the name of the program.
/// * `whole`: the definition it was read by.
pub fn in_our_words(error: &clap::Error, words: &[String], whole: &clap::Command) -> String {
    let told = Told { error, words, whole };
    match error.kind() {
        ErrorKind::InvalidSubcommand => told.unknown_command(),
        ErrorKind::UnknownArgument => told.unknown_argument(),
        ErrorKind::MissingRequiredArgument => format!("error: {} is missing\n  {}", told.found(), told.see_help()),
        ErrorKind::MissingSubcommand => format!("error: a command is missing\n  {}", told.see_help()),
        ErrorKind::InvalidValue if told.value().is_empty() => {
            format!("error: {} has no value\n  {}", told.found(), told.see_help())
        }
        ErrorKind::InvalidValue | ErrorKind::ValueValidation => told.unfit_value(),
        ErrorKind::ArgumentConflict => match told.text(ContextKind::PriorArg) {
            Some(prior) if prior != told.found() => format!("error: {} and {prior} do not go together", told.found()),
            _ => format!("error: {} is given more than once", told.found()),
        },
        ErrorKind::TooManyValues => format!("error: \"{}\" is one value too many for {}", told.value(), told.found()),
        ErrorKind::NoEquals => format!("error: {} takes its value behind an equals sign", told.found()),
        ErrorKind::InvalidUtf8 => "error: a word of the command is not UTF-8".into(),
        _ => format!("error: {}", error.render().to_string().trim_start_matches("error: ").trim_end()),
    }
}

struct Told<'a> {
    error: &'a clap::Error,
    words: &'a [String],
    whole: &'a clap::Command,
}

impl Told<'_> {
    fn text(&self, kind: ContextKind) -> Option<String> {
        match self.error.get(kind) {
            Some(ContextValue::String(text)) => Some(text.clone()),
            Some(ContextValue::Strings(texts)) => Some(texts.join(", ")),
            _ => None,
        }
    }

    fn found(&self) -> String {
        self.text(ContextKind::InvalidArg).unwrap_or_default()
    }

    fn value(&self) -> String {
        self.text(ContextKind::InvalidValue).unwrap_or_default()
    }

    /// The commands named so far, outermost first, and the innermost definition.
    fn command(&self) -> (Vec<&str>, &clap::Command) {
        let (mut names, mut command) = (vec!["darkline"], self.whole);
        for word in self.words {
            if let Some(inner) = command.find_subcommand(word) {
                names.push(inner.get_name());
                command = inner;
            }
        }
        (names, command)
    }

    fn see_help(&self) -> String {
        format!("{} --help shows how it is written", self.command().0.join(" "))
    }

    fn unknown_command(&self) -> String {
        let found = self.text(ContextKind::InvalidSubcommand).unwrap_or_default();
        let (names, command) = self.command();
        let known = command.get_subcommands().filter(|inner| !inner.is_hide_set()).map(clap::Command::get_name);
        let hint = match nearest(&found, known) {
            Some(meant) => format!("did you mean {} {meant}?", names.join(" ")),
            None => format!("{} --help lists them", names.join(" ")),
        };
        format!("error: {} has no command \"{found}\"\n  {hint}", names.join(" "))
    }

    fn unknown_argument(&self) -> String {
        let found = self.found();
        let (names, command) = self.command();
        if !found.starts_with('-') {
            return format!("error: \"{found}\" is one word too many\n  {}", self.see_help());
        }
        let own = command.get_arguments().chain(self.whole.get_arguments());
        let known: Vec<String> = own.filter_map(|option| option.get_long()).map(|long| format!("--{long}")).collect();
        let name = found.split('=').next().unwrap_or(&found);
        match nearest(name, known.iter().map(String::as_str)) {
            Some(meant) => format!("error: {} has no option {found}\n  did you mean {meant}?", names.join(" ")),
            None => format!("error: {} has no option {found}\n  {}", names.join(" "), self.see_help()),
        }
    }

    fn unfit_value(&self) -> String {
        let (found, value) = (self.found(), self.value());
        let wanted = match found.rsplit('<').next().map(|name| name.trim_end_matches('>')) {
            Some("N") => "write a whole number, for example 7",
            Some("TEXT") => "write a text that says something",
            Some("FACTOR") => "write a whole number of 2 or more, for example 5",
            _ => "",
        };
        let hint = if wanted.is_empty() { self.see_help() } else { wanted.to_owned() };
        format!("error: \"{value}\" is no value for {found}\n  {hint}")
    }
}

/// The known word that a mistyped one is nearest to, where it is near enough to be meant.
fn nearest<'a>(found: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let found = found.to_lowercase();
    let likeness = |word: &str| strsim::damerau_levenshtein(&found, word);
    let begun = |word: &str| found.len() >= 2 && word.starts_with(&found);
    known
        .map(|word| (if begun(word) { 0 } else { likeness(word) }, word))
        .filter(|(steps, word)| *steps <= 1 + word.chars().count() / 4)
        .min_by_key(|(steps, _)| *steps)
        .map(|(_, word)| word)
}

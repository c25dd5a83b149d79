//! A phrase looked for in text: whole words only, with or without regard to capitals.

/// Words that are looked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Phrase {
    words: String,
    capitals_matter: bool,
}

impl Phrase {
    /// Found in any mix of capitals and small letters.
    pub fn any_case(words: impl Into<String>) -> Self {
        Self { words: words.into().to_lowercase(), capitals_matter: false }
    }

    /// Found only as written.
    pub fn as_written(words: impl Into<String>) -> Self {
        Self { words: words.into(), capitals_matter: true }
    }

    /// The phrase as it is looked for.
    pub fn words(&self) -> &str {
        &self.words
    }

    /// Whether the phrase stands in a text as words of their own: a letter or digit at either edge of the phrase may
    /// not go on beyond it, so that "char" is not found in "character".
    pub fn stands_in(&self, text: &str) -> bool {
        let lowered;
        let text = if self.capitals_matter {
            text
        } else {
            lowered = text.to_lowercase();
            &lowered
        };
        let goes_on = |inner: Option<char>, outer: Option<char>| {
            let is_word = |character: Option<char>| character.is_some_and(char::is_alphanumeric);
            is_word(inner) && is_word(outer)
        };
        text.match_indices(&self.words).any(|(place, found)| {
            !goes_on(found.chars().next(), text[..place].chars().next_back())
                && !goes_on(found.chars().next_back(), text[place + found.len()..].chars().next())
        })
    }

    /// The lines of a text, counted from 1, that hold the phrase.
    pub fn lines_in<'a>(&'a self, text: &'a str) -> impl Iterator<Item = usize> + 'a {
        text.lines().enumerate().filter(|(_, line)| self.stands_in(line)).map(|(index, _)| index + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_phrase_is_found_as_whole_words_only() {
        let phrase = Phrase::any_case("char");
        assert!(phrase.stands_in("to Char the sample"));
        assert!(phrase.stands_in("ash/char"));
        assert!(!phrase.stands_in("character"));
        assert!(!phrase.stands_in("an eschar"));
    }

    #[test]
    fn a_mark_at_the_edge_is_its_own_edge() {
        let phrase = Phrase::as_written("now!");
        assert!(phrase.stands_in("now!(later)"));
        assert!(!phrase.stands_in("know!"));
    }

    #[test]
    fn capitals_matter_only_when_asked() {
        assert!(!Phrase::as_written("LOD").stands_in("lod"));
        assert!(Phrase::any_case("LOD").stands_in("lod"));
    }

    #[test]
    fn lines_are_counted_from_one() {
        let found: Vec<usize> = Phrase::any_case("b").lines_in("a\nb\nc b\n").collect();
        assert_eq!(found, [2, 3]);
    }
}

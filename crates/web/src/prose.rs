//! Our own Markdown as HTML: headings, paragraphs, lists, tables, code; what is in none of these is text.
//!
//! It reads the pages of `docs`, which are ours, and nothing that anybody sends. Links are shown as their words, since the
//! files they lead to are not here.

use maud::{Markup, html};

/// A text as HTML.
pub(crate) fn shown(text: &str) -> Markup {
    let mut blocks: Vec<Markup> = Vec::new();
    let lines: Vec<&str> = text.lines().collect();
    let mut place = 0;
    while place < lines.len() {
        let line = lines[place];
        let from = place;
        let while_true = |mut place: usize, is: &dyn Fn(&str) -> bool| {
            while place < lines.len() && is(lines[place]) {
                place += 1;
            }
            place
        };
        if line.trim().is_empty() {
            place += 1;
        } else if let Some(words) = line.strip_prefix("### ") {
            blocks.push(html! { h3 { (inline(words)) } });
            place += 1;
        } else if let Some(words) = line.strip_prefix("## ") {
            blocks.push(html! { h2 { (inline(words)) } });
            place += 1;
        } else if let Some(words) = line.strip_prefix("# ") {
            blocks.push(html! { h2 { (inline(words)) } });
            place += 1;
        } else if line.starts_with("```") {
            place = while_true(place + 1, &|line| !line.starts_with("```"));
            let code = lines[from + 1..place].join("\n");
            blocks.push(html! { pre { code { (code) } } });
            place += 1;
        } else if line.starts_with('|') {
            place = while_true(place, &|line| line.starts_with('|'));
            blocks.push(table(&lines[from..place]));
        } else if line.starts_with("* ") || line.starts_with("- ") {
            place =
                while_true(place, &|line| line.starts_with("* ") || line.starts_with("- ") || line.starts_with("  "));
            let mut items: Vec<String> = Vec::new();
            for line in &lines[from..place] {
                match line.strip_prefix("* ").or_else(|| line.strip_prefix("- ")) {
                    Some(words) => items.push(words.to_owned()),
                    None => {
                        if let Some(last) = items.last_mut() {
                            last.push(' ');
                            last.push_str(line.trim());
                        }
                    }
                }
            }
            blocks.push(html! { ul { @for item in &items { li { (inline(item)) } } } });
        } else {
            let is_text = |line: &str| {
                let begins = ["#", "|", "```", "* ", "- "].iter().any(|mark| line.starts_with(mark));
                !line.trim().is_empty() && !begins
            };
            place = while_true(place + 1, &is_text);
            blocks.push(html! { p { (inline(&lines[from..place].join(" "))) } });
        }
    }
    html! { @for block in &blocks { (block) } }
}

fn table(lines: &[&str]) -> Markup {
    let cells = |line: &str| -> Vec<String> {
        line.trim().trim_matches('|').split('|').map(|cell| cell.trim().to_owned()).collect()
    };
    html! {
        div.scrolls tabindex="0" role="region" aria-label="Table" {
            table {
                @if let Some(head) = lines.first() { thead { tr { @for cell in cells(head) { th scope="col" { (inline(&cell)) } } } } }
                tbody { @for line in lines.iter().skip(2) { tr { @for cell in cells(line) { td { (inline(&cell)) } } } } }
            }
        }
    }
}

/// `code`, **strong** and [words](address) inside a line.
fn inline(text: &str) -> Markup {
    let mut parts: Vec<Markup> = Vec::new();
    let mut rest = text;
    while let Some(place) = rest.find(['`', '*', '[']) {
        let (before, from) = rest.split_at(place);
        let found = ["`", "**"].iter().find_map(|mark| {
            let (inner, after) = from.strip_prefix(mark)?.split_once(mark)?;
            Some((
                if *mark == "`" {
                    html! { code { (inner) } }
                } else {
                    html! { b { (inner) } }
                },
                after,
            ))
        });
        let link = || {
            let (words, after) = from.strip_prefix('[')?.split_once("](")?;
            let (_, after) = after.split_once(')')?;
            Some((html! { (words) }, after))
        };
        match found.or_else(link) {
            Some((markup, after)) => {
                // A picture is told by its words.
                parts.push(html! { (before.strip_suffix('!').unwrap_or(before)) (markup) });
                rest = after;
            }
            None => {
                let mut characters = from.chars();
                let mark = characters.next().map_or_else(String::new, |c| c.to_string());
                parts.push(html! { (before) (mark) });
                rest = characters.as_str();
            }
        }
    }
    html! { @for part in &parts { (part) } (rest) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_paragraphs_lists_tables_and_code_are_told_apart() {
        let text = "# A\n\nOne `x < 1` and\n**two** [three](b.md), 2 * 3 [no\n\n* first\n  goes on\n* second\n\n| a | b |\n|---|---|\n| 1 | 2 |\n\n```sh\ny <z>\n```\n";
        let html = shown(text).into_string();
        for wanted in [
            "<h2>A</h2>",
            "<p>One <code>x &lt; 1</code> and <b>two</b> three, 2 * 3 [no</p>",
            "<li>first goes on</li><li>second</li>",
            "<th scope=\"col\">a</th>",
            "<td>2</td>",
            "<pre><code>y &lt;z&gt;</code></pre>",
        ] {
            assert!(html.contains(wanted), "{wanted} in {html}");
        }
    }
}

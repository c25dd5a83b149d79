//! `darkline start`: the cautions and checks of an order before its first sample; who read them is an entry.

use darkline_handbook::Handbook;
use darkline_planning::startup::{BEFORE_LIGHTING, Follows, Pressures, cautions, checks, refusals, work};
use darkline_record::canonical::Digest;
use darkline_record::method::ResolvedMethod;
use serde::Serialize;

use super::order;
use crate::bench;
use crate::command_line::{Everywhere, Start};
use crate::ending::{Ending, Failure};
use crate::paragraph::indented;
use crate::talk;

#[derive(Serialize)]
struct CautionLine<'a> {
    schema: &'static str,
    id: &'a str,
    severity: &'a str,
    caution: &'a str,
    source: &'a str,
}

pub fn run(everywhere: &Everywhere, options: &Start) -> Result<Ending, Failure> {
    let id = order(&options.order)?;
    let handbook = Handbook::shipped();
    let laboratory = bench::read(everywhere)?;
    let known = laboratory.order(&id)?;
    let state = laboratory.state();
    let methods: Vec<&ResolvedMethod> =
        known.order.analytes.iter().filter_map(|analyte| state.methods.get(&analyte.method)).collect();
    let procedures: Vec<&str> = state.batches_of(&id).into_iter().map(|batch| batch.procedure.as_str()).collect();
    let work = work(&methods, &procedures);
    let shown = cautions(&work);
    if everywhere.json {
        for one in &shown {
            talk::print_json(&CautionLine {
                schema: "darkline/caution/1",
                id: &one.id,
                severity: one.severity.word(),
                caution: &one.caution,
                source: &one.source,
            })?;
        }
    } else {
        let mut text = indented(&handbook.cautions().general.statement, 0);
        text.push('\n');
        for one in &shown {
            let head = format!("{:<8} ", one.severity.word());
            text.push_str(&format!("{head}{}", indented(&one.caution, 9).trim_start()));
        }
        text.push_str("\nBefore the first sample\n");
        for check in checks(&work) {
            text.push_str(&format!("  [ ] {check}\n"));
        }
        talk::print(&text)?;
    }
    let pressures = Pressures { acetylene: options.acetylene, cylinder: options.acetylene_cylinder };
    let met = refusals(&work, pressures, options.looked_at);
    for one in &met {
        talk::tell(&format!("{}: {}", one.rule, one.says));
    }
    if let Some(refused) = met.iter().find(|one| one.follows == Follows::Refused) {
        return Err(Failure::told(format!("{}: {}; nothing was appended", refused.rule, refused.says)));
    }
    if !options.read {
        talk::tell(&format!("Next: darkline start {id} --read --as NAME"));
        return Ok(Ending::Done);
    }
    if met.iter().any(|one| one.follows == Follows::UntilTicked) {
        return Err(Failure::with_hint(
            "a flame is lit only when somebody has looked at five points; nothing was appended",
            format!("look at {}, then give the command with --looked-at", BEFORE_LIGHTING.join(", ")),
        ));
    }
    let mut stated = Vec::new();
    if options.looked_at {
        stated.push(format!("looked at {}", BEFORE_LIGHTING.join(", ")));
    }
    stated.extend(options.acetylene.map(|pressure| format!("acetylene {pressure} kPa")));
    stated.extend(options.acetylene_cylinder.map(|pressure| format!("acetylene cylinder {pressure} kPa")));
    let by = bench::person(everywhere)?;
    let list = Digest::of(handbook.list_of_cautions().as_bytes());
    let names: Vec<String> = shown.iter().map(|one| one.id.clone()).collect();
    drop(laboratory);
    let mut laboratory = bench::write(everywhere)?;
    let n = names.len();
    let entry = laboratory.start(&by, &id, list, names, stated)?;
    talk::tell(&format!("entry {entry}: {n} cautions read by {by} before order {id} is started."));
    Ok(Ending::Done)
}

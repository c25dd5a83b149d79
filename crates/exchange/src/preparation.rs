//! `preparation.toml`, format `darkline/preparation/1`: test portions prepared together.

use std::collections::BTreeMap;

use darkline_metrology::kind::Kind;
use darkline_record::figure::{Given, Uncertain, with_article};
use darkline_record::identity::PortionId;
use darkline_record::order::ResultFigure;
use darkline_record::preparation::{Portion, PortionRole, PreparationBatch};

use crate::document::figure::Wanted;
use crate::document::gathering::{Distinct, all, transposed};
use crate::document::section::Section;
use crate::document::{self, Entered};
use crate::fault::Faults;
use crate::order::result_figure;

/// Reads a preparation batch.
///
/// # Errors
/// All faults of the text.
pub fn read(file_name: &str, text: &str) -> Result<PreparationBatch, Faults> {
    enter(file_name, text).map(|entered| entered.document)
}

/// Reads a preparation batch and keeps its text beside it.
///
/// # Errors
/// As for [`read`].
pub fn enter(file_name: &str, text: &str) -> Result<Entered<PreparationBatch>, Faults> {
    document::read(file_name, text, "preparation", v1)
}

/// Writes a batch as a document, with a comment on top. It reads back as the same batch.
pub fn write(batch: &PreparationBatch, comment: &str) -> String {
    let mut text: String = comment.lines().map(|line| format!("# {line}\n")).collect();
    let mut key = |name: &str, value: &str| text.push_str(&format!("{name} = {value}\n"));
    key("format", "\"darkline/preparation/1\"");
    key("id", &written(batch.id.as_str()));
    key("prepared", &written(batch.prepared.as_str()));
    key("by", &written(&batch.by));
    key("procedure", &written(&batch.procedure));
    for portion in &batch.portions {
        text.push_str("\n[[portion]]\n");
        let mut key = |name: &str, value: String| text.push_str(&format!("{name} = {value}\n"));
        key("id", written(portion.id.as_str()));
        key("role", written(portion.role.word()));
        match &portion.role {
            PortionRole::Sample { order, sample } => {
                key("order", written(order.as_str()));
                key("sample", written(sample.as_str()));
            }
            PortionRole::Duplicate { of } => key("of", written(of.as_str())),
            PortionRole::Spike { of, added, added_volume } => {
                key("of", written(of.as_str()));
                key("added", uncertain(added));
                if let Some(volume) = added_volume {
                    key("added_volume", uncertain(volume));
                }
            }
            PortionRole::MethodBlank => {}
            PortionRole::Control { material, assigned, u } => {
                key("material", written(material));
                key("assigned", written(&assigned.to_string()));
                if let Some(u) = u {
                    key("u_assigned", written(&u.to_string()));
                }
            }
        }
        let figures = [
            ("mass", portion.mass.as_ref().map(uncertain)),
            ("volume_taken", portion.volume_taken.as_ref().map(uncertain)),
            ("volume", portion.volume.as_ref().map(uncertain)),
            ("area", portion.area.as_ref().map(uncertain)),
            ("dry_matter", portion.dry_matter.as_ref().map(uncertain)),
            ("dose", portion.dose.as_ref().map(uncertain)),
        ];
        for (name, figure) in figures {
            if let Some(figure) = figure {
                key(name, figure);
            }
        }
    }
    text
}

/// A text between quotation marks.
fn written(text: &str) -> String {
    let plain: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    format!("\"{}\"", plain.replace('\\', "\\\\").replace('"', "\\\""))
}

/// A figure with what is said about its uncertainty.
fn uncertain<K: Kind>(figure: &Uncertain<K>) -> String {
    let value = written(&figure.value.to_string());
    let Some(spread) = &figure.spread else { return value };
    let given = match &spread.given {
        Given::U(u) => format!("u = {}", written(&u.to_string())),
        Given::Within { half_width, shape } => {
            format!("half_width = {}, shape = {}", written(&half_width.to_string()), written(shape.word()))
        }
    };
    let dof = spread.dof.map_or(String::new(), |dof| format!(", dof = {dof}"));
    let shared = spread.shared.as_ref().map_or(String::new(), |shared| format!(", shared = {}", written(shared)));
    format!("{{ value = {value}, {given}{dof}{shared} }}")
}

/// The word of a role, before the keys that belong to it are read.
#[derive(Clone, Copy, PartialEq, Eq)]
enum RoleWord {
    Sample,
    Duplicate,
    Spike,
    MethodBlank,
    Control,
}

impl RoleWord {
    const ALL: [RoleWord; 5] =
        [RoleWord::Sample, RoleWord::Duplicate, RoleWord::Spike, RoleWord::MethodBlank, RoleWord::Control];

    fn word(self) -> &'static str {
        match self {
            RoleWord::Sample => "sample",
            RoleWord::Duplicate => "duplicate",
            RoleWord::Spike => "spike",
            RoleWord::MethodBlank => "method blank",
            RoleWord::Control => "control",
        }
    }

    /// The keys that belong to it.
    fn keys(self) -> &'static [&'static str] {
        match self {
            RoleWord::Sample => &["order", "sample"],
            RoleWord::Duplicate => &["of"],
            RoleWord::Spike => &["of", "added", "added_volume"],
            RoleWord::MethodBlank => &[],
            RoleWord::Control => &["material", "assigned", "u_assigned"],
        }
    }
}

fn v1(top: &Section<'_>) -> Option<PreparationBatch> {
    let id = top.required("id", "\"P1\"").and_then(|entry| entry.parsed());
    let prepared = top.required("prepared", "\"2026-03-14T09:30:00+01:00\"").and_then(|entry| entry.time());
    let by = top.required("by", "\"j.alder\"").and_then(|entry| entry.text());
    let procedure = top.required("procedure", "\"…\"").and_then(|entry| entry.text());
    let mut ids = Distinct::new("portion");
    let sections = top.some_sections("portion", "[[portion]]");
    let portions: Vec<Option<Portion>> = sections
        .iter()
        .map(|section| {
            let portion_id = section.required("id", "\"P1-1\"").and_then(|entry| ids.parsed(top.sheet(), &entry));
            let role = role(section);
            let mass = section.optional("mass").map(|entry| entry.uncertain(Wanted::Positive));
            let volume_taken = section.optional("volume_taken").map(|entry| entry.uncertain(Wanted::Positive));
            let volume = section.optional("volume").map(|entry| entry.uncertain(Wanted::Positive));
            let area = section.optional("area").map(|entry| entry.uncertain(Wanted::Positive));
            let dry_matter = section.optional("dry_matter").map(|entry| {
                let figure = entry.uncertain::<darkline_metrology::kind::Factor>(Wanted::Positive)?;
                if darkline_metrology::kind::Kind::si(figure.value.value()) > 1.0 {
                    entry.fault(
                        format!("dry matter of {} is more than the whole", figure.value),
                        "write it as a part of the mass weighed in, for example \"0.934\" or \"93.4 %\"",
                    );
                    return None;
                }
                Some(figure)
            });
            let dose = section.optional("dose").map(|entry| entry.uncertain(Wanted::Positive));
            section.close();
            Some(Portion {
                id: portion_id?,
                role: role?,
                mass: transposed(mass)?,
                volume_taken: transposed(volume_taken)?,
                volume: transposed(volume)?,
                area: transposed(area)?,
                dry_matter: transposed(dry_matter)?,
                dose: transposed(dose)?,
            })
        })
        .collect();
    top.close();
    look_back(&sections, &portions);
    Some(PreparationBatch { id: id?, prepared: prepared?, by: by?, procedure: procedure?, portions: all(portions)? })
}

fn role(section: &Section<'_>) -> Option<PortionRole> {
    let word = section
        .required("role", "\"sample\"")
        .and_then(|entry| entry.one_of("role of a portion", &RoleWord::ALL, RoleWord::word));
    let Some(word) = word else {
        // Whatever the role, its keys are none to be told as unknown.
        for keys in RoleWord::ALL.map(RoleWord::keys) {
            keys.iter().for_each(|key| drop(section.optional(key)));
        }
        return None;
    };
    for other in RoleWord::ALL {
        for key in other.keys().iter().filter(|key| !word.keys().contains(key)) {
            section.without(key, &format!("at a portion with the role \"{}\"", word.word()));
        }
    }
    match word {
        RoleWord::Sample => {
            let order = section.required("order", "\"2026-031\"").and_then(|entry| entry.parsed());
            let sample = section.required("sample", "\"well-04\"").and_then(|entry| entry.parsed());
            Some(PortionRole::Sample { order: order?, sample: sample? })
        }
        RoleWord::Duplicate => {
            let of = section.required("of", "\"P1-1\"").and_then(|entry| entry.parsed());
            Some(PortionRole::Duplicate { of: of? })
        }
        RoleWord::Spike => {
            let of = section.required("of", "\"P1-1\"").and_then(|entry| entry.parsed());
            let added = section.required("added", "\"2.0 µg\"").and_then(|entry| entry.uncertain(Wanted::Positive));
            let added_volume = section.optional("added_volume").map(|entry| entry.uncertain(Wanted::Positive));
            Some(PortionRole::Spike { of: of?, added: added?, added_volume: transposed(added_volume)? })
        }
        RoleWord::MethodBlank => Some(PortionRole::MethodBlank),
        RoleWord::Control => {
            let material = section.required("material", "\"…\"").and_then(|entry| entry.text());
            let assigned =
                section.required("assigned", "\"0.30 mg/kg\"").and_then(|entry| result_figure(&entry, "value"));
            let u = section.optional("u_assigned").map(|entry| {
                let u = result_figure(&entry, "standard uncertainty")?;
                match &assigned {
                    Some(assigned) if assigned.kind() != u.kind() => {
                        entry.fault(
                            format!(
                                "{} stands where {} is wanted",
                                with_article(u.kind().words()),
                                with_article(assigned.kind().words())
                            ),
                            "write its uncertainty in the unit of the value",
                        );
                        None
                    }
                    _ => Some(u),
                }
            });
            let u: Option<Option<ResultFigure>> = transposed(u);
            Some(PortionRole::Control { material: material?, assigned: assigned?, u: u? })
        }
    }
}

/// Duplicates and spikes name another portion of the batch, and one that stands for itself: so none can run in a ring.
fn look_back(sections: &[Section<'_>], portions: &[Option<Portion>]) {
    let known: BTreeMap<&PortionId, &PortionRole> =
        portions.iter().flatten().map(|portion| (&portion.id, &portion.role)).collect();
    // A portion that could not be read may be the one that is meant.
    let all_known = portions.iter().all(Option::is_some);
    for (section, portion) in sections.iter().zip(portions) {
        let Some(portion) = portion else { continue };
        let (PortionRole::Duplicate { of } | PortionRole::Spike { of, .. }) = &portion.role else {
            continue;
        };
        let Some(entry) = section.optional("of") else {
            continue;
        };
        let word = portion.role.word();
        match known.get(of) {
            None if all_known => {
                let names: Vec<&str> = known.keys().map(|id| id.as_str()).collect();
                entry.fault(
                    format!("there is no portion \"{of}\" in this batch"),
                    crate::nearest::meant(of.as_str(), &names),
                );
            }
            None => {}
            Some(_) if *of == portion.id => entry
                .fault(format!("portion \"{of}\" is named as the {word} of itself"), "name the portion it goes with"),
            Some(other) => {
                let fits = match portion.role {
                    PortionRole::Duplicate { .. } => {
                        matches!(other, PortionRole::Sample { .. } | PortionRole::Spike { .. })
                    }
                    _ => matches!(other, PortionRole::Sample { .. } | PortionRole::MethodBlank),
                };
                if !fits {
                    entry.fault(
                        format!("portion \"{of}\" is a {}; it has no {word}", other.word()),
                        "name the portion of the sample",
                    );
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_batch_that_was_written_reads_back_as_it_was() {
        for text in [
            include_str!("../../../examples/copper-water/preparation.toml"),
            include_str!("../../../examples/cadmium-release/preparation.toml"),
            include_str!("../../../demo/preparation.toml"),
        ] {
            let batch = read("preparation.toml", text).unwrap();
            let again = write(&batch, "one line\nand another");
            assert_eq!(read("again.toml", &again).unwrap(), batch, "{again}");
        }
    }
}

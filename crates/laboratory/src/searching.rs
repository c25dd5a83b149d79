//! Searching the entries: by order, reading, person, kind and time; and stating that they were reviewed.

use std::ops::ControlFlow;

use darkline_audit_trail::people::Verb;
use darkline_audit_trail::{Entry, PersonId, Timestamp};
use darkline_record::decision::Reason;
use darkline_record::identity::{OrderId, ReadingId};

use crate::act::Act;
use crate::laboratory::{Laboratory, LaboratoryError};
use crate::restoring::entries_of;
use crate::state::State;
use crate::told::Told;

/// What is looked for; what is none does not matter.
#[derive(Clone, Debug, Default)]
pub struct Search {
    /// Entries that concern this order.
    pub order: Option<OrderId>,
    /// Entries about this reading: what brought it, what was decided about it or its row.
    pub reading: Option<ReadingId>,
    /// Entries by this person or about them.
    pub person: Option<PersonId>,
    /// Entries of these kinds; all where there is none.
    pub what: Vec<String>,
    /// Not before this moment.
    pub from: Option<Timestamp>,
    /// Not after this moment.
    pub to: Option<Timestamp>,
    /// Only what changes something that stood there before: decisions, returns, changed people, corrections.
    pub only_changes: bool,
}

/// An entry that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// The entry.
    pub entry: Entry,
    /// What it says.
    pub told: Told,
}

impl Laboratory {
    /// The entries that a search finds, in their order.
    ///
    /// # Errors
    /// [`LaboratoryError::UnknownOrder`], and what the store finds.
    pub fn search(&self, search: &Search) -> Result<Vec<Found>, LaboratoryError> {
        if let Some(order) = &search.order {
            if let Some(archive) = self.restored_archive(order)? {
                return self.search_entries(search, &entries_of(&archive)?);
            }
            self.order(order)?;
        }
        let mut before = State::default();
        let (mut found, mut fault) = (Vec::new(), None);
        let rows = search.reading.as_ref().map_or_else(Vec::new, |reading| self.rows_of(reading));
        let store = self.store();
        store.scan(store.log(), 0, &mut |entry| {
            let folded = Act::read(entry).map_err(crate::state::FoldFault::from).and_then(|act| {
                let told = act.told(&before);
                before.fold(entry)?;
                Ok((act, told))
            });
            match folded {
                Ok((act, told)) => {
                    if self.fits(search, &rows, entry, &act, &told) {
                        found.push(Found { entry: entry.clone(), told });
                    }
                    ControlFlow::Continue(())
                }
                Err(why) => {
                    fault = Some(why);
                    ControlFlow::Break(())
                }
            }
        })?;
        fault.map_or(Ok(found), |fault| Err(fault.into()))
    }

    /// The same in the entries of an archive, all of which concern its order.
    fn search_entries(&self, search: &Search, entries: &[Entry]) -> Result<Vec<Found>, LaboratoryError> {
        let search = Search { order: None, ..search.clone() };
        let rows = search.reading.as_ref().map_or_else(Vec::new, |reading| vec![format!("reading {reading}")]);
        let (mut before, mut found) = (State::default(), Vec::new());
        for entry in entries {
            let act = Act::read(entry).map_err(crate::state::FoldFault::from)?;
            let told = act.told(&before);
            before.fold(entry)?;
            if self.fits(&search, &rows, entry, &act, &told) {
                found.push(Found { entry: entry.clone(), told });
            }
        }
        Ok(found)
    }

    /// The subjects under which a reading is spoken of: itself and its row.
    fn rows_of(&self, reading: &ReadingId) -> Vec<String> {
        let mut subjects = vec![format!("reading {reading}")];
        if let Some(run) = self.state().runs.get(&reading.run) {
            let row = run.run.readings.iter().find(|known| known.number == reading.number).map(|known| known.row);
            subjects.extend(row.map(|row| format!("row {}/{row}", reading.run)));
        }
        subjects
    }

    fn fits(&self, search: &Search, subjects: &[String], entry: &Entry, act: &Act, told: &Told) -> bool {
        let person = |person: &PersonId| entry.by == *person || told.about.contains(&format!("person {person}"));
        search.order.as_ref().is_none_or(|order| self.concerns(act, order))
            && (subjects.is_empty() || told.about.iter().any(|about| subjects.contains(about)))
            && search.person.as_ref().is_none_or(person)
            && (search.what.is_empty() || search.what.iter().any(|what| what == told.what))
            && search.from.as_ref().is_none_or(|from| entry.at.instant() >= from.instant())
            && search.to.as_ref().is_none_or(|to| entry.at.instant() <= to.instant())
            && (!search.only_changes || told.old.is_some())
    }

    /// States that entries were looked at: how many were shown, up to which, and what was found.
    ///
    /// # Errors
    /// [`LaboratoryError::Refused`].
    ///
    /// # Source
    /// EU GMP Annex 11, 9: audit trails are regularly reviewed.
    pub fn review_entries(
        &mut self,
        by: &PersonId,
        order: Option<&OrderId>,
        n_shown: usize,
        remark: &Reason,
    ) -> Result<u64, LaboratoryError> {
        self.admit(by, Verb::ReviewEntries, order)?;
        let (size, root) = self.root()?;
        let n_shown = u64::try_from(n_shown).unwrap_or(u64::MAX);
        let at = self.now();
        let act = Act::ReviewEntries { order: order.cloned(), size, n_shown, root, remark: remark.clone() };
        Ok(self.append(by, &at, &[act])?[0])
    }
}

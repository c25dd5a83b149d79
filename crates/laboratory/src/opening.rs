//! Opening an order: its documents are taken into the record as they were entered.

use darkline_audit_trail::PersonId;
use darkline_audit_trail::people::Verb;
use darkline_exchange::folder::Documents;
use darkline_record::identity::OrderId;

use crate::act::{Act, Attached, DocumentKind};
use crate::laboratory::{CURRENT_EDITION, Laboratory, LaboratoryError};

/// What was opened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Opened {
    /// The order.
    pub order: OrderId,
    /// Documents newly taken in, by file name.
    pub taken: Vec<String>,
    /// Documents the record had already, word for word.
    pub known: Vec<String>,
    /// Entries appended.
    pub entries: Vec<u64>,
    /// What the order spans.
    pub scope: Scope,
}

/// What an order spans.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Scope {
    /// Samples.
    pub n_samples: usize,
    /// Portions of its batches.
    pub n_portions: usize,
    /// Rows of its runs.
    pub n_rows: usize,
}

impl Scope {
    /// What the documents of an order span.
    pub fn of(documents: &Documents) -> Self {
        Self {
            n_samples: documents.order.document.samples.len(),
            n_portions: documents.preparations.iter().map(|batch| batch.document.portions.len()).sum(),
            n_rows: documents.runs.iter().map(|run| run.rows.document.len()).sum(),
        }
    }
}

impl Laboratory {
    /// Takes the documents of an order into the record. What the record has already, word for word, is not taken twice.
    ///
    /// # Errors
    /// [`LaboratoryError::OtherText`]: a document of the same identity says something else; [`LaboratoryError::Refused`].
    pub fn open(&mut self, by: &PersonId, documents: &Documents) -> Result<Opened, LaboratoryError> {
        self.ask(by, Verb::OpenDocuments, None)?;
        let order = documents.order.document.id.clone();
        let (mut taken, mut known, mut acts) = (Vec::new(), Vec::new(), Vec::new());
        let mut take =
            |kind, file_name: &str, text: &str, rows: Option<Attached>, id: &str, same: Option<bool>| match same {
                Some(true) => {
                    known.push(file_name.to_owned());
                    Ok(())
                }
                Some(false) => Err(LaboratoryError::OtherText { what: DocumentKind::word(kind), id: id.into() }),
                None => {
                    taken.push(file_name.to_owned());
                    acts.push(Act::OpenDocument { kind, file_name: file_name.into(), text: text.into(), rows });
                    Ok(())
                }
            };
        let state = self.state();
        // The order of the fold: a run needs its method, and nothing needs a run.
        let entered = &documents.order;
        let same = state.orders.get(&order).map(|known| known.order == entered.document);
        take(DocumentKind::Order, &entered.file_name, &entered.text, None, order.as_str(), same)?;
        for entered in &documents.methods {
            let id = &entered.document.id;
            let same = state.methods.get(id).map(|known| *known == entered.document);
            take(DocumentKind::Method, &entered.file_name, &entered.text, None, id.as_str(), same)?;
        }
        for entered in &documents.preparations {
            let id = &entered.document.id;
            let same = state.preparations.get(id).map(|known| *known == entered.document);
            take(DocumentKind::Preparation, &entered.file_name, &entered.text, None, id.as_str(), same)?;
        }
        for entered in &documents.runs {
            let head = &entered.head;
            let id = &head.document.id;
            let planned = entered.run();
            let same = state.runs.get(id).map(|known| {
                let first = known.run.legs.first();
                known.run.method == planned.method
                    && known.run.instrument == planned.instrument
                    && first == planned.legs.first()
            });
            let rows = Attached { file_name: entered.rows.file_name.clone(), text: entered.rows.text.clone() };
            take(DocumentKind::Run, &head.file_name, &head.text, Some(rows), id.as_str(), same)?;
        }
        if state.orders.get(&order).is_none_or(|known| known.edition.is_none()) {
            acts.push(Act::OpenOrder { order: order.clone(), edition: CURRENT_EDITION });
        }
        let scope = Scope::of(documents);
        let entries = if acts.is_empty() {
            Vec::new()
        } else {
            let at = self.now();
            self.append(by, &at, &acts)?
        };
        Ok(Opened { order, taken, known, entries, scope })
    }
}

//! Opening an order: its documents are taken into the record as they were entered.

use darkline_audit_trail::PersonId;
use darkline_audit_trail::keys::SigningKey;
use darkline_audit_trail::people::Verb;
use darkline_exchange::folder::Documents;
use darkline_exchange::sealing::{seal, unsealed};
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

/// Where it stands whose order it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Identity {
    /// In the record, with everything else.
    InTheRecord,
    /// Beside it, under salted commitments, so that it can be erased after the order's retention.
    Apart,
}

impl Laboratory {
    /// Takes the documents of an order into the record. What the record has already, word for word, is not taken twice.
    ///
    /// # Errors
    /// [`LaboratoryError::OtherText`]: a document of the same identity says something else; [`LaboratoryError::Refused`].
    pub fn open(&mut self, by: &PersonId, documents: &Documents) -> Result<Opened, LaboratoryError> {
        self.open_with(by, documents, Identity::InTheRecord)
    }

    /// The same, and says where it stands whose order it is.
    ///
    /// # Errors
    /// As [`Laboratory::open`]; [`LaboratoryError::Apart`] where it cannot be written beside the record.
    pub fn open_with(
        &mut self,
        by: &PersonId,
        documents: &Documents,
        identity: Identity,
    ) -> Result<Opened, LaboratoryError> {
        if self.state.restored.contains_key(&documents.order.document.id) {
            self.not_restored(&documents.order.document.id)?;
        }
        self.admit(by, Verb::OpenDocuments, None)?;
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
        let known_apart = self.apart_of(&order)?;
        let same = state
            .orders
            .get(&order)
            .map(|known| known.order == entered.document || unsealed(&known.order, &known_apart) == entered.document);
        let mut salts = Vec::new();
        let sealed = match identity {
            Identity::Apart if same.is_none() => {
                // As many salts as there are texts; each is drawn before anything is made of them.
                for _ in 0..entered.document.samples.len() + 3 {
                    salts.push(SigningKey::random().map_err(|_| LaboratoryError::NoRandomness)?.public_key().to_hex());
                }
                seal(&entered.text, &mut || salts.pop().unwrap_or_default())
            }
            _ => None,
        };
        let text = sealed.as_ref().map_or(entered.text.as_str(), |(text, _)| text);
        take(DocumentKind::Order, &entered.file_name, text, None, order.as_str(), same)?;
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
            // What is kept apart first: without it the commitments could never be opened.
            let apart = sealed.map(|(_, kept)| self.keep_apart(&order, &kept)).transpose()?;
            let at = self.now();
            let appended = self.append(by, &at, &acts);
            if let (Err(_), Some(file)) = (&appended, apart) {
                let _ = std::fs::remove_file(file);
            }
            appended?
        };
        Ok(Opened { order, taken, known, entries, scope })
    }
}

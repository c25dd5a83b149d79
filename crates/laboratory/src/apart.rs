//! What lies apart from the record: whose order it was, and the reports that name it, in a folder beside it.
//!
//! The record holds salted commitments and digests; what they stand for lies here, in files that only the bench's account may
//! read, and can be erased. A record without such orders has no such folder.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use darkline_exchange::sealing::{Apart, is_apart, unsealed};
use darkline_record::canonical::{self, Digest};
use darkline_record::identity::OrderId;
use darkline_record::order::Order;
use darkline_record::package::DataPackage;
use serde::{Deserialize, Serialize};

use crate::archive::ArchiveFault;
use crate::laboratory::{Laboratory, LaboratoryError};
use crate::state::{IssueState, OrderState};

/// What is written of an order.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Kept {
    schema: String,
    order: OrderId,
    texts: Vec<Text>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Text {
    salt: String,
    text: String,
}

const SCHEMA: &str = "darkline/apart/1";

/// The bytes of what is kept apart of an order.
pub(crate) fn bytes(order: &OrderId, kept: &[Apart]) -> Vec<u8> {
    let texts = kept.iter().map(|apart| Text { salt: apart.salt.clone(), text: apart.text.clone() }).collect();
    canonical::bytes(&Kept { schema: SCHEMA.into(), order: order.clone(), texts })
}

/// Reads what [`bytes`] wrote; `None` where it is something else.
pub(crate) fn read(order: &OrderId, bytes: &[u8]) -> Option<Vec<Apart>> {
    let kept: Kept = serde_json::from_slice(bytes).ok()?;
    let fits = kept.schema == SCHEMA && kept.order == *order;
    fits.then(|| kept.texts.into_iter().map(|Text { salt, text }| Apart { salt, text }).collect())
}

/// The texts of an order that stand for others.
pub(crate) fn commitments(order: &Order) -> Vec<&String> {
    let samples = order.samples.iter().map(|sample| &sample.description);
    [&order.customer, &order.contact]
        .into_iter()
        .chain(&order.purpose)
        .chain(samples)
        .filter(|text| is_apart(text))
        .collect()
}

/// Who asked for an order, where that is kept apart; `None` where it is erased, or lies elsewhere.
///
/// # Arguments
/// * `folder`: where it is kept apart; `customer`: what stands for it in the record.
pub fn customer_apart(folder: &Path, order: &OrderId, customer: &str) -> Option<String> {
    let kept = read(order, &fs::read(folder.join(format!("{order}.json"))).ok()?)?;
    kept.into_iter().find(|apart| apart.commitment() == customer).map(|apart| apart.text)
}

impl OrderState {
    /// Whether whose order it is was kept apart when it was opened.
    pub fn is_sealed(&self) -> bool {
        !commitments(&self.order).is_empty()
    }
}

impl Laboratory {
    /// Says in which folder lies what is kept apart from the record.
    #[must_use]
    pub fn with_apart(mut self, folder: PathBuf) -> Self {
        self.apart = Some(folder);
        self
    }

    fn apart_folder(&self) -> Result<&Path, LaboratoryError> {
        self.apart.as_deref().ok_or(LaboratoryError::NothingApart)
    }

    fn order_file(&self, order: &OrderId) -> Result<PathBuf, LaboratoryError> {
        Ok(self.apart_folder()?.join(format!("{order}.json")))
    }

    fn report_file(&self, report: &str) -> Result<PathBuf, LaboratoryError> {
        Ok(self.apart_folder()?.join(format!("{report}.pdf")))
    }

    pub(crate) fn keep_apart(&self, order: &OrderId, kept: &[Apart]) -> Result<PathBuf, LaboratoryError> {
        let file = self.order_file(order)?;
        write(&file, &bytes(order, kept))?;
        Ok(file)
    }

    pub(crate) fn keep_report_apart(&self, report: &str, document: &[u8]) -> Result<(), LaboratoryError> {
        write(&self.report_file(report)?, document)
    }

    /// The texts of an order that are kept apart, as far as they are there.
    ///
    /// # Errors
    /// [`LaboratoryError::Apart`]: the folder cannot be read.
    pub fn apart_of(&self, order: &OrderId) -> Result<Vec<Apart>, LaboratoryError> {
        let sealed = self.state.orders.get(order).is_some_and(OrderState::is_sealed);
        if !sealed {
            return Ok(Vec::new());
        }
        let file = self.order_file(order)?;
        match fs::read(&file) {
            Ok(bytes) => Ok(read(order, &bytes).unwrap_or_default()),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(Vec::new()),
            Err(error) => Err(fault(&file, &error)),
        }
    }

    /// A package as it is shown to people: with the texts that are kept apart in their places.
    ///
    /// # Errors
    /// As [`Laboratory::apart_of`].
    pub fn shown(&self, package: &DataPackage) -> Result<DataPackage, LaboratoryError> {
        let kept = self.apart_of(&package.order.id)?;
        Ok(DataPackage { order: unsealed(&package.order, &kept), ..package.clone() })
    }

    /// The bytes of a report, from the record or from beside it.
    pub(crate) fn report_bytes(&self, order: &OrderId, issue: &IssueState) -> Result<Vec<u8>, LaboratoryError> {
        let known = self.order(order)?;
        if !known.is_sealed() {
            return self.kept(&issue.document, "the report");
        }
        if known.erased.is_some() {
            return Err(LaboratoryError::Erased { order: order.clone() });
        }
        let file = self.report_file(&issue.report)?;
        let bytes = fs::read(&file).map_err(|error| fault(&file, &error))?;
        if Digest::of(&bytes) == issue.document {
            Ok(bytes)
        } else {
            Err(ArchiveFault::BlobMissing { what: "the report".into() }.into())
        }
    }

    pub(crate) fn erase_apart(&self, order: &OrderId, reports: &[String]) -> Result<(), LaboratoryError> {
        let mut files = vec![self.order_file(order)?];
        for report in reports {
            files.push(self.report_file(report)?);
        }
        for file in files {
            match fs::remove_file(&file) {
                Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(fault(&file, &error)),
                _ => {}
            }
        }
        Ok(())
    }
}

fn fault(file: &Path, error: &std::io::Error) -> LaboratoryError {
    LaboratoryError::Apart { file: file.display().to_string(), why: error.to_string() }
}

/// Writes a file that only its owner may read, whole or not at all.
fn write(file: &Path, bytes: &[u8]) -> Result<(), LaboratoryError> {
    let told = |error: std::io::Error| fault(file, &error);
    let folder = file.parent().ok_or(LaboratoryError::NothingApart)?;
    fs::create_dir_all(folder).map_err(told)?;
    #[cfg(unix)]
    fs::set_permissions(folder, std::os::unix::fs::PermissionsExt::from_mode(0o700)).map_err(told)?;
    let aside = file.with_extension("unfinished");
    let mut options = fs::OpenOptions::new();
    options.write(true).create(true).truncate(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut open = options.open(&aside).map_err(told)?;
    open.write_all(bytes).and_then(|()| open.sync_all()).map_err(told)?;
    fs::rename(&aside, file).map_err(told)
}

//! The certificate of the pages: given by the laboratory, or made here once and kept beside the record.
//!
//! A certificate made here is known to no browser; its fingerprint is shown when serving begins, so that a person can compare
//! it once with what the browser shows.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use sha2::{Digest, Sha256};

/// A certificate with its key.
pub struct Certificate {
    chain: Vec<CertificateDer<'static>>,
    key: PrivateKeyDer<'static>,
}

/// Why there is no certificate.
#[derive(Debug, thiserror::Error)]
pub enum CertificateFault {
    /// A file cannot be read or written.
    #[error("{}: {source}", file.display())]
    File {
        /// The file.
        file: PathBuf,
        /// What the operating system says.
        source: std::io::Error,
    },
    /// A file holds something else.
    #[error("{} holds no {what} in PEM form", file.display())]
    NotThere {
        /// The file.
        file: PathBuf,
        /// What was looked for.
        what: &'static str,
    },
    /// Certificate and key do not belong together, or TLS cannot use them.
    #[error("certificate and key cannot be used together: {why}")]
    NotUsed {
        /// What the library says.
        why: String,
    },
    /// None could be made.
    #[error("no certificate could be made: {why}")]
    NotMade {
        /// What the library says.
        why: String,
    },
}

impl Certificate {
    /// Reads a certificate with its chain, and its key, in PEM form.
    ///
    /// # Errors
    /// [`CertificateFault::File`], [`CertificateFault::NotThere`].
    pub fn read(chain: &Path, key: &Path) -> Result<Self, CertificateFault> {
        let bytes = |file: &Path| {
            std::fs::read(file).map_err(|source| CertificateFault::File { file: file.to_owned(), source })
        };
        let not_there = |file: &Path, what| CertificateFault::NotThere { file: file.to_owned(), what };
        let certificates: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(&bytes(chain)?).collect();
        let certificates = certificates.map_err(|_| not_there(chain, "certificate"))?;
        if certificates.is_empty() {
            return Err(not_there(chain, "certificate"));
        }
        let key = PrivateKeyDer::from_pem_slice(&bytes(key)?).map_err(|_| not_there(key, "private key"))?;
        Ok(Self { chain: certificates, key })
    }

    /// The certificate that stands in a file together with its key; made for these names where there is none yet.
    ///
    /// # Errors
    /// [`CertificateFault`].
    pub fn own(file: &Path, names: &[String]) -> Result<Self, CertificateFault> {
        if !file.exists() {
            let not_made = |fault: rcgen::Error| CertificateFault::NotMade { why: fault.to_string() };
            let made = rcgen::generate_simple_self_signed(names.to_vec()).map_err(not_made)?;
            let text = format!("{}{}", made.cert.pem(), made.signing_key.serialize_pem());
            let mut open = std::fs::OpenOptions::new();
            open.create_new(true).write(true);
            #[cfg(unix)]
            std::os::unix::fs::OpenOptionsExt::mode(&mut open, 0o600);
            let written =
                open.open(file).and_then(|mut opened| std::io::Write::write_all(&mut opened, text.as_bytes()));
            written.map_err(|source| CertificateFault::File { file: file.to_owned(), source })?;
        }
        Self::read(file, file)
    }

    /// SHA-256 of the certificate, as browsers show it.
    pub fn fingerprint(&self) -> String {
        let digest: [u8; 32] = Sha256::digest(&self.chain[0]).into();
        digest.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(":")
    }

    /// What TLS needs; 1.2 and 1.3 alone.
    pub(crate) fn configured(self) -> Result<Arc<rustls::ServerConfig>, CertificateFault> {
        let not_used = |fault: rustls::Error| CertificateFault::NotUsed { why: fault.to_string() };
        let mut configured =
            rustls::ServerConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
                .with_safe_default_protocol_versions()
                .map_err(not_used)?
                .with_no_client_auth()
                .with_single_cert(self.chain, self.key)
                .map_err(not_used)?;
        configured.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(Arc::new(configured))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_own_certificate_is_made_once_and_kept_from_others() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("millrace.trail.tls");
        let names = ["bench-2.millrace.example".to_owned(), "10.0.0.2".to_owned()];
        let first = Certificate::own(&file, &names).unwrap().fingerprint();
        let again = Certificate::own(&file, &names).unwrap();
        assert_eq!(again.fingerprint(), first);
        assert_eq!(first.len(), 32 * 3 - 1);
        assert!(again.configured().is_ok());
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            assert_eq!(std::fs::metadata(&file).unwrap().permissions().mode() & 0o077, 0);
        }
    }

    #[test]
    fn a_file_that_holds_something_else_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("x.pem");
        std::fs::write(&file, "no certificate").unwrap();
        let told = Certificate::read(&file, &file).map(|_| ()).unwrap_err().to_string();
        assert!(told.ends_with("holds no certificate in PEM form"), "{told}");
        assert!(matches!(Certificate::read(&folder.path().join("none"), &file), Err(CertificateFault::File { .. })));
    }
}

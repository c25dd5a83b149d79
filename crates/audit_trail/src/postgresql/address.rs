//! Where a database is and how one may speak to it: the address, the file of passwords, when the line must be locked.
//!
//! An address is a URL, `postgresql://user@host:port/database`, with several hosts where a laboratory has a second
//! server: `postgresql://user@one,two/record?target_session_attrs=read-write`. It never holds a password, because it
//! stands in files, in command lines and on screens: passwords come from the file that PostgreSQL's own programs read,
//! or the server asks for none (Unix sockets, certificates).
//!
//! To another machine one speaks TLS only, and the server must show a certificate for its name from the authority
//! whose file the address names (`sslrootcert=FILE`). To this machine, by socket or loopback, no lock is needed.

use std::fs;
use std::net::IpAddr;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use postgres::config::{Host, SslMode};
use postgres::{Client, Config, NoTls};
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;
use tokio_postgres_rustls::MakeRustlsConnect;

/// The address of a database, without any password.
#[derive(Debug, Clone)]
pub struct Address {
    config: Config,
    shown: String,
    authority: Option<PathBuf>,
}

/// Why an address cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum AddressFault {
    /// It has another form.
    #[error("{shown} is no address of a database ({why}); write it like postgresql://user@host:5432/database")]
    Form {
        /// The address, without what may be a password.
        shown: String,
        /// What the reader says.
        why: String,
    },
    /// It holds a password.
    #[error(
        "an address never holds a password; put it into the file of passwords ({}) as host:port:database:user:password",
        file.display()
    )]
    Password {
        /// The file that passwords are read from.
        file: PathBuf,
    },
    /// It names no database.
    #[error("{shown} names no database; write it like postgresql://user@host:5432/database")]
    NoDatabase {
        /// The address.
        shown: String,
    },
    /// The server is on another machine and nothing says whose certificate counts.
    #[error(
        "{host} is another machine, so the line must be locked; name the file of the authority that \
         signed its certificate: ?sslrootcert=FILE"
    )]
    NoAuthority {
        /// The host.
        host: String,
    },
    /// The file of the authority cannot be used.
    #[error("{} holds no certificate of an authority: {why}", file.display())]
    Authority {
        /// The file.
        file: PathBuf,
        /// Why.
        why: String,
    },
    /// Others may read the file of passwords.
    #[error("others may read {}; take their rights away (chmod 600), until then no password in it is used", file.display())]
    OpenToOthers {
        /// The file.
        file: PathBuf,
    },
}

impl Address {
    /// Whether a text is meant to be the address of a database.
    pub fn is_meant(text: &str) -> bool {
        text.starts_with("postgresql://") || text.starts_with("postgres://")
    }

    /// The address as it is shown and kept: what was written.
    pub fn as_str(&self) -> &str {
        &self.shown
    }

    /// Connects to the first host that answers and is what the address asks for.
    pub(super) fn connect(&self) -> Result<Client, Refused> {
        let mut config = self.config.clone();
        if let Some(password) = password_for(&config).map_err(Refused::Address)? {
            config.password(password);
        }
        match self.other_machine() {
            None => config.ssl_mode(SslMode::Disable).connect(NoTls).map_err(Refused::Database),
            Some(host) => {
                let authority =
                    self.authority.as_deref().ok_or(Refused::Address(AddressFault::NoAuthority { host }))?;
                let tls = lock(authority).map_err(Refused::Address)?;
                config.ssl_mode(SslMode::Require).connect(tls).map_err(Refused::Database)
            }
        }
    }

    /// The first host that is not this machine.
    fn other_machine(&self) -> Option<String> {
        self.config.get_hosts().iter().find_map(|host| match host {
            Host::Tcp(name) if !is_this_machine(name) => Some(name.clone()),
            _ => None,
        })
    }
}

/// Why there is no connection.
pub(super) enum Refused {
    Address(AddressFault),
    Database(postgres::Error),
}

fn is_this_machine(name: &str) -> bool {
    name == "localhost" || name.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}

impl FromStr for Address {
    type Err = AddressFault;

    fn from_str(text: &str) -> Result<Self, AddressFault> {
        // What stands between the user and @ may be a password, which is not repeated.
        let without = match text.split_once('@') {
            Some((before, after)) if before.matches(':').count() > 1 => {
                let user = before.rsplit_once(':').map_or(before, |(user, _)| user);
                format!("{user}:…@{after}")
            }
            _ => text.to_owned(),
        };
        let (plain, authority) = without_option(text, "sslrootcert");
        let form = |why: String| AddressFault::Form { shown: without.clone(), why };
        if !Address::is_meant(text) {
            return Err(form("it does not begin with postgresql://".to_owned()));
        }
        let mut config = Config::from_str(&plain).map_err(|error| form(error.to_string()))?;
        if config.get_password().is_some() {
            return Err(AddressFault::Password { file: password_file().unwrap_or_else(|| PathBuf::from(".pgpass")) });
        }
        if config.get_dbname().is_none() {
            return Err(AddressFault::NoDatabase { shown: without });
        }
        if config.get_hosts().is_empty() {
            return Err(form("it names no host".to_owned()));
        }
        config.application_name("darkline");
        config.keepalives_idle(std::time::Duration::from_secs(5));
        config.keepalives_interval(std::time::Duration::from_secs(2));
        config.keepalives_retries(3);
        config.tcp_user_timeout(std::time::Duration::from_secs(10));
        if config.get_connect_timeout().is_none() {
            config.connect_timeout(std::time::Duration::from_secs(5));
        }
        Ok(Self { config, shown: text.to_owned(), authority: authority.map(PathBuf::from) })
    }
}

/// Takes one option out of the part behind the question mark; the rest and its value.
fn without_option(text: &str, name: &str) -> (String, Option<String>) {
    let Some((front, options)) = text.split_once('?') else { return (text.to_owned(), None) };
    let mut value = None;
    let mut kept = Vec::new();
    for option in options.split('&') {
        match option.split_once('=') {
            Some((found, given)) if found == name => value = Some(given.replace("%2F", "/").replace("%2f", "/")),
            _ => kept.push(option),
        }
    }
    let plain = if kept.is_empty() { front.to_owned() } else { format!("{front}?{}", kept.join("&")) };
    (plain, value)
}

/// TLS that takes a certificate only for the name of the host and only from this authority.
fn lock(authority: &Path) -> Result<MakeRustlsConnect, AddressFault> {
    let fault = |why: String| AddressFault::Authority { file: authority.to_owned(), why };
    let bytes = fs::read(authority).map_err(|error| fault(error.to_string()))?;
    let mut roots = rustls::RootCertStore::empty();
    for certificate in CertificateDer::pem_slice_iter(&bytes) {
        let certificate = certificate.map_err(|error| fault(error.to_string()))?;
        roots.add(certificate).map_err(|error| fault(error.to_string()))?;
    }
    if roots.is_empty() {
        return Err(fault("there is none in it".to_owned()));
    }
    let provider = std::sync::Arc::new(rustls::crypto::ring::default_provider());
    let config = rustls::ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .map_err(|error| fault(error.to_string()))?
        .with_root_certificates(roots)
        .with_no_client_auth();
    Ok(MakeRustlsConnect::new(config))
}

/// The file that PostgreSQL's own programs read passwords from.
fn password_file() -> Option<PathBuf> {
    let named = std::env::var_os("PGPASSFILE").filter(|name| !name.is_empty()).map(PathBuf::from);
    named.or_else(|| std::env::home_dir().map(|home| home.join(".pgpass")))
}

fn password_for(config: &Config) -> Result<Option<String>, AddressFault> {
    let Some(file) = password_file() else { return Ok(None) };
    let Ok(text) = fs::read_to_string(&file) else { return Ok(None) };
    let found = password_in(&text, config);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        let open = fs::metadata(&file).is_ok_and(|metadata| metadata.permissions().mode() & 0o077 != 0);
        if open && found.is_some() {
            return Err(AddressFault::OpenToOthers { file });
        }
    }
    Ok(found)
}

/// The first line that fits one of the hosts.
///
/// # Source
/// PostgreSQL 15 documentation, 34.16 The Password File: `hostname:port:database:username:password`, a star fits all,
/// a backslash takes the meaning from a colon; `localhost` stands for Unix sockets (from memory).
fn password_in(text: &str, config: &Config) -> Option<String> {
    let user = config.get_user().map(str::to_owned).or_else(|| std::env::var("USER").ok()).unwrap_or_default();
    let database = config.get_dbname().unwrap_or_default();
    for line in text.lines().filter(|line| !line.trim_start().starts_with('#')) {
        let fields = fields(line);
        let [host, port, in_database, of_user, password] = &fields[..] else { continue };
        let fits = |pattern: &str, value: &str| pattern == "*" || pattern == value;
        let fits_host = config.get_hosts().iter().enumerate().any(|(place, wanted)| {
            let name = match wanted {
                Host::Tcp(name) => name.as_str(),
                #[cfg(unix)]
                Host::Unix(_) => "localhost",
            };
            let ports = config.get_ports();
            let wanted_port = ports.get(place).or(ports.first()).copied().unwrap_or(5432);
            fits(host, name) && fits(port, &wanted_port.to_string())
        });
        if fits_host && fits(in_database, database) && fits(of_user, &user) {
            return Some(password.clone());
        }
    }
    None
}

fn fields(line: &str) -> Vec<String> {
    let mut fields = vec![String::new()];
    let mut letters = line.chars();
    while let Some(letter) = letters.next() {
        let last = fields.len() - 1;
        match letter {
            '\\' => fields[last].extend(letters.next()),
            ':' if fields.len() < 5 => fields.push(String::new()),
            other => fields[last].push(other),
        }
    }
    fields
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_never_holds_a_password_and_never_shows_one() {
        let fault = Address::from_str("postgresql://alder:secret@db/record").unwrap_err();
        assert!(matches!(fault, AddressFault::Password { .. }));
        assert!(!fault.to_string().contains("secret"));
        let fault = Address::from_str("postgresql://alder:secret@db:x/record").unwrap_err();
        assert!(!fault.to_string().contains("secret"), "{fault}");
    }

    #[test]
    fn what_an_address_lacks_is_named() {
        let fault = |text: &str| Address::from_str(text).unwrap_err();
        assert!(matches!(fault("mysql://db/record"), AddressFault::Form { .. }));
        assert!(matches!(fault("postgresql://db"), AddressFault::NoDatabase { .. }));
        assert!(matches!(fault("postgresql:///record"), AddressFault::Form { .. }));
        assert!(matches!(fault("postgresql://db/record?no_such=1"), AddressFault::Form { .. }));
        let address = Address::from_str("postgresql://db.millrace.example/record").unwrap();
        let Err(Refused::Address(fault)) = address.connect() else { panic!("connected without a lock") };
        assert!(matches!(&fault, AddressFault::NoAuthority { host } if host == "db.millrace.example"), "{fault}");
    }

    #[test]
    fn only_this_machine_is_spoken_to_without_a_lock() {
        for (address, other) in [
            ("postgresql://localhost/record", None),
            ("postgresql://127.0.0.1:5433/record", None),
            ("postgresql://%2Fvar%2Frun%2Fpostgresql/record", None),
            ("postgresql://localhost,db2/record", Some("db2")),
            ("postgresql://10.0.0.7/record", Some("10.0.0.7")),
        ] {
            assert_eq!(Address::from_str(address).unwrap().other_machine().as_deref(), other, "{address}");
        }
    }

    #[test]
    fn the_first_line_that_fits_has_the_password() {
        let config = |text: &str| Address::from_str(text).unwrap().config;
        let file = "# host:port:database:user:password\n\
            one:5432:record:alder:first\n\
            *:5433:record:alder:with \\: a colon\n\
            localhost:*:*:rowan:by socket\n";
        assert_eq!(password_in(file, &config("postgresql://alder@one/record")).as_deref(), Some("first"));
        assert_eq!(password_in(file, &config("postgresql://alder@two/record")), None);
        assert_eq!(password_in(file, &config("postgresql://alder@two:5433/record")).as_deref(), Some("with : a colon"));
        assert_eq!(password_in(file, &config("postgresql://rowan@%2Frun/x")).as_deref(), Some("by socket"));
    }

    #[test]
    fn one_option_is_taken_out_and_the_others_stay() {
        let (plain, value) =
            without_option("postgresql://a/b?sslrootcert=%2Fetc%2Fca.pem&connect_timeout=3", "sslrootcert");
        assert_eq!((plain.as_str(), value.as_deref()), ("postgresql://a/b?connect_timeout=3", Some("/etc/ca.pem")));
        assert_eq!(without_option("postgresql://a/b", "sslrootcert").1, None);
    }
}

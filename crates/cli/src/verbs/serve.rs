//! `darkline serve`: the pages at the bench, from this program.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use darkline_web::{Certificate, Desk, Lasts, ServeFault, Served, Settings, serve};
use serde::Serialize;

use crate::bench;
use crate::command_line::{Everywhere, Serve};
use crate::ending::{Ending, Failure};
use crate::talk;

#[derive(Serialize)]
struct Line<'a> {
    schema: &'static str,
    address: &'a str,
    fingerprint: Option<&'a str>,
}

pub fn run(everywhere: &Everywhere, options: &Serve) -> Result<Ending, Failure> {
    let trail = bench::trail(everywhere);
    let beside = |ending: &str| {
        let mut name = trail.file_name().map_or_else(Default::default, std::ffi::OsStr::to_os_string);
        name.push(ending);
        trail.with_file_name(name)
    };
    let is_loopback = options.address.ip().is_loopback();
    let certificate = match (&options.certificate, &options.certificate_key) {
        (Some(chain), Some(key)) => Some(Certificate::read(chain, key).map_err(Failure::told)?),
        _ if options.own_certificate => {
            let mut names = options.name.clone();
            names.extend(["localhost".to_owned(), options.address.ip().to_string()]);
            Some(Certificate::own(&beside(".tls"), &names).map_err(Failure::told)?)
        }
        _ => None,
    };
    if certificate.is_none() && !is_loopback {
        return Err(Failure::with_hint(
            ServeFault::InClear { at: options.address }.to_string(),
            "give a certificate with --certificate FILE --certificate-key FILE, or let one be made: --own-certificate",
        ));
    }
    let settings = Settings {
        lasts: Lasts { idle_s: options.idle_minutes * 60, whole_s: options.whole_hours * 3600 },
        names: options.name.clone(),
        over_tls: certificate.is_some(),
        is_loopback,
        access_log: Some(beside(".access")),
        program: bench::PROGRAM.to_owned(),
        clock: seconds,
    };
    let desk = Desk::new(bench::write(everywhere)?, settings)?;
    let scheme = if certificate.is_some() { "https" } else { "http" };
    let began = |served: &Served| {
        let address = format!("{scheme}://{}", served.at);
        let fingerprint = served.fingerprint.as_deref();
        if everywhere.json {
            // Whoever started this reads the address; where nobody does, the pages are served all the same.
            let _ = talk::print_json(&Line { schema: "darkline/serve/1", address: &address, fingerprint });
        }
        talk::tell(&format!("the pages of {} are at {address}; Ctrl-C ends it", trail.display()));
        if let Some(fingerprint) = fingerprint {
            talk::tell(&format!("compare once with what the browser shows: SHA-256 {fingerprint}"));
        }
    };
    serve(desk, options.address, certificate, began, &Arc::new(AtomicBool::new(false))).map_err(
        |fault| match fault {
            ServeFault::Address { .. } => {
                Failure::with_hint(fault.to_string(), "name another with --address; port 0 takes a free one")
            }
            other => Failure::told(other),
        },
    )?;
    Ok(Ending::Done)
}

/// Seconds that have passed, whatever happens to the clock of the machine.
fn seconds() -> u64 {
    static BEGAN: std::sync::OnceLock<std::time::Instant> = std::sync::OnceLock::new();
    BEGAN.get_or_init(std::time::Instant::now).elapsed().as_secs()
}

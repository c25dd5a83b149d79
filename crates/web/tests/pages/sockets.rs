//! A real socket: live pages by the hundred, clients that are slow or broken, TLS, and an orderly end.
//!
//! Source: `reference/records/README.md`, pack of sign-in: tls, bind-loopback; the number of pages is our goal.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc;
use std::time::{Duration, Instant};

use darkline_web::{Certificate, Desk, ServeFault, Served, serve};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};

use crate::bench::{Bench, ORDER, Signed, laboratory, readings, settings};

/// Pages served in a thread of their own until this goes away.
struct Door {
    at: SocketAddr,
    stop: Arc<AtomicBool>,
    thread: Option<std::thread::JoinHandle<Result<(), ServeFault>>>,
}

impl Door {
    fn open(bench: &Bench, certificate: Option<Certificate>) -> Self {
        let over_tls = certificate.is_some();
        let settings = darkline_web::Settings { over_tls, ..settings(bench.trail().parent().unwrap()) };
        let desk = Desk::new(laboratory(&bench.trail()), settings).unwrap();
        let (stop, (told, began)) = (Arc::new(AtomicBool::new(false)), mpsc::channel());
        let until = stop.clone();
        let thread = std::thread::spawn(move || {
            let began = |served: &Served| told.send(served.at).unwrap();
            serve(desk, SocketAddr::from(([127, 0, 0, 1], 0)), certificate, began, &until)
        });
        let at = began.recv_timeout(Duration::from_secs(30)).unwrap();
        Self { at, stop, thread: Some(thread) }
    }
}

impl Drop for Door {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            thread.join().unwrap().unwrap();
        }
    }
}

fn ask(at: SocketAddr, request: &str) -> String {
    let mut stream = TcpStream::connect(at).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let mut text = Vec::new();
    // A connection that the other side resets has said all it will say.
    let _ = stream.read_to_end(&mut text);
    String::from_utf8_lossy(&text).into_owned()
}

fn get(at: SocketAddr, path: &str, cookie: &str) -> String {
    ask(at, &format!("GET {path} HTTP/1.1\r\nhost: {at}\r\ncookie: {cookie}\r\nconnection: close\r\n\r\n"))
}

fn sign_in(at: SocketAddr) -> Signed {
    let body = "name=j.alder&passphrase=catkins+before+leaves";
    let answered = ask(
        at,
        &format!(
            "POST /sign-in HTTP/1.1\r\nhost: {at}\r\nsec-fetch-site: same-origin\r\ncontent-type: application/x-www-form-urlencoded\r\ncontent-length: {}\r\nconnection: close\r\n\r\n{body}",
            body.len()
        ),
    );
    let cookie = answered.split("set-cookie: ").nth(1).unwrap().split(';').next().unwrap().to_owned();
    Signed { cookie, token: String::new() }
}

#[test]
fn two_hundred_live_pages_slow_clients_and_broken_requests_bring_nothing_down() {
    const PAGES: usize = 200;
    let bench = Bench::open();
    bench.import(3);
    let door = Door::open(&bench, None);
    let at = door.at;
    let by = sign_in(at);
    let run = laboratory(&bench.trail()).state().runs.keys().next().unwrap().to_string();
    let live = format!("/order/{ORDER}/run/{run}");
    // Broken and slow ones first, and they stay: half a head, a head without end, bytes of no protocol, a form that never comes.
    let broken: Vec<TcpStream> = (0..60)
        .map(|n| {
            let mut stream = TcpStream::connect(at).unwrap();
            let said: &[u8] = match n % 6 {
                0 => b"GET / HT",
                1 => b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
                2 => b"GET / HTTP/1.1\r\nhost: localhost\r\nx: ",
                3 => b"POST /sign-in HTTP/1.1\r\nhost: localhost\r\nsec-fetch-site: same-origin\r\ncontent-type: application/x-www-form-urlencoded\r\ncontent-length: 1000\r\n\r\nname=",
                4 => b"GET /\x00\xff HTTP/9.9\r\n\r\n",
                _ => b"",
            };
            stream.write_all(said).unwrap();
            stream
        })
        .collect();
    let long = format!("GET / HTTP/1.1\r\nhost: localhost\r\nx: {}\r\n\r\n", "a".repeat(100_000));
    assert!(!ask(at, &long).contains(" 200 "));
    let (told, arrived) = mpsc::channel();
    let listening = Arc::new(std::sync::atomic::AtomicUsize::new(0));
    for _ in 0..PAGES {
        let (request, told, listening) = (
            format!("GET {live}/news HTTP/1.1\r\nhost: {at}\r\ncookie: {}\r\n\r\n", by.cookie),
            told.clone(),
            listening.clone(),
        );
        bench.runtime.spawn(async move {
            let mut stream = tokio::net::TcpStream::connect(at).await.unwrap();
            stream.write_all(request.as_bytes()).await.unwrap();
            let (mut heard, mut buffer) = (String::new(), [0; 4096]);
            let mut has_begun = false;
            loop {
                let n = stream.read(&mut buffer).await.unwrap_or(0);
                heard.push_str(&String::from_utf8_lossy(&buffer[..n]));
                let n_events = heard.matches("event: news").count();
                if n_events == 1 && !has_begun {
                    has_begun = true;
                    listening.fetch_add(1, Ordering::SeqCst);
                }
                if n == 0 || n_events >= 2 {
                    let _ = told.send((n_events, Instant::now()));
                    return;
                }
            }
        });
    }
    let began = Instant::now();
    while listening.load(Ordering::SeqCst) < PAGES {
        assert!(began.elapsed() < Duration::from_secs(60), "{} of {PAGES} listen", listening.load(Ordering::SeqCst));
        std::thread::sleep(Duration::from_millis(20));
    }
    // Another program appends; every page hears of it.
    let appended = Instant::now();
    bench.import_rest(4);
    let mut latest = Duration::ZERO;
    for _ in 0..PAGES {
        let (n_events, when) = arrived.recv_timeout(Duration::from_secs(60)).unwrap();
        assert_eq!(n_events, 2);
        latest = latest.max(when.saturating_duration_since(appended));
    }
    // A machine that builds and tests at the same time is slow; that nobody waits for seconds is what counts here.
    assert!(latest < Duration::from_secs(20), "the last page heard of it after {latest:?}");
    let page = get(at, &live, &by.cookie);
    assert!(page.starts_with("HTTP/1.1 200") && page.contains("id=\"reading-4\""), "{}", &page[..200.min(page.len())]);
    drop(broken);
}

#[test]
fn tls_is_spoken_with_the_certificate_shown_and_nothing_else_is() {
    let bench = Bench::open();
    let file = bench.trail().with_extension("tls");
    let certificate = Certificate::own(&file, &["localhost".to_owned(), "127.0.0.1".to_owned()]).unwrap();
    let door = Door::open(&bench, Some(certificate));
    let clear = ask(door.at, "GET /sign-in HTTP/1.1\r\nhost: localhost\r\nconnection: close\r\n\r\n");
    assert!(!clear.contains("HTTP/1.1"), "{clear}");
    let mut roots = rustls::RootCertStore::empty();
    let pem = std::fs::read(&file).unwrap();
    for certificate in <rustls::pki_types::CertificateDer as rustls::pki_types::pem::PemObject>::pem_slice_iter(&pem) {
        roots.add(certificate.unwrap()).unwrap();
    }
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let client = rustls::ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_root_certificates(roots)
        .with_no_client_auth();
    let connector = tokio_rustls::TlsConnector::from(Arc::new(client));
    let text = bench.runtime.block_on(async {
        let stream = tokio::net::TcpStream::connect(door.at).await.unwrap();
        let mut stream = connector.connect("localhost".try_into().unwrap(), stream).await.unwrap();
        stream.write_all(b"GET /sign-in HTTP/1.1\r\nhost: localhost\r\nconnection: close\r\n\r\n").await.unwrap();
        let mut text = Vec::new();
        let _ = stream.read_to_end(&mut text).await;
        String::from_utf8_lossy(&text).into_owned()
    });
    assert!(text.starts_with("HTTP/1.1 200") && text.contains("<h1>Sign in</h1>"), "{text}");
}

#[test]
fn an_address_of_the_network_is_not_served_in_clear() {
    let bench = Bench::open();
    let desk = Desk::new(laboratory(&bench.trail()), settings(bench.trail().parent().unwrap())).unwrap();
    let at = SocketAddr::from(([0, 0, 0, 0], 0));
    let stop = Arc::new(AtomicBool::new(true));
    let told = serve(desk, at, None, |_| panic!("it is served"), &stop).unwrap_err();
    assert!(matches!(told, ServeFault::InClear { .. }), "{told}");
}

impl Bench {
    /// The reading with this number comes in, brought by another program.
    fn import_rest(&self, number: usize) {
        let table = readings(number);
        let text: String =
            table.text.lines().take(1).chain(table.text.lines().skip(number)).map(|line| format!("{line}\n")).collect();
        laboratory(&self.trail())
            .import(
                &crate::bench::person("j.alder"),
                &ORDER.parse().unwrap(),
                None,
                darkline_laboratory::act::Attached { file_name: "one-more.csv".into(), text },
                None,
                &mut |_| (),
            )
            .unwrap();
    }
}

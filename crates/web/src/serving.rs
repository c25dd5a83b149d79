//! Serving: a socket, connections within limits, TLS where it is not loopback, and an orderly end.

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use axum::body::Body;
use axum::http::Request;
use hyper::body::Incoming;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpListener;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio_rustls::TlsAcceptor;

use crate::certificate::{Certificate, CertificateFault};
use crate::connection::Patient;
use crate::desk::Desk;
use crate::front_door::Peer;

/// Connections at a time; more wait until one ends.
const MOST_CONNECTIONS: usize = 1024;
/// How long a client may take for its headers, and a connection may lie idle between requests.
const HEADER_PATIENCE: Duration = Duration::from_secs(20);
/// How long a client may take to agree on TLS.
const HANDSHAKE_PATIENCE: Duration = Duration::from_secs(10);
/// Headers at most, in bytes.
const LARGEST_HEADERS: usize = 32 * 1024;
/// Threads that may wait for a disk at a time.
const MOST_THREADS: usize = 16;
/// Between two looks whether another program appended.
const BETWEEN_LOOKS: Duration = Duration::from_millis(100);

/// Why pages are not served.
#[derive(Debug, thiserror::Error)]
pub enum ServeFault {
    /// The address is taken, or not ours.
    #[error("{at} cannot be listened on: {source}")]
    Address {
        /// The address.
        at: SocketAddr,
        /// What the operating system says.
        source: std::io::Error,
    },
    /// Without TLS only this machine may be served.
    #[error("{at} can be reached from other machines, and without TLS passphrases would cross the network in clear")]
    InClear {
        /// The address.
        at: SocketAddr,
    },
    /// The certificate cannot be used.
    #[error(transparent)]
    Certificate(#[from] CertificateFault),
    /// The operating system gives no threads.
    #[error("the operating system gives no threads: {0}")]
    Threads(std::io::Error),
}

/// What is told once serving began.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Served {
    /// The address, with the port that was given.
    pub at: SocketAddr,
    /// The fingerprint of the certificate.
    pub fingerprint: Option<String>,
}

/// Serves pages until it is told to stop; returns when the last answer is out.
///
/// # Arguments
/// * `at`: the address; port 0 takes a free one.
/// * `certificate`: needed for every address that other machines can reach.
/// * `began`: is told the address once the door is open.
/// * `stop`: set to stop.
///
/// # Errors
/// [`ServeFault`].
pub fn serve(
    desk: Desk,
    at: SocketAddr,
    certificate: Option<Certificate>,
    began: impl FnOnce(&Served),
    stop: &Arc<AtomicBool>,
) -> Result<(), ServeFault> {
    if certificate.is_none() && !at.ip().is_loopback() {
        return Err(ServeFault::InClear { at });
    }
    let fingerprint = certificate.as_ref().map(Certificate::fingerprint);
    let tls = certificate.map(Certificate::configured).transpose()?.map(TlsAcceptor::from);
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .max_blocking_threads(MOST_THREADS)
        .enable_all()
        .build()
        .map_err(ServeFault::Threads)?;
    let desk = Arc::new(desk);
    let ended = runtime.block_on(async {
        let listener = TcpListener::bind(at).await.map_err(|source| ServeFault::Address { at, source })?;
        let at = listener.local_addr().map_err(|source| ServeFault::Address { at, source })?;
        began(&Served { at, fingerprint });
        tokio::spawn(look_for_news(desk.clone()));
        accept(&listener, &desk, tls.as_ref(), stop).await;
        Ok(())
    });
    // Live pages never end by themselves.
    runtime.shutdown_timeout(Duration::from_secs(2));
    ended
}

async fn look_for_news(desk: Arc<Desk>) {
    loop {
        tokio::time::sleep(BETWEEN_LOOKS).await;
        let desk = desk.clone();
        let _ = tokio::task::spawn_blocking(move || desk.look()).await;
    }
}

async fn accept(listener: &TcpListener, desk: &Arc<Desk>, tls: Option<&TlsAcceptor>, stop: &Arc<AtomicBool>) {
    let places = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    while !stop.load(Ordering::SeqCst) {
        let Ok(Ok(place)) = tokio::time::timeout(BETWEEN_LOOKS, places.clone().acquire_owned()).await else { continue };
        let (stream, from) = match tokio::time::timeout(BETWEEN_LOOKS, listener.accept()).await {
            Ok(Ok(accepted)) => accepted,
            // No file handles left, or the client is gone already: the next one may be luckier.
            Ok(Err(_)) => {
                tokio::time::sleep(Duration::from_millis(20)).await;
                continue;
            }
            Err(_) => continue,
        };
        let _ = stream.set_nodelay(true);
        let (desk, tls) = (desk.clone(), tls.cloned());
        tokio::spawn(async move {
            match tls {
                None => talk(desk, Patient::new(stream), from, place).await,
                Some(tls) => {
                    let agreed = tokio::time::timeout(HANDSHAKE_PATIENCE, tls.accept(Patient::new(stream))).await;
                    if let Ok(Ok(stream)) = agreed {
                        talk(desk, stream, from, place).await;
                    }
                }
            }
        });
    }
}

async fn talk<S>(desk: Arc<Desk>, stream: S, from: SocketAddr, place: OwnedSemaphorePermit)
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let answer = service_fn(move |request: Request<Incoming>| {
        let desk = desk.clone();
        let mut request = request.map(Body::new);
        request.extensions_mut().insert(Peer(from));
        async move { Ok::<_, std::convert::Infallible>(desk.answer(request).await) }
    });
    // A connection that breaks off has nobody left to be told.
    let _ = hyper::server::conn::http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEADER_PATIENCE)
        .max_buf_size(LARGEST_HEADERS)
        .serve_connection(TokioIo::new(stream), answer)
        .await;
    drop(place);
}

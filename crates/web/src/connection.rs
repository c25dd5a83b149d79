//! One connection with its patience: a reader that takes nothing for a while is let go.
//!
//! Headers have a time limit of their own in the front door, and so has what a form sends; this is the other direction.

use std::future::Future as _;
use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Sleep, sleep};

/// So long a reader may take nothing.
const PATIENCE: Duration = Duration::from_secs(30);

/// A stream that fails once its reader has taken nothing for too long.
pub(crate) struct Patient<S> {
    inner: S,
    waiting: Option<Pin<Box<Sleep>>>,
    patience: Duration,
}

impl<S> Patient<S> {
    /// Watches over a stream.
    pub(crate) fn new(inner: S) -> Self {
        Self { inner, waiting: None, patience: PATIENCE }
    }

    fn watch<T>(&mut self, context: &mut Context<'_>, answer: Poll<io::Result<T>>) -> Poll<io::Result<T>> {
        if answer.is_ready() {
            self.waiting = None;
            return answer;
        }
        let patience = self.patience;
        let waiting = self.waiting.get_or_insert_with(|| Box::pin(sleep(patience)));
        match waiting.as_mut().poll(context) {
            Poll::Ready(()) => Poll::Ready(Err(io::ErrorKind::TimedOut.into())),
            Poll::Pending => Poll::Pending,
        }
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Patient<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.inner).poll_read(context, buffer)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Patient<S> {
    fn poll_write(mut self: Pin<&mut Self>, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let answer = Pin::new(&mut self.inner).poll_write(context, bytes);
        self.watch(context, answer)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let answer = Pin::new(&mut self.inner).poll_flush(context);
        self.watch(context, answer)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let answer = Pin::new(&mut self.inner).poll_shutdown(context);
        self.watch(context, answer)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::io::AsyncWriteExt as _;

    #[test]
    fn a_reader_that_takes_nothing_is_let_go() {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
        runtime.block_on(async {
            let (near, far) = tokio::io::duplex(64);
            let mut patient = Patient { inner: near, waiting: None, patience: Duration::from_millis(50) };
            let told = patient.write_all(&[0; 1000]).await.unwrap_err();
            assert_eq!(told.kind(), io::ErrorKind::TimedOut);
            drop(far);
        });
    }
}

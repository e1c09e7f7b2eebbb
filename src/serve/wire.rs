//! Listening on TCP, and one connection as the bytes see it: how long it may stand still, how it ends.
//!
//! Promises: a client that takes nothing of what it is sent is hung up on; what makes events is told
//! that they would only queue; a client that still sends when it was answered hears the answer before
//! the end (RFC 9112, 9.6). Leaves to others: what is sent.

use std::io::{self, IoSlice};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::Bytes;
use hyper::body::{Body, Frame, Incoming, SizeHint};
use socket2::{Domain, SockRef, Socket, TcpKeepalive, Type};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Notify;
use tokio::time::{Sleep, sleep};

/// A client that takes nothing for so long is gone, or means ill.
pub(super) const TAKES_NOTHING: Duration = Duration::from_secs(10);
/// How long one that still sends is listened to after its answer, and how much of it is taken.
const LINGERS: Duration = Duration::from_secs(2);
const LINGERS_FOR: usize = 8 * 1024 * 1024;
/// What the system may hold for a client that is slow: some seconds of readings would be old when they
/// come. Of what is not even on its way, less.
const HELD: usize = 8 * 1024;
const NOT_SENT: u32 = 2 * 1024;
/// Asked whether it is there after so long without a word, so often.
const ASKED_AFTER: Duration = Duration::from_secs(10);
const ASKED_EVERY: Duration = Duration::from_secs(5);
const ASKED_TIMES: u32 = 3;

/// Clients that the system lets wait for us.
const WAITING: i32 = 1024;

/// Listens at an address; at that of all networks, on those of IPv4 and of IPv6 alike.
pub(super) fn listen(at: SocketAddr) -> io::Result<TcpListener> {
    let listener = match listening(at) {
        // A system without IPv6 has its IPv4 all the same.
        Err(_) if at.ip() == IpAddr::V6(Ipv6Addr::UNSPECIFIED) => {
            listening((Ipv4Addr::UNSPECIFIED, at.port()).into())
        }
        opened => opened,
    }?;
    TcpListener::from_std(listener.into())
}

fn listening(at: SocketAddr) -> io::Result<Socket> {
    let socket = Socket::new(Domain::for_address(at), Type::STREAM, None)?;
    if at.ip() == IpAddr::V6(Ipv6Addr::UNSPECIFIED) {
        socket.set_only_v6(false)?;
    }
    socket.set_reuse_address(true)?;
    socket.set_nonblocking(true)?;
    socket.bind(&at.into())?;
    socket.listen(WAITING)?;
    Ok(socket)
}

/// Sets a connection that was let in so that little queues in it and a dead peer is found.
pub(super) fn tune(client: &TcpStream) -> io::Result<()> {
    // Events are small, and each is wanted at once.
    client.set_nodelay(true)?;
    let socket = SockRef::from(client);
    socket.set_send_buffer_size(HELD)?;
    socket.set_tcp_notsent_lowat(NOT_SENT)?;
    // What was sent and is not acknowledged: a link that was cut says nothing by itself.
    socket.set_tcp_user_timeout(Some(TAKES_NOTHING))?;
    let asked = TcpKeepalive::new()
        .with_time(ASKED_AFTER)
        .with_interval(ASKED_EVERY)
        .with_retries(ASKED_TIMES);
    socket.set_tcp_keepalive(&asked)
}

/// What is known of a connection beside its bytes.
#[derive(Debug, Default)]
pub(super) struct Wire {
    /// The client takes nothing just now.
    is_full: AtomicBool,
    has_room: Notify,
    /// It still sends a request that was answered already.
    still_sends: AtomicBool,
}

impl Wire {
    /// Comes when what is sent next does not queue.
    pub(super) async fn room(&self) {
        loop {
            let has_room = self.has_room.notified();
            if !self.is_full.load(Ordering::Acquire) {
                return;
            }
            has_room.await;
        }
    }

    fn is_full(&self, is_full: bool) {
        if self.is_full.swap(is_full, Ordering::AcqRel) && !is_full {
            self.has_room.notify_waiters();
        }
    }

    /// A request's body, of which it is noted whether it came to its end.
    pub(super) fn watch(self: &Arc<Self>, body: Incoming) -> Arriving {
        self.still_sends
            .store(!body.is_end_stream(), Ordering::Release);
        Arriving {
            body,
            wire: Arc::clone(self),
        }
    }
}

/// The body of a request.
#[derive(Debug)]
pub(super) struct Arriving {
    body: Incoming,
    wire: Arc<Wire>,
}

impl Body for Arriving {
    type Data = Bytes;
    type Error = hyper::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, hyper::Error>>> {
        let came = Pin::new(&mut self.body).poll_frame(context);
        if matches!(came, Poll::Ready(None)) || self.body.is_end_stream() {
            self.wire.still_sends.store(false, Ordering::Release);
        }
        came
    }

    fn is_end_stream(&self) -> bool {
        self.body.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.body.size_hint()
    }
}

/// A stream that does not wait for ever.
#[derive(Debug)]
pub(super) struct Patient<S> {
    stream: S,
    wire: Arc<Wire>,
    /// Ends when nothing was taken for too long.
    late: Option<Pin<Box<Sleep>>>,
    /// While one that still sends is listened to: until when, and how much more.
    lingers: Option<(Pin<Box<Sleep>>, usize)>,
}

impl<S> Patient<S> {
    pub(super) fn new(stream: S, wire: &Arc<Wire>) -> Self {
        Self {
            stream,
            wire: Arc::clone(wire),
            late: None,
            lingers: None,
        }
    }

    fn written(
        &mut self,
        context: &mut Context<'_>,
        written: Poll<io::Result<usize>>,
    ) -> Poll<io::Result<usize>> {
        self.wire.is_full(written.is_pending());
        if written.is_ready() {
            self.late = None;
            return written;
        }
        let late = self
            .late
            .get_or_insert_with(|| Box::pin(sleep(TAKES_NOTHING)));
        late.as_mut()
            .poll(context)
            .map(|()| Err(io::ErrorKind::TimedOut.into()))
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Patient<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(context, into)
    }
}

impl<S: AsyncRead + AsyncWrite + Unpin> AsyncWrite for Patient<S> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write(context, bytes);
        self.written(context, written)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        parts: &[IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write_vectored(context, parts);
        self.written(context, written)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    /// Ends what is sent. With bytes unread the system would cut the connection off, and the answer
    /// with it, so one that still sends is heard out, within bounds.
    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        let this = &mut *self;
        if this.lingers.is_none() {
            std::task::ready!(Pin::new(&mut this.stream).poll_shutdown(context))?;
            if !this.wire.still_sends.load(Ordering::Acquire) {
                return Poll::Ready(Ok(()));
            }
            this.lingers = Some((Box::pin(sleep(LINGERS)), LINGERS_FOR));
        }
        let mut part = [0; 4096];
        while let Some((until, more)) = &mut this.lingers {
            if until.as_mut().poll(context).is_ready() || *more == 0 {
                break;
            }
            let mut into = ReadBuf::new(&mut part);
            match std::task::ready!(Pin::new(&mut this.stream).poll_read(context, &mut into)) {
                Ok(()) if !into.filled().is_empty() => {
                    *more = more.saturating_sub(into.filled().len());
                }
                _ => break,
            }
        }
        Poll::Ready(Ok(()))
    }
}

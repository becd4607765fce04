//! From a host name to a connection that may carry mail: our own socket, with TLS wherever it is asked for.
//!
//! lettre opens its sockets without `TCP_NODELAY`, writes a message in two pieces, and so waits some 40 ms a message for the
//! server's delayed acknowledgement; it also upgrades to TLS without looking at what lies unread in its buffer. Both are
//! settled here, before the connection is handed to it.

use std::{
    fmt,
    io::{self, Cursor},
    net::{IpAddr, SocketAddr},
    pin::Pin,
    sync::Arc,
    task::{Context, Poll, ready},
};

use lettre::transport::smtp::{
    client::AsyncTokioStream,
    commands::{Ehlo, Starttls},
    extension::{ClientId, Extension, ServerInfo},
    response::Response,
};
use tokio::{
    io::{
        AsyncBufRead, AsyncBufReadExt, AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt, BufReader, Chain,
        ReadBuf,
    },
    net::TcpStream,
    sync::watch,
};
use tokio_rustls::{
    TlsConnector,
    rustls::{
        ClientConfig, RootCertStore,
        crypto::ring,
        pki_types::{CertificateDer, ServerName, pem::PemObject},
    },
};

use super::session::{hello_name, within};
use super::{Fault, SmtpSettings, Step, Tls, Trouble};

/// More than any honest greeting or list of extensions.
const REPLY_OCTETS: u64 = 16 * 1024;

/// After STARTTLS the server does not greet again (RFC 3207, 4.2), but lettre begins every conversation by reading a greeting.
const GREETING_AFTER_STARTTLS: &[u8] = b"220 encrypted\r\n";

/// What is written at once of a mail.
const HELD_OCTETS: usize = 64 * 1024;

const END_OF_MAIL: &[u8; 5] = b"\r\n.\r\n";

pub(super) trait Duplex: AsyncRead + AsyncWrite + Send + Sync + Unpin {}

impl<T: AsyncRead + AsyncWrite + Send + Sync + Unpin> Duplex for T {}

/// Whether the end of a mail has gone out: until then the server cannot have accepted it, from then on it may have.
#[derive(Clone)]
pub(super) struct EndGone(Arc<watch::Sender<bool>>);

impl EndGone {
    pub(super) fn begin_mail(&self) {
        self.0.send_replace(false);
    }

    pub(super) fn has_gone(&self) -> bool {
        *self.0.borrow()
    }

    fn is_under_way(&self) -> bool {
        !self.has_gone()
    }

    fn end(&self) {
        self.0.send_replace(true);
    }

    pub(super) async fn gone(&self) {
        // The sender lives as long as this, so waiting cannot fail.
        let _ = self.0.subscribe().wait_for(|gone| *gone).await;
    }
}

pub(super) struct Wire {
    io: Chain<Cursor<Vec<u8>>, BufReader<Box<dyn Duplex>>>,
    peer: SocketAddr,
    tail: [u8; 5],
    /// Of the mail on its way, what was not written yet: lettre writes the dot by itself, and a small mail can go with it.
    held: Vec<u8>,
    end_gone: EndGone,
}

impl Wire {
    fn new(io: BufReader<Box<dyn Duplex>>, greeting: Vec<u8>, peer: SocketAddr) -> Self {
        Self {
            io: Cursor::new(greeting).chain(io),
            peer,
            tail: [0; 5],
            held: Vec::new(),
            end_gone: EndGone(Arc::new(watch::Sender::new(true))),
        }
    }

    pub(super) fn end_gone(&self) -> EndGone {
        self.end_gone.clone()
    }

    /// Whether a mail is on its way and this is not yet its end.
    fn in_mail(&self) -> bool {
        self.end_gone.is_under_way() && self.tail != *END_OF_MAIL
    }

    fn note_tail(&mut self, bytes: &[u8]) {
        for byte in &bytes[bytes.len().saturating_sub(self.tail.len())..] {
            self.tail.rotate_left(1);
            self.tail[4] = *byte;
        }
    }

    fn poll_write_held(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        while !self.held.is_empty() {
            let written = ready!(Pin::new(self.io.get_mut().1).poll_write(cx, &self.held))?;
            if written == 0 {
                return Poll::Ready(Err(io::ErrorKind::WriteZero.into()));
            }
            self.held.drain(..written);
        }
        if self.tail == *END_OF_MAIL {
            self.end_gone.end();
        }
        Poll::Ready(Ok(()))
    }
}

impl AsyncRead for Wire {
    /// lettre refuses a reply that is not UTF-8. After the dot that would turn a plain yes into doubt, so such octets become `?`.
    fn poll_read(self: Pin<&mut Self>, cx: &mut Context<'_>, buf: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let wire = self.get_mut();
        let ready = ready!(Pin::new(&mut wire.io).poll_fill_buf(cx))?;
        let taken = ready.len().min(buf.remaining());
        let ascii: Vec<u8> = ready[..taken].iter().map(|b| if b.is_ascii() { *b } else { b'?' }).collect();
        buf.put_slice(&ascii);
        Pin::new(&mut wire.io).consume(taken);
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for Wire {
    fn poll_write(self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let wire = self.get_mut();
        if wire.held.len() >= HELD_OCTETS {
            ready!(wire.poll_write_held(cx))?;
        }
        let taken = bytes.len().min(HELD_OCTETS);
        wire.held.extend_from_slice(&bytes[..taken]);
        wire.note_tail(&bytes[..taken]);
        Poll::Ready(Ok(taken))
    }

    fn poll_flush(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        let wire = self.get_mut();
        if wire.in_mail() && wire.held.len() < HELD_OCTETS {
            return Poll::Ready(Ok(()));
        }
        ready!(wire.poll_write_held(cx))?;
        Pin::new(wire.io.get_mut().1).poll_flush(cx)
    }

    fn poll_shutdown(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(self.get_mut().io.get_mut().1).poll_shutdown(cx)
    }
}

impl fmt::Debug for Wire {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Wire").field("peer", &self.peer).finish_non_exhaustive()
    }
}

impl AsyncTokioStream for Wire {
    fn peer_addr(&self) -> io::Result<SocketAddr> {
        Ok(self.peer)
    }
}

/// A greeted connection, encrypted unless the settings say otherwise and the server is this machine.
pub(super) async fn open(settings: &SmtpSettings) -> Result<Wire, Fault> {
    let steps = &settings.steps;
    let tcp = within(steps.connect, Step::Connect, dial(settings)).await?;
    let peer = tcp.peer_addr().map_err(|error| Fault::failed(Step::Connect, error))?;
    match settings.tls {
        Tls::None => greeted(settings, tcp_duplex(tcp), peer).await,
        Tls::Implicit => {
            let encrypted = within(steps.tls, Step::Tls, encrypt(settings, tcp)).await?;
            greeted(settings, encrypted, peer).await
        }
        Tls::StartTls => {
            let plain = upgraded(settings, tcp).await?;
            let encrypted = within(steps.tls, Step::Tls, encrypt(settings, plain)).await?;
            Ok(Wire::new(BufReader::new(encrypted), GREETING_AFTER_STARTTLS.to_vec(), peer))
        }
    }
}

fn tcp_duplex(tcp: TcpStream) -> Box<dyn Duplex> {
    Box::new(tcp)
}

async fn dial(settings: &SmtpSettings) -> Result<TcpStream, Trouble> {
    let tcp = TcpStream::connect((settings.host.as_str(), settings.port)).await?;
    // Asked of the address and not of the name: a name may point anywhere.
    if !may_carry(settings.tls, tcp.peer_addr()?.ip()) {
        return Err(Trouble::Failed(format!(
            "{} is not this machine, and mail to another one goes encrypted: set tls to starttls or implicit",
            settings.host
        )));
    }
    tcp.set_nodelay(true)?;
    Ok(tcp)
}

fn may_carry(tls: Tls, peer: IpAddr) -> bool {
    tls != Tls::None || peer.is_loopback()
}

/// The greeting is awaited here, under its own limit, and then given to lettre as if it had just come.
async fn greeted(settings: &SmtpSettings, io: Box<dyn Duplex>, peer: SocketAddr) -> Result<Wire, Fault> {
    let mut io = BufReader::new(io);
    let (greeting, _) = within(settings.steps.greeting, Step::Greeting, reply(&mut io)).await?;
    Ok(Wire::new(io, greeting, peer))
}

/// Up to the moment where the server awaits the handshake. A server that does not offer TLS, or lost the offer on the way, gets nothing.
async fn upgraded(settings: &SmtpSettings, tcp: TcpStream) -> Result<TcpStream, Fault> {
    let steps = &settings.steps;
    let hello = hello_name(settings)?;
    let mut io = BufReader::new(tcp);
    within(steps.greeting, Step::Greeting, reply(&mut io)).await?;
    within(steps.hello, Step::Hello, offers_tls(&mut io, hello)).await?;
    within(steps.tls, Step::StartTls, say(&mut io, Starttls.to_string())).await?;
    // Whatever came with the answer came in clear, perhaps from someone in between: it must not be read as if it were encrypted.
    if io.buffer().is_empty() {
        Ok(io.into_inner())
    } else {
        Err(Fault::failed(Step::StartTls, "the server spoke on in clear after STARTTLS"))
    }
}

async fn offers_tls(io: &mut BufReader<TcpStream>, hello: ClientId) -> Result<(), Trouble> {
    let offered = say(io, Ehlo::new(hello).to_string()).await?;
    let info = ServerInfo::from_response(&offered).map_err(|error| Trouble::Failed(error.to_string()))?;
    if info.supports_feature(Extension::StartTls) {
        Ok(())
    } else {
        Err(Trouble::Failed("the server does not offer STARTTLS, and nothing is sent in clear".to_owned()))
    }
}

async fn say(io: &mut BufReader<TcpStream>, command: String) -> Result<Response, Trouble> {
    io.get_mut().write_all(command.as_bytes()).await?;
    Ok(reply(io).await?.1)
}

/// One reply of one or more lines, as it came and as it reads. A refusal is an error.
async fn reply<R: AsyncBufRead + Unpin>(io: &mut R) -> Result<(Vec<u8>, Response), Trouble> {
    let mut limited = io.take(REPLY_OCTETS);
    let mut raw = Vec::new();
    loop {
        let start = raw.len();
        limited.read_until(b'\n', &mut raw).await?;
        if !raw.ends_with(b"\n") {
            return Err(Trouble::Failed("the server broke off, or its reply has no end".to_owned()));
        }
        if raw.get(start + 3) != Some(&b'-') {
            break;
        }
    }
    let words: String = raw.iter().map(|b| if b.is_ascii() { char::from(*b) } else { '?' }).collect();
    let response: Response = words.parse().map_err(|_| {
        Trouble::Failed(format!("the server answered with no SMTP reply: {:?}", words.trim_end()))
    })?;
    if response.is_positive() {
        Ok((words.into_bytes(), response))
    } else {
        Err(Trouble::Said((&response).into()))
    }
}

async fn encrypt(settings: &SmtpSettings, tcp: TcpStream) -> Result<Box<dyn Duplex>, Trouble> {
    let name = ServerName::try_from(settings.host.clone()).map_err(|_| {
        Trouble::Failed(format!("{:?} is no host name that a certificate could carry", settings.host))
    })?;
    let connector = TlsConnector::from(Arc::new(tls_config(settings)?));
    Ok(Box::new(connector.connect(name, tcp).await?))
}

fn tls_config(settings: &SmtpSettings) -> Result<ClientConfig, Trouble> {
    let mut roots = RootCertStore::empty();
    roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
    if let Some(path) = &settings.ca_file {
        let unread =
            |error: &dyn fmt::Display| Trouble::Failed(format!("ca_file {}: {error}", path.display()));
        for certificate in CertificateDer::pem_file_iter(path).map_err(|error| unread(&error))? {
            let certificate = certificate.map_err(|error| unread(&error))?;
            roots.add(certificate).map_err(|error| unread(&error))?;
        }
    }
    let config = ClientConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .map_err(|error| Trouble::Failed(error.to_string()))?;
    Ok(config.with_root_certificates(roots).with_no_client_auth())
}

#[cfg(test)]
mod tests {
    use super::{super::Reply, *};

    #[test]
    fn in_clear_only_to_this_machine() {
        for (peer, clear) in [
            ("127.0.0.1", true),
            ("127.8.9.1", true),
            ("::1", true),
            ("192.0.2.1", false),
            ("10.0.0.1", false),
            ("fe80::1", false),
        ] {
            let peer = peer.parse().unwrap();
            assert_eq!(may_carry(Tls::None, peer), clear, "{peer}");
            assert!(may_carry(Tls::StartTls, peer) && may_carry(Tls::Implicit, peer));
        }
    }

    async fn read(said: &str) -> Result<(Vec<u8>, Response), Trouble> {
        reply(&mut said.as_bytes()).await
    }

    #[tokio::test]
    async fn replies_of_every_shape() {
        let (raw, response) = read("250-a\r\n250-STARTTLS\r\n250 b\r\n220 next\r\n").await.unwrap();
        assert_eq!(raw, b"250-a\r\n250-STARTTLS\r\n250 b\r\n");
        assert_eq!(Reply::from(&response).to_string(), "250 a STARTTLS b");
        let refused = read("554 5.7.1 not you\r\n").await.unwrap_err();
        assert_eq!(refused, Trouble::Said(Reply { code: 554, text: "5.7.1 not you".into() }));
        for broken in ["", "2", "220 half", "hello there\r\n", "250-a\r\n250-b\r\n", "250-a\r\n251 b\r\n"] {
            assert!(matches!(read(broken).await, Err(Trouble::Failed(_))), "{broken:?}");
        }
        let endless = "250-x\r\n".repeat(10_000);
        assert!(matches!(read(&endless).await, Err(Trouble::Failed(_))));
    }
}

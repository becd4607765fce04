//! Certificates of a house authority, good and bad ones.

use std::io::Write;
use std::net::TcpStream;
use std::path::Path;
use std::sync::Arc;

use rcgen::{CertificateParams, CertifiedIssuer, KeyPair, date_time_ymd};
use tempfile::NamedTempFile;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::{PrivateKeyDer, PrivatePkcs8KeyDer};
use tokio_rustls::rustls::{ServerConfig, ServerConnection, StreamOwned};

/// What the server's certificate says.
#[derive(Clone, Copy, Debug)]
pub struct Certificate {
    /// For which host.
    pub name: &'static str,
    /// Valid until the first of January of this year.
    pub until: i32,
}

/// One that holds on this machine.
pub const GOOD: Certificate = Certificate { name: "localhost", until: 2100 };

/// An authority and the server's certificate by it.
pub struct Authority {
    config: Arc<ServerConfig>,
    file: NamedTempFile,
}

impl Authority {
    /// Makes one.
    ///
    /// # Panics
    /// When the certificate cannot be made.
    pub fn new(certificate: Certificate) -> Authority {
        let mut authority = CertificateParams::new(Vec::new()).unwrap();
        authority.is_ca = rcgen::IsCa::Ca(rcgen::BasicConstraints::Unconstrained);
        let authority = CertifiedIssuer::self_signed(authority, KeyPair::generate().unwrap()).unwrap();
        let mut server = CertificateParams::new([certificate.name.to_owned()]).unwrap();
        server.not_before = date_time_ymd(2020, 1, 1);
        server.not_after = date_time_ymd(certificate.until, 1, 1);
        let key = KeyPair::generate().unwrap();
        let signed = server.signed_by(&key, &authority).unwrap();
        let mut file = NamedTempFile::new().unwrap();
        file.write_all(authority.pem().as_bytes()).unwrap();
        let key = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key.serialize_der()));
        let config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
            .with_safe_default_protocol_versions()
            .unwrap()
            .with_no_client_auth()
            .with_single_cert(vec![signed.der().clone()], key)
            .unwrap();
        Authority { config: Arc::new(config), file }
    }

    /// The authority's own certificate, for whoever trusts it.
    pub fn file(&self) -> &Path {
        self.file.path()
    }

    /// The server's side of an encrypted line.
    pub(super) fn encrypt(&self, plain: TcpStream) -> StreamOwned<ServerConnection, TcpStream> {
        StreamOwned::new(ServerConnection::new(self.config.clone()).unwrap(), plain)
    }
}

//! Encrypted connections to a server that proves its name.

use std::future::Future;
use std::io;
use std::path::Path;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};

use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer, ServerName};
use rustls::{ClientConfig, RootCertStore};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio_postgres::tls::{ChannelBinding, MakeTlsConnect, TlsConnect, TlsStream};
use tokio_rustls::TlsConnector;

use crate::address::Tls;
use crate::error::OpenError;

const ROOTS: &str = "it holds no certificate of an authority that can be used";

const OWN: &str = "it can't be used to prove who this is";

/// Makes encrypted connections.
#[derive(Clone)]
pub(crate) struct Verified(Arc<ClientConfig>);

impl Verified {
    /// Reads the certificates; none where nothing is to be encrypted.
    pub(crate) fn of(tls: &Tls) -> Result<Option<Self>, OpenError> {
        let Tls::Verified { roots, own } = tls else {
            return Ok(None);
        };
        let wrong = |file: &Path, what, source: Box<dyn std::error::Error + Send + Sync>| {
            OpenError::Certificate {
                file: file.display().to_string(),
                what,
                source,
            }
        };
        let mut store = RootCertStore::empty();
        for certificate in certificates(roots).map_err(|error| wrong(roots, ROOTS, error))? {
            let added = store.add(certificate);
            added.map_err(|error| wrong(roots, ROOTS, error.into()))?;
        }
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let builder = ClientConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .map_err(|error| wrong(roots, ROOTS, error.into()))?
            .with_root_certificates(store);
        let config = match own {
            None => builder.with_no_client_auth(),
            Some((cert, key)) => {
                let chain = certificates(cert).map_err(|error| wrong(cert, OWN, error))?;
                let secret = PrivateKeyDer::from_pem_file(key)
                    .map_err(|error| wrong(key, OWN, error.into()))?;
                let built = builder.with_client_auth_cert(chain, secret);
                built.map_err(|error| wrong(cert, OWN, error.into()))?
            }
        };
        Ok(Some(Self(Arc::new(config))))
    }
}

fn certificates(
    file: &Path,
) -> Result<Vec<CertificateDer<'static>>, Box<dyn std::error::Error + Send + Sync>> {
    let found: Vec<_> = CertificateDer::pem_file_iter(file)?.collect::<Result<_, _>>()?;
    if found.is_empty() {
        return Err("no certificate is in it".into());
    }
    Ok(found)
}

impl<S> MakeTlsConnect<S> for Verified
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    type Stream = Stream<S>;
    type TlsConnect = Named;
    type Error = rustls::pki_types::InvalidDnsNameError;

    fn make_tls_connect(&mut self, domain: &str) -> Result<Named, Self::Error> {
        Ok(Named {
            connector: TlsConnector::from(Arc::clone(&self.0)),
            name: ServerName::try_from(domain.to_owned())?,
        })
    }
}

/// Encrypts one connection to the server of that name.
pub(crate) struct Named {
    connector: TlsConnector,
    name: ServerName<'static>,
}

impl<S> TlsConnect<S> for Named
where
    S: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    type Stream = Stream<S>;
    type Error = io::Error;
    type Future = Pin<Box<dyn Future<Output = io::Result<Stream<S>>> + Send>>;

    fn connect(self, stream: S) -> Self::Future {
        let connected = self.connector.connect(self.name, stream);
        Box::pin(async move { connected.await.map(Stream) })
    }
}

/// An encrypted connection.
pub(crate) struct Stream<S>(tokio_rustls::client::TlsStream<S>);

impl<S: AsyncRead + AsyncWrite + Unpin> TlsStream for Stream<S> {
    fn channel_binding(&self) -> ChannelBinding {
        ChannelBinding::none()
    }
}

impl<S: AsyncRead + AsyncWrite + Unpin> AsyncRead for Stream<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_read(cx, buffer)
    }
}

impl<S: AsyncRead + AsyncWrite + Unpin> AsyncWrite for Stream<S> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.0).poll_write(cx, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_shutdown(cx)
    }
}

use super::{
    address::{Address, Encryption},
    error::{HandInError, causes},
};
use postgres::{Client, NoTls};
use rustls::{
    ClientConfig, RootCertStore,
    crypto::ring,
    pki_types::{CertificateDer, pem::PemObject},
};
use std::{path::Path, sync::Arc};
use tokio_postgres_rustls::MakeRustlsConnect;

/// The certificates to trust: those in a PEM file, or the machine's own.
///
/// # Errors
/// When there are none.
pub fn trusted_roots(file: Option<&Path>) -> Result<RootCertStore, HandInError> {
    let mut roots = RootCertStore::empty();
    match file {
        Some(path) => {
            let failed = |why: String| HandInError::Certificate {
                path: path.to_owned(),
                why,
            };
            let found =
                CertificateDer::pem_file_iter(path).map_err(|why| failed(why.to_string()))?;
            for certificate in found {
                let certificate = certificate.map_err(|why| failed(why.to_string()))?;
                roots
                    .add(certificate)
                    .map_err(|why| failed(why.to_string()))?;
            }
            if roots.is_empty() {
                return Err(failed("there is none in PEM form".to_owned()));
            }
        }
        None => {
            let found = rustls_native_certs::load_native_certs();
            roots.add_parsable_certificates(found.certs);
            if roots.is_empty() {
                let why = found.errors.first().map(ToString::to_string);
                return Err(HandInError::NoCertificates(
                    why.unwrap_or_else(|| "none found".to_owned()),
                ));
            }
        }
    }
    Ok(roots)
}

/// Connects to the server. Where the way is encrypted, the server's certificate and the name in
/// it are checked against `roots`, read only then.
///
/// # Errors
/// When there is no connection, with what to do about it.
pub fn connect(
    address: &Address,
    roots: impl FnOnce() -> Result<RootCertStore, HandInError>,
) -> Result<Client, HandInError> {
    let refused = |why: postgres::Error| HandInError::NoConnection {
        server: address.to_string(),
        why: explain(&why),
    };
    let mut client = if address.encryption() == Encryption::Off {
        address.config().connect(NoTls).map_err(refused)?
    } else {
        let tls = ClientConfig::builder_with_provider(Arc::new(ring::default_provider()))
            .with_safe_default_protocol_versions()
            .map_err(|why| HandInError::NoConnection {
                server: address.to_string(),
                why: why.to_string(),
            })?
            .with_root_certificates(roots()?)
            .with_no_client_auth();
        address
            .config()
            .connect(MakeRustlsConnect::new(tls))
            .map_err(refused)?
    };
    client.batch_execute("SET client_min_messages = warning; SET lock_timeout = '60s'")?;
    Ok(client)
}

fn explain(why: &postgres::Error) -> String {
    if let Some(refused) = why.as_db_error() {
        let said = refused.message();
        return match refused.code().code() {
            "28P01" => format!(
                "{said}. Is the password in PGPASSWORD or --password-file that of this user?"
            ),
            "28000" => format!(
                "{said}. Either this user may not connect from here, or only encrypted \
                 (?sslmode=require after the address)"
            ),
            "3D000" => format!("{said}. Make it with `createdb`, or name another"),
            _ => said.to_owned(),
        };
    }
    let all = causes(why);
    if all.contains("password missing") {
        "the server wants a password: give it in the variable PGPASSWORD or in a file with \
         --password-file"
            .to_owned()
    } else if all.contains("server does not support TLS") {
        "the server does not offer encryption (TLS), and this address needs it. Switch it on at \
         the server; only where nobody else can listen on the way, put ?sslmode=disable after the \
         address"
            .to_owned()
    } else if all.contains("certificate") {
        format!(
            "the server's certificate is not trusted: {all}. Is it the right server, by the name \
             that is in its certificate? If its authority is your own, name that authority's \
             certificate with --root-certificate"
        )
    } else {
        format!("the server does not answer: {all}. Is it running, and are name and port right?")
    }
}

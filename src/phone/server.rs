//! The door: TLS on the private addresses of this machine, what is let in, and what is served.

use super::authority::Leaf;
use super::guests::{Guest, Guests};
use super::lan::{self, NAME};
use super::routes;
use super::shared::Shared;
use super::watching::Watching;
use anyhow::Context;
use axum::Router;
use axum::extract::{Extension, Request};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use hyper_util::rt::{TokioExecutor, TokioIo, TokioTimer};
use hyper_util::server::conn::auto::Builder;
use hyper_util::service::TowerToHyperService;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::oneshot;
use tokio_rustls::TlsAcceptor;

/// Whoever has not shaken hands, or told what he wants, within this time, is let go.
const PATIENCE: Duration = Duration::from_secs(10);
/// Connections at once, and as many more for each phone after the first. A phone opens one, or six where it
/// does not know HTTP/2.
const CONNECTIONS: usize = 32;
const CONNECTIONS_EACH: usize = 8;
const STREAMS: u32 = 64;

/// Nothing is loaded from elsewhere, only our own scripts run, nobody may frame it.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; \
                      connect-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'";

/// What everything served is told with.
const SEALS: [(HeaderName, &str); 7] = [
    (header::CONTENT_SECURITY_POLICY, POLICY),
    (header::REFERRER_POLICY, "no-referrer"),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::CACHE_CONTROL, "no-store"),
    (
        HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("permissions-policy"),
        "microphone=(self), screen-wake-lock=(self), camera=(), geolocation=()",
    ),
];

/// What is served where.
pub(super) struct Door {
    /// The phones, one a session.
    pub phones: Vec<Arc<Shared>>,
    /// Who watches them, where somebody may.
    pub watching: Option<Arc<Watching>>,
    /// The authority's certificate, and by which it is known.
    pub certificate: Vec<u8>,
    pub fingerprint: String,
    /// `https://` and the first host: for the code that a phone reads.
    pub address: String,
    /// The names by which it may be asked, with their port.
    hosts: Vec<String>,
}

/// A door that is open until this is dropped.
pub(super) struct Open {
    pub address: String,
    pub fingerprint: String,
    _stop: oneshot::Sender<()>,
}

/// What a door is made of.
pub(super) struct Plan<'a> {
    pub phones: Vec<Arc<Shared>>,
    pub watching: Option<Arc<Watching>>,
    pub addresses: &'a [IpAddr],
    pub port: u16,
    pub leaf: Leaf,
    pub certificate: Vec<u8>,
    pub fingerprint: String,
}

impl Open {
    /// Opens it.
    ///
    /// # Errors
    /// When the port is taken, or the machine can't serve.
    pub(super) fn at(plan: Plan<'_>) -> anyhow::Result<Self> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .context("the phone can't be served on this machine")?;
        let listeners = runtime.block_on(listen(plan.addresses, plan.port))?;
        let bound = listeners
            .iter()
            .map(TcpListener::local_addr)
            .collect::<Result<Vec<SocketAddr>, _>>()?;
        let port = bound.first().map_or(plan.port, SocketAddr::port);
        let mut hosts: Vec<String> = bound.iter().map(SocketAddr::to_string).collect();
        let address = format!("https://{}", hosts.first().cloned().unwrap_or_default());
        hosts.push(format!("{NAME}:{port}"));
        let most = CONNECTIONS + CONNECTIONS_EACH * plan.phones.len().saturating_sub(1);
        let door = Arc::new(Door {
            phones: plan.phones,
            watching: plan.watching,
            certificate: plan.certificate,
            fingerprint: plan.fingerprint.clone(),
            address: address.clone(),
            hosts,
        });
        let acceptor = acceptor(plan.leaf)?;
        let (stop, stopped) = oneshot::channel();
        std::thread::Builder::new()
            .name("phone".to_owned())
            .spawn(move || {
                runtime.block_on(async {
                    let app = router(door);
                    let guests = Guests::new(most);
                    for listener in listeners {
                        tokio::spawn(answer(
                            listener,
                            acceptor.clone(),
                            app.clone(),
                            Arc::clone(&guests),
                        ));
                    }
                    // Dropped or told: over either way.
                    let _ = stopped.await;
                });
                // Whoever still makes a sound is not waited for.
                runtime.shutdown_background();
            })
            .context("the thread for the phone could not be started")?;
        Ok(Self {
            address,
            fingerprint: plan.fingerprint,
            _stop: stop,
        })
    }
}

/// Listens at one port of all these addresses: that of the first, where any will do.
async fn listen(addresses: &[IpAddr], port: u16) -> anyhow::Result<Vec<TcpListener>> {
    let mut listeners: Vec<TcpListener> = Vec::new();
    for address in addresses {
        let port = match listeners.first() {
            Some(first) => first.local_addr()?.port(),
            None => port,
        };
        let listener = TcpListener::bind((*address, port)).await;
        listeners.push(listener.with_context(|| {
            format!("port {port} of {address} can't be served; choose another with --phone-port")
        })?);
    }
    Ok(listeners)
}

fn acceptor(leaf: Leaf) -> anyhow::Result<TlsAcceptor> {
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let mut config = rustls::ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()?
        .with_no_client_auth()
        .with_single_cert(leaf.chain, leaf.key)?;
    config.alpn_protocols = vec![b"h2".to_vec(), b"http/1.1".to_vec()];
    Ok(TlsAcceptor::from(Arc::new(config)))
}

async fn answer(listener: TcpListener, acceptor: TlsAcceptor, app: Router, guests: Arc<Guests>) {
    loop {
        let Ok((stream, from)) = listener.accept().await else {
            // Too many files are open, or the network is gone: later.
            tokio::time::sleep(Duration::from_millis(200)).await;
            continue;
        };
        if !lan::is_private(from.ip()) {
            continue;
        }
        let guest = Arc::new(guests.enter(from.ip(), Instant::now()));
        let app = app.clone().layer(Extension(Arc::clone(&guest)));
        let acceptor = acceptor.clone();
        tokio::spawn(async move {
            tokio::select! {
                () = connected(stream, acceptor, app) => {}
                () = guest.has_to_go() => {}
            }
        });
    }
}

async fn connected(stream: TcpStream, acceptor: TlsAcceptor, app: Router) {
    // Posts are short and must not wait for each other.
    let _ = stream.set_nodelay(true);
    let Ok(Ok(stream)) = tokio::time::timeout(PATIENCE, acceptor.accept(stream)).await else {
        return;
    };
    let h2 = stream.get_ref().1.alpn_protocol() == Some(b"h2");
    let mut builder = Builder::new(TokioExecutor::new());
    builder
        .http1()
        .timer(TokioTimer::new())
        .header_read_timeout(PATIENCE);
    builder
        .http2()
        .timer(TokioTimer::new())
        .keep_alive_interval(PATIENCE)
        .keep_alive_timeout(PATIENCE)
        .max_concurrent_streams(STREAMS)
        .max_header_list_size(16 * 1024);
    let builder = if h2 {
        builder.http2_only()
    } else {
        builder.http1_only()
    };
    // Whoever breaks off, breaks off.
    let _ = builder
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(app))
        .await;
}

fn router(door: Arc<Door>) -> Router {
    let guarding = Arc::clone(&door);
    routes::all(door)
        .fallback(|| async {
            (
                StatusCode::NOT_FOUND,
                "Nothing is here. Open the address that the bench shows.\n",
            )
        })
        .layer(middleware::from_fn(move |request: Request, next: Next| {
            let door = Arc::clone(&guarding);
            async move { guarded(&door, request, next).await }
        }))
}

/// Lets in what is meant for this address and comes from its own pages, and tells the browser what it
/// must not do.
async fn guarded(door: &Door, request: Request, next: Next) -> Response {
    if let Some(guest) = request.extensions().get::<Arc<Guest>>() {
        guest.asks(Instant::now());
    }
    let refused = refusal(door, request.method(), request.uri(), request.headers());
    let mut response = match refused {
        Some(why) => (StatusCode::FORBIDDEN, why).into_response(),
        None => next.run(request).await,
    };
    for (name, value) in SEALS {
        let headers = response.headers_mut();
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

fn refusal(door: &Door, method: &Method, uri: &Uri, headers: &HeaderMap) -> Option<&'static str> {
    let text = |name| {
        let value: Option<&HeaderValue> = headers.get(name);
        value.map(|value| value.to_str().unwrap_or("?"))
    };
    // HTTP/2 has it in the address.
    let host = uri.authority().map(|host| host.as_str());
    let host = host.or_else(|| text(header::HOST));
    let Some(host) = host.filter(|host| door.hosts.iter().any(|own| own == host)) else {
        return Some("This page answers only at the address that the bench shows.\n");
    };
    let own = format!("https://{host}");
    let from = text(header::ORIGIN);
    let elsewhere = match from {
        Some(origin) => origin != own,
        // A page's own posts always name their origin.
        None => method != Method::GET,
    };
    let site = text(HeaderName::from_static("sec-fetch-site"));
    let opened = text(HeaderName::from_static("sec-fetch-mode")) == Some("navigate");
    let foreign = site.is_some_and(|site| !matches!(site, "same-origin" | "none"));
    if elsewhere || (foreign && !(opened && method == Method::GET)) {
        return Some("This answers to its own pages only.\n");
    }
    None
}

//! A phone that is served in this process, and whoever asks it.

use crate::looking_back::browser::{Answer, answer};
use base64::Engine;
use bothhands::phone::{Phone, Settings, Wants};
use bothhands::voice::Profile;
use rustls::pki_types::{CertificateDer, ServerName};
use rustls::{ClientConfig, ClientConnection, RootCertStore, StreamOwned};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

/// A served phone.
pub struct Served {
    pub phone: Phone,
    pub folder: tempfile::TempDir,
}

impl Served {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let phone = Phone::open(&Settings {
            at: Some(Ipv4Addr::LOCALHOST.into()),
            port: 0,
            wants: Wants {
                hears: true,
                speaks: true,
            },
            profile: Profile::default(),
            folder: folder.path(),
        })
        .unwrap();
        Self { phone, folder }
    }

    /// The secret that is good now.
    pub fn secret(&self) -> String {
        secret_of(&self.phone.link().unwrap())
    }

    /// Whoever trusts this machine's authority and nothing else.
    pub fn client(&self) -> Client {
        Client::of(&self.phone.link().unwrap(), self.folder.path())
    }

    /// A phone that is paired.
    pub fn paired(&self) -> Client {
        let mut client = self.client();
        let answer = client.pair(&self.secret());
        assert_eq!(answer.status, 200, "{}", answer.body);
        client
    }
}

/// What an address to pair with holds behind its sign.
pub fn secret_of(link: &str) -> String {
    link.split_once('#').unwrap().1.to_owned()
}

/// Asks over TLS, a connection for each question.
#[derive(Clone)]
pub struct Client {
    pub address: SocketAddr,
    pub host: String,
    config: Arc<ClientConfig>,
    pub cookie: Option<String>,
}

pub type Stream = StreamOwned<ClientConnection, TcpStream>;

impl Client {
    /// Whoever trusts the authority kept in a folder and nothing else, at the address of this link.
    pub fn of(link: &str, folder: &Path) -> Self {
        let rest = link.strip_prefix("https://").unwrap();
        let host = rest.split_once('/').unwrap().0.to_owned();
        let kept = std::fs::read_to_string(folder.join("phone-authority.toml"));
        let kept: toml::Table = kept.unwrap().parse().unwrap();
        let engine = base64::engine::general_purpose::STANDARD;
        let root = engine.decode(kept["certificate"].as_str().unwrap());
        let mut roots = RootCertStore::empty();
        roots.add(CertificateDer::from(root.unwrap())).unwrap();
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let config = ClientConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .unwrap()
            .with_root_certificates(roots)
            .with_no_client_auth();
        Self {
            address: host.parse().unwrap(),
            host,
            config: Arc::new(config),
            cookie: None,
        }
    }

    pub fn connect(&self) -> Stream {
        self.over(TcpStream::connect(self.address).unwrap())
    }

    /// TLS over a connection that is made; not begun yet.
    pub fn over(&self, stream: TcpStream) -> Stream {
        stream
            .set_read_timeout(Some(Duration::from_secs(60)))
            .unwrap();
        let name = ServerName::from(self.address.ip());
        let connection = ClientConnection::new(Arc::clone(&self.config), name).unwrap();
        StreamOwned::new(connection, stream)
    }

    /// The same, which speaks HTTP/2 and nothing else.
    pub fn of_http2(&self) -> Self {
        let mut config = ClientConfig::clone(&self.config);
        config.alpn_protocols = vec![b"h2".to_vec()];
        Self {
            config: Arc::new(config),
            ..self.clone()
        }
    }

    /// A question with these headers and no others but the cookie.
    pub fn bare(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Answer {
        let mut stream = self.connect();
        let head = self.head(method, path, headers, body.len());
        stream.write_all(head.as_bytes()).unwrap();
        // It may refuse before it has read all of it.
        let _ = stream.write_all(body);
        answer(stream)
    }

    pub fn head(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        length: usize,
    ) -> String {
        let mut head = format!(
            "{method} {path} HTTP/1.1\r\nconnection: close\r\ncontent-length: {length}\r\n"
        );
        for (name, value) in headers {
            head += &format!("{name}: {value}\r\n");
        }
        if let Some(cookie) = &self.cookie {
            head += &format!("cookie: {cookie}\r\n");
        }
        head + "\r\n"
    }

    pub fn get(&self, path: &str) -> Answer {
        self.bare("GET", path, &[("host", &self.host)], &[])
    }

    pub fn post(&self, path: &str, body: &[u8]) -> Answer {
        let origin = format!("https://{}", self.host);
        let headers = [("host", self.host.as_str()), ("origin", origin.as_str())];
        self.bare("POST", path, &headers, body)
    }

    pub fn tell(&self, path: &str, what: &Value) -> Answer {
        self.post(path, what.to_string().as_bytes())
    }

    /// Pairs with a secret, and keeps the cookie as a browser would.
    pub fn pair(&mut self, secret: &str) -> Answer {
        let answer = self.tell("/pair", &json!({ "secret": secret }));
        self.keep(&answer);
        answer
    }

    pub fn keep(&mut self, answer: &Answer) {
        if let Some(cookie) = answer.header("set-cookie") {
            self.cookie = Some(cookie.split(';').next().unwrap().to_owned());
        }
    }
}

/// One connection for many posts, as a page keeps it.
pub struct Posts {
    client: Client,
    stream: BufReader<Stream>,
}

impl Client {
    pub fn keeps_open(&self) -> Posts {
        Posts {
            client: self.clone(),
            stream: BufReader::new(self.connect()),
        }
    }
}

impl Posts {
    /// Posts something that is answered with a number and nothing else.
    pub fn post(&mut self, path: &str, body: &[u8]) -> u16 {
        let origin = format!("https://{}", self.client.host);
        let headers = [
            ("host", self.client.host.as_str()),
            ("origin", origin.as_str()),
        ];
        let head = self.client.head("POST", path, &headers, body.len());
        let mut whole = head.replace("connection: close\r\n", "").into_bytes();
        whole.extend(body);
        self.stream.get_mut().write_all(&whole).unwrap();
        let mut lines = Vec::new();
        loop {
            let mut line = String::new();
            self.stream.read_line(&mut line).unwrap();
            if line.trim().is_empty() {
                break;
            }
            lines.push(line);
        }
        lines[0].split(' ').nth(1).unwrap().parse().unwrap()
    }
}

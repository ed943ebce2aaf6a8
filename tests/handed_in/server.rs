//! A PostgreSQL server for the tests: one for the whole test program, a database of its own for
//! each test.

use postgres::{Client, NoTls};
use std::{
    io::{BufRead, BufReader},
    path::PathBuf,
    process::{Child, Command, Stdio},
    sync::{
        OnceLock,
        atomic::{AtomicU32, Ordering},
    },
};

pub struct Server {
    pub port: u16,
    pub folder: PathBuf,
    pub password: String,
    // Its standard input is the life of the server: it ends when this program does.
    _keeper: Child,
}

impl Server {
    /// The server of this test program, with TLS.
    pub fn with_tls() -> &'static Self {
        static SERVER: OnceLock<Server> = OnceLock::new();
        SERVER.get_or_init(|| Self::start("on"))
    }

    /// One without TLS.
    pub fn without_tls() -> &'static Self {
        static SERVER: OnceLock<Server> = OnceLock::new();
        SERVER.get_or_init(|| Self::start("off"))
    }

    fn start(tls: &str) -> Self {
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/postgres/with-server.sh");
        let told = r#"printf '%s\n' "$HAND_IN_PORT" "$HAND_IN_FOLDER" "$HAND_IN_PASSWORD"; cat"#;
        let mut keeper = Command::new(script)
            .args(["bash", "-c", told])
            .env("HAND_IN_TLS", tls)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(keeper.stdout.take().unwrap()).lines();
        let mut line = || {
            lines
                .next()
                .expect("the server starts: Debian packages postgresql and openssl")
                .unwrap()
        };
        Self {
            port: line().parse().unwrap(),
            folder: line().into(),
            password: line(),
            _keeper: keeper,
        }
    }

    fn client(&self, user: &str, database: &str) -> Client {
        postgres::Config::new()
            .host_path(&self.folder)
            .port(self.port)
            .user(user)
            .password(&self.password)
            .dbname(database)
            .connect(NoTls)
            .unwrap()
    }

    /// An empty database of its own.
    pub fn database(&'static self) -> Database {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let name = format!("test_{}", NEXT.fetch_add(1, Ordering::Relaxed));
        self.client("postgres", "postgres")
            .batch_execute(&format!("CREATE DATABASE {name} OWNER desk"))
            .unwrap();
        Database { server: self, name }
    }

    pub fn root_certificate(&self) -> PathBuf {
        self.folder.join("root.pem")
    }
}

pub struct Database {
    pub server: &'static Server,
    pub name: String,
}

impl Database {
    /// The address over loopback, with TLS asked for.
    pub fn address(&self) -> String {
        self.address_with("sslmode=require")
    }

    pub fn address_with(&self, options: &str) -> String {
        format!(
            "postgres://desk@localhost:{}/{}?{options}",
            self.server.port, self.name
        )
    }

    /// A client that sees what `desk` sees.
    pub fn desk(&self) -> Client {
        self.server.client("desk", &self.name)
    }

    /// Rows of a query as JSON.
    pub fn rows(&self, query: &str) -> Vec<serde_json::Value> {
        self.desk()
            .query(
                &format!("SELECT to_jsonb(q)::text FROM ({query}) AS q"),
                &[],
            )
            .unwrap()
            .iter()
            .map(|row| serde_json::from_str(row.get(0)).unwrap())
            .collect()
    }

    pub fn number(&self, query: &str) -> i64 {
        self.desk().query_one(query, &[]).unwrap().get(0)
    }
}

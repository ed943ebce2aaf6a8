//! Asking a page over HTTP, and driving Debian's Chromium over the WebDriver protocol (W3C).

use base64::Engine;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// How long a page may take on a machine that is busy with something else.
const PATIENCE: Duration = Duration::from_secs(60);

pub struct Answer {
    pub status: u16,
    pub headers: Vec<(String, String)>,
    pub bytes: Vec<u8>,
    pub body: String,
}

impl Answer {
    pub fn header(&self, name: &str) -> Option<&str> {
        let found = self.headers.iter().find(|(n, _)| n == name);
        found.map(|(_, value)| value.as_str())
    }
}

/// One request to an address of this machine.
pub fn ask(method: &str, address: &str, headers: &[(&str, &str)], body: &str) -> Answer {
    let rest = address.strip_prefix("http://").unwrap();
    let (place, path) = rest.split_once('/').unwrap();
    let mut stream = TcpStream::connect(place).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(120)))
        .unwrap();
    let mut request = format!(
        "{method} /{path} HTTP/1.1\r\nconnection: close\r\ncontent-length: {}\r\n",
        body.len()
    );
    if !headers.iter().any(|(name, _)| *name == "host") {
        request += &format!("host: {place}\r\n");
    }
    for (name, value) in headers {
        request += &format!("{name}: {value}\r\n");
    }
    write!(stream, "{request}\r\n{body}").unwrap();
    answer(stream)
}

/// Reads an answer to its end.
pub fn answer(stream: impl Read) -> Answer {
    let mut reader = BufReader::new(stream);
    let mut line = String::new();
    reader.read_line(&mut line).unwrap();
    let status = line.split(' ').nth(1).unwrap().parse().unwrap();
    let mut headers = Vec::new();
    loop {
        let mut line = String::new();
        reader.read_line(&mut line).unwrap();
        match line.trim_end().split_once(':') {
            Some((name, value)) => headers.push((name.to_lowercase(), value.trim().to_owned())),
            None => break,
        }
    }
    let mut bytes = Vec::new();
    let length = headers.iter().find(|(name, _)| name == "content-length");
    match length.and_then(|(_, n)| n.parse::<u64>().ok()) {
        Some(length) => reader.take(length).read_to_end(&mut bytes).unwrap(),
        None => reader.read_to_end(&mut bytes).unwrap(),
    };
    Answer {
        status,
        headers,
        body: String::from_utf8_lossy(&bytes).into_owned(),
        bytes,
    }
}

/// A browser without a window.
pub struct Browser {
    driver: Child,
    session: String,
    _home: tempfile::TempDir,
    /// None of one that runs beside another.
    _attention: Option<crate::Attention>,
}

impl Browser {
    /// Starts one.
    pub fn start() -> Self {
        Self::start_with(&[])
    }

    /// Starts one with these options besides.
    pub fn start_with(options: &[String]) -> Self {
        Self::started(options, Some(crate::attention()))
    }

    /// Another one while this one runs, with cookies of its own.
    pub fn beside(&self, options: &[String]) -> Self {
        Self::started(options, None)
    }

    fn started(options: &[String], attention: Option<crate::Attention>) -> Self {
        crate::need("chromium", "chromium");
        crate::need("chromedriver", "chromium-driver");
        let mut driver = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let home = tempfile::tempdir().unwrap();
        let lines = BufReader::new(driver.stdout.take().unwrap()).lines();
        let port = lines
            .map_while(Result::ok)
            .find_map(|line| {
                let (_, port) = line.split_once("started successfully on port ")?;
                port.trim_end_matches('.').parse::<u16>().ok()
            })
            .unwrap();
        let mut browser = Self {
            driver,
            session: format!("http://127.0.0.1:{port}/session"),
            _home: home,
            _attention: attention,
        };
        let profile = format!("--user-data-dir={}", browser._home.path().display());
        let usual = [
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-dev-shm-usage",
            "--autoplay-policy=no-user-gesture-required",
        ];
        let all: Vec<String> = usual
            .map(str::to_owned)
            .into_iter()
            .chain([profile])
            .chain(options.iter().cloned())
            .collect();
        let options = json!({ "args": all });
        let wanted = json!({ "capabilities": { "alwaysMatch": {
            "browserName": "chrome", "goog:chromeOptions": options, "acceptInsecureCerts": true,
        }}});
        let answer = browser.send("POST", "", &wanted);
        let id = answer["sessionId"].as_str().unwrap().to_owned();
        browser.session = format!("{}/{id}", browser.session);
        browser
    }

    fn send(&self, method: &str, path: &str, body: &Value) -> Value {
        let kind = [("content-type", "application/json")];
        let body = if method == "GET" {
            String::new()
        } else {
            body.to_string()
        };
        let answer = ask(method, &format!("{}{path}", self.session), &kind, &body);
        let value: Value = serde_json::from_str(&answer.body).unwrap();
        assert_eq!(answer.status, 200, "{method} {path}: {value}");
        value["value"].clone()
    }

    pub fn open(&self, address: &str) {
        self.send("POST", "/url", &json!({ "url": address }));
    }

    pub fn size(&self, width: u32, height: u32) {
        self.send(
            "POST",
            "/window/rect",
            &json!({ "width": width, "height": height }),
        );
    }

    /// Says to pages whether the person wants a dark screen.
    pub fn dark(&self, dark: bool) {
        let value = if dark { "dark" } else { "light" };
        let media = json!({ "features": [{ "name": "prefers-color-scheme", "value": value }] });
        let command = json!({ "cmd": "Emulation.setEmulatedMedia", "params": media });
        self.send("POST", "/goog/cdp/execute", &command);
    }

    /// Runs a script in the page and waits for what it returns.
    pub fn run(&self, script: &str, arguments: Value) -> Value {
        self.send(
            "POST",
            "/execute/sync",
            &json!({ "script": script, "args": arguments }),
        )
    }

    fn element(&self, selector: &str) -> String {
        let found = self.send(
            "POST",
            "/element",
            &json!({ "using": "css selector", "value": selector }),
        );
        let id = found.as_object().unwrap().values().next().unwrap();
        id.as_str().unwrap().to_owned()
    }

    /// Clicks on the first element that fits a selector.
    pub fn click(&self, selector: &str) {
        let id = self.element(selector);
        self.send("POST", &format!("/element/{id}/click"), &json!({}));
    }

    /// A finger on an element, at these shares of its width and moments: down at the first, up after the
    /// last.
    pub fn finger(&self, selector: &str, way: &[(f64, u64)]) {
        let place =
            "const r = document.querySelector(arguments[0]); r.scrollIntoView({ block: 'center' });
             const b = r.getBoundingClientRect(); return [b.left, b.top, b.width, b.height];";
        let place: Vec<f64> = serde_json::from_value(self.run(place, json!([selector]))).unwrap();
        let [left, top, width, height] = place.try_into().unwrap();
        let y = (top + height / 2.0).round();
        let mut actions = Vec::new();
        for &(share, ms) in way {
            let x = (left + width * share).round();
            let duration = if actions.is_empty() { 0 } else { ms };
            actions.push(json!({ "type": "pointerMove", "x": x, "y": y, "duration": duration }));
            if actions.len() == 1 {
                actions.push(json!({ "type": "pointerDown", "button": 0 }));
            }
        }
        let last = way.last().map_or(0, |(_, ms)| *ms);
        actions.push(json!({ "type": "pause", "duration": last }));
        actions.push(json!({ "type": "pointerUp", "button": 0 }));
        let finger = json!({ "actions": [{
            "type": "pointer", "id": "finger", "parameters": { "pointerType": "touch" }, "actions": actions,
        }]});
        self.send("POST", "/actions", &finger);
    }

    /// Types into the first element that fits a selector.
    pub fn keys(&self, selector: &str, text: &str) {
        let id = self.element(selector);
        self.send(
            "POST",
            &format!("/element/{id}/value"),
            &json!({ "text": text }),
        );
    }

    /// Types into a form and sends it with Enter; returns when the page that answers is there.
    pub fn sends(&self, selector: &str, text: &str) {
        self.run("window.isOfBefore = true", json!([]));
        self.keys(selector, &format!("{text}\u{E007}"));
        let answered = "return !window.isOfBefore && document.readyState === 'complete'";
        let asked = json!({ "script": answered, "args": [] }).to_string();
        let kind = [("content-type", "application/json")];
        let begun = Instant::now();
        loop {
            // Between two pages there is none to run it in.
            let path = format!("{}/execute/sync", self.session);
            let answer = ask("POST", &path, &kind, &asked);
            let value: Value = serde_json::from_str(&answer.body).unwrap();
            if answer.status == 200 && value["value"] == true {
                return;
            }
            assert!(begun.elapsed() < PATIENCE, "no page answers {selector}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// The window as PNG.
    pub fn picture(&self) -> Vec<u8> {
        let picture = self.send("GET", "/screenshot", &Value::Null);
        base64::engine::general_purpose::STANDARD
            .decode(picture.as_str().unwrap())
            .unwrap()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let kind = [("content-type", "application/json")];
        let _ = std::panic::catch_unwind(|| ask("DELETE", &self.session, &kind, ""));
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

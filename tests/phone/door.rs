//! What is let in: nothing before pairing but the page that pairs, one phone a session, its own pages
//! only, and nobody who sends too much or too slowly.

use crate::phone::client::{Client, Served};
use serde_json::{Value, json};
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

const PAIRED: [&str; 10] = [
    "/phone",
    "/phone.js",
    "/sound.js",
    "/voice.js",
    "/touch.js",
    "/capture.js",
    "/news?after=0",
    "/voice/1",
    "/another.svg",
    "/nothing",
];

fn body(answer: &crate::looking_back::browser::Answer) -> Value {
    serde_json::from_str(&answer.body).unwrap()
}

#[test]
fn before_pairing_there_is_the_page_that_pairs_and_nothing_else() {
    let served = Served::new();
    let client = served.client();
    for path in ["/", "/pair.js", "/phone.css", "/authority.crt"] {
        let answer = client.get(path);
        assert_eq!(answer.status, 200, "{path}");
        let policy = answer.header("content-security-policy").unwrap();
        assert!(policy.starts_with("default-src 'none'; script-src 'self'"));
        assert!(!policy.contains("unsafe"), "{policy}");
        assert_eq!(answer.header("referrer-policy"), Some("no-referrer"));
        assert_eq!(answer.header("cache-control"), Some("no-store"));
        assert_eq!(answer.header("access-control-allow-origin"), None);
    }
    let page = client.get("/").body.replace("<wbr>", "");
    assert!(page.contains(served.phone.fingerprint()));
    assert!(!page.contains(&served.secret()));
    for path in PAIRED {
        let expected = match path {
            "/phone" => 303,
            "/nothing" => 404,
            _ => 401,
        };
        assert_eq!(client.get(path).status, expected, "{path}");
    }
    for path in [
        "/sound?run=1&n=0&from=0&rate=16000&spoke=0",
        "/said",
        "/touch",
        "/state",
        "/let-in",
    ] {
        assert_eq!(client.post(path, b"{}").status, 401, "{path}");
    }
}

#[test]
fn a_paired_phone_is_served_and_its_cookie_is_for_nobody_else() {
    let served = Served::new();
    let mut client = served.client();
    let answer = client.pair(&served.secret());
    let cookie = answer.header("set-cookie").unwrap();
    for part in ["__Host-", "Secure", "HttpOnly", "SameSite=Strict", "Path=/"] {
        assert!(cookie.contains(part), "{cookie}");
    }
    let code = body(&answer)["code"].as_str().unwrap().to_owned();
    let told = served.phone.notices();
    assert!(told.iter().any(|notice| notice.contains(&code)), "{told:?}");
    for path in PAIRED {
        let expected = match path {
            // Nothing is said yet.
            "/voice/1" | "/nothing" => 404,
            _ => 200,
        };
        assert_eq!(client.get(path).status, expected, "{path}");
    }
    let page = client.get("/phone").body;
    assert!(page.contains("<script type=\"module\" src=\"phone.js\"></script>"));
    assert_eq!(page.matches("<script").count(), 1, "{page}");
    assert!(!page.contains("style="), "{page}");
}

#[test]
fn wrong_used_and_stolen_secrets_are_of_no_use() {
    let served = Served::new();
    let mut thief = served.client();
    let long = "0".repeat(32);
    for wrong in ["", long.as_str(), "../../etc/passwd"] {
        let answer = thief.pair(wrong);
        assert_eq!(answer.status, 403);
        assert!(answer.body.contains("Read the code"), "{}", answer.body);
    }
    for odd in [
        &b"{}"[..],
        b"",
        b"\xff\xfe",
        br#"{"secret":1}"#,
        br#"{"secret":"","more":1}"#,
    ] {
        assert_eq!(thief.post("/pair", odd).status, 400);
    }
    let secret = served.secret();
    served.paired();
    // Read over a shoulder, or from a history.
    assert_eq!(thief.pair(&secret).status, 403);
    assert_eq!(thief.cookie, None);
    thief.cookie = Some(format!("__Host-bothhands={secret}"));
    assert_eq!(thief.get("/news?after=0").status, 401);
}

#[test]
fn a_second_phone_asks_and_the_first_decides() {
    let served = Served::new();
    let first = served.paired();
    let mut second = served.client();
    let asks = second.pair(&served.secret());
    assert_eq!(asks.status, 202, "{}", asks.body);
    let (code, ticket) = (body(&asks)["code"].clone(), body(&asks)["ticket"].clone());
    assert_eq!(second.cookie, None);
    let news = body(&first.get("/news?after=0"));
    assert_eq!(news["asked_by"], code);
    let ticket = json!({ "ticket": ticket });
    assert_eq!(second.tell("/pair/again", &ticket).status, 202);
    assert_eq!(
        first.tell("/let-in", &json!({ "code": "none" })).status,
        409
    );
    assert_eq!(first.tell("/let-in", &json!({ "code": code })).status, 204);
    let answer = second.tell("/pair/again", &ticket);
    assert_eq!(answer.status, 200, "{}", answer.body);
    second.keep(&answer);
    assert_eq!(second.get("/news?after=0").status, 200);
    assert_eq!(first.get("/news?after=0").status, 401);
    assert_eq!(first.tell("/pair/again", &ticket).status, 403);
}

#[test]
fn another_name_for_this_machine_is_refused() {
    let served = Served::new();
    let client = served.paired();
    let port = client.address.port();
    for host in [
        "rowing.example".to_owned(),
        format!("rowing.example:{port}"),
        "127.0.0.1".to_owned(),
        format!("localhost:{port}"),
        format!("127.0.0.1:{}", port ^ 1),
        format!("127.0.0.1:{port}.rowing.example"),
        String::new(),
    ] {
        for path in ["/", "/news?after=0", "/phone"] {
            let answer = client.bare("GET", path, &[("host", &host)], &[]);
            assert!([400, 403].contains(&answer.status), "{host} {path}");
            assert!(!answer.body.contains("place"), "{}", answer.body);
        }
    }
    let own = format!("bothhands.local:{port}");
    assert_eq!(client.bare("GET", "/", &[("host", &own)], &[]).status, 200);
}

#[test]
fn pages_from_elsewhere_post_nothing_and_read_nothing() {
    let served = Served::new();
    let client = served.paired();
    let host = ("host", client.host.as_str());
    let touch = br#"{"about":1,"held_ms":900}"#;
    for origin in ["https://rowing.example", "null", "http://127.0.0.1", ""] {
        let headers = [host, ("origin", origin)];
        assert_eq!(
            client.bare("POST", "/touch", &headers, touch).status,
            403,
            "{origin}"
        );
        assert_eq!(
            client.bare("GET", "/news?after=0", &headers, &[]).status,
            403
        );
    }
    // A form, or a script that names no origin.
    assert_eq!(client.bare("POST", "/touch", &[host], touch).status, 403);
    for site in ["cross-site", "same-site"] {
        let headers = [
            host,
            ("sec-fetch-site", site),
            ("sec-fetch-mode", "no-cors"),
        ];
        assert_eq!(
            client.bare("GET", "/news?after=0", &headers, &[]).status,
            403,
            "{site}"
        );
    }
    let opened = [
        host,
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-mode", "navigate"),
    ];
    assert_eq!(client.bare("GET", "/", &opened, &[]).status, 200);
    for method in ["PUT", "OPTIONS", "DELETE"] {
        let answer = client.bare(method, "/touch", &[host], &[]);
        assert_eq!(answer.status, 403, "{method}");
    }
}

#[test]
fn who_sends_too_much_is_refused_and_the_phone_goes_on() {
    let served = Served::new();
    let client = served.paired();
    let sound = "/sound?run=1&n=0&from=0&rate=16000&spoke=0";
    assert_eq!(client.post(sound, &[0; 65_537]).status, 413);
    assert_eq!(client.post("/said", &[b' '; 5_000]).status, 413);
    assert_eq!(served.client().post("/pair", &[b' '; 5_000]).status, 413);
    for odd in [
        "/sound?run=1&n=0&from=0&rate=7&spoke=0",
        "/sound?run=1&n=0&from=1&rate=16000&spoke=0",
        "/sound?run=1&n=-1&from=0&rate=16000&spoke=0",
        "/sound?n=0",
        "/sound",
    ] {
        assert_eq!(client.post(odd, &[0; 3200]).status, 400, "{odd}");
    }
    assert_eq!(client.post(sound, &[0; 3201]).status, 400, "half a sample");
    assert_eq!(client.post(sound, &[0; 3200]).status, 204);
}

#[test]
fn who_is_slow_is_let_go_and_keeps_nobody_waiting() {
    let served = Served::new();
    let client = served.paired();
    // Neither of these ever says what it wants.
    let dumb = TcpStream::connect(client.address).unwrap();
    let mut silent = client.connect();
    silent.flush().unwrap();
    let mut slow = client.connect();
    let origin = format!("https://{}", client.host);
    let headers = [("host", client.host.as_str()), ("origin", origin.as_str())];
    let head = client.head("POST", "/said", &headers, 100);
    slow.write_all(head.as_bytes()).unwrap();
    slow.write_all(b"{\"id\"").unwrap();
    slow.flush().unwrap();
    assert_eq!(client.get("/phone").status, 200, "meanwhile");
    let answer = crate::looking_back::browser::answer(slow);
    assert_eq!(answer.status, 408, "{}", answer.body);
    // They are let go, too.
    let mut rest = Vec::new();
    dumb.set_read_timeout(Some(Duration::from_secs(60)))
        .unwrap();
    let _ = (&dumb).read_to_end(&mut rest);
    let _ = silent.read_to_end(&mut rest);
}

/// A connection from another address of this machine, as from another on the network.
fn from_address(last: u8, to: SocketAddr) -> TcpStream {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    let stream = runtime.block_on(async {
        let socket = tokio::net::TcpSocket::new_v4().unwrap();
        socket
            .bind(SocketAddr::from(([127, 0, 0, last], 0)))
            .unwrap();
        socket.connect(to).await.unwrap().into_std().unwrap()
    });
    stream.set_nonblocking(false).unwrap();
    stream
}

/// What somebody does on a connection who wants to keep others out, and then nothing more.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Hangs {
    SaysNothing,
    InTheHandshake,
    AfterTheHandshake,
    InTheHeaders,
    AfterTheHeaders,
    Http2WithoutStreams,
}

const HANGS: [Hangs; 6] = [
    Hangs::SaysNothing,
    Hangs::InTheHandshake,
    Hangs::AfterTheHandshake,
    Hangs::InTheHeaders,
    Hangs::AfterTheHeaders,
    Hangs::Http2WithoutStreams,
];

/// Does that; what must stay open for it.
fn hang(client: &Client, stream: TcpStream, how: Hangs) -> Box<dyn std::any::Any> {
    let mut tls = client.over(stream);
    let says: Vec<u8> = match how {
        Hangs::SaysNothing => return Box::new(tls),
        Hangs::InTheHandshake => {
            let mut hello = Vec::new();
            tls.conn.write_tls(&mut hello).unwrap();
            tls.sock.write_all(&hello[..hello.len() / 2]).unwrap();
            return Box::new(tls);
        }
        Hangs::AfterTheHandshake => Vec::new(),
        Hangs::InTheHeaders => b"GET /phone HTTP/1.1\r\nhost: ".to_vec(),
        Hangs::AfterTheHeaders => {
            let headers = [("host", client.host.as_str())];
            client.head("POST", "/pair", &headers, 100).into_bytes()
        }
        Hangs::Http2WithoutStreams => {
            let settings = [0, 0, 0, 4, 0, 0, 0, 0, 0];
            let preface = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n";
            [&preface[..], &settings[..]].concat()
        }
    };
    // Whoever is let go in the middle has tried.
    let _ = tls.write_all(&says).and_then(|()| tls.flush());
    Box::new(tls)
}

/// However many hang, on one address or on as many as a network has, a phone is paired, served on what it has
/// open, and let in anew.
#[test]
fn who_hangs_takes_no_place_of_a_phone() {
    for how in HANGS {
        for addresses in [1, 100] {
            let served = Served::new();
            let bare = served.client();
            let attacker = match how {
                Hangs::Http2WithoutStreams => bare.of_http2(),
                _ => bare.clone(),
            };
            let all = |first: u8| -> Vec<_> {
                (0..50)
                    .map(|n: u8| {
                        let last = first + n % addresses;
                        let stream = from_address(last, attacker.address);
                        hang(&attacker, stream, how)
                    })
                    .collect()
            };
            let _before = all(100);
            let client = served.paired();
            let sound = |n: u32| format!("/sound?run=1&n={n}&from=0&rate=16000&spoke=0");
            let mut open = client.keeps_open();
            assert_eq!(open.post(&sound(0), &[0; 3200]), 204);
            let _after = all(2);
            for n in 1..5 {
                assert_eq!(
                    open.post(&sound(n), &[0; 3200]),
                    204,
                    "{how:?}, {addresses}"
                );
                let answer = client.get("/phone");
                assert_eq!(answer.status, 200, "{how:?}, {addresses}: {}", answer.body);
            }
        }
    }
}

/// Nor does whoever goes on coming, from elsewhere, as fast as he can.
#[test]
fn who_comes_and_comes_keeps_no_phone_out() {
    let served = Served::new();
    let client = served.paired();
    let over = Arc::<AtomicBool>::default();
    let comes = {
        let (over, to) = (Arc::clone(&over), client.address);
        std::thread::spawn(move || {
            let mut last = std::collections::VecDeque::new();
            let mut came = 0_u32;
            while !over.load(Ordering::SeqCst) {
                last.push_back(from_address(9, to));
                if last.len() > 200 {
                    last.pop_front();
                }
                came += 1;
            }
            came
        })
    };
    for _ in 0..20 {
        assert_eq!(client.get("/phone").status, 200);
    }
    over.store(true, Ordering::SeqCst);
    assert!(comes.join().unwrap() > 0);
}

#[test]
fn without_tls_there_is_nothing() {
    let served = Served::new();
    let client = served.client();
    let mut stream = TcpStream::connect(client.address).unwrap();
    let head = client.head("GET", "/", &[("host", &client.host)], 0);
    stream.write_all(head.as_bytes()).unwrap();
    let mut came = Vec::new();
    stream
        .set_read_timeout(Some(Duration::from_secs(60)))
        .unwrap();
    let _ = stream.read_to_end(&mut came);
    assert!(!String::from_utf8_lossy(&came).contains("Pair"));
}

#[test]
fn at_the_end_the_door_is_shut() {
    let served = Served::new();
    let client = served.paired();
    served.phone.close();
    let shut = || TcpStream::connect(client.address).is_err();
    let waited = (0..600).take_while(|_| !shut()).inspect(|_| {
        std::thread::sleep(Duration::from_millis(50));
    });
    assert!(waited.count() < 600, "it is still open");
}

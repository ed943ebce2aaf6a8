//! The network, the page and the server fail in the middle of a session: nothing that was taken is lost, and what was
//! lost on its way is asked again.

use crate::looking_back::browser::Browser;
use crate::phone::in_a_browser::{Program, attempted, microphone, shown, spoken, until};
use bothhands::sequence::Event;
use serde_json::json;
use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::rc::Rc;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// A network between the page and the bench that can be cut: what was under way breaks off, and nobody is let
/// through.
struct Network {
    port: u16,
    cut: Arc<AtomicBool>,
}

impl Network {
    fn to(bench: u16) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let cut = Arc::<AtomicBool>::default();
        let is_cut = Arc::clone(&cut);
        std::thread::spawn(move || {
            for near in listener.incoming().map_while(Result::ok) {
                let far = TcpStream::connect(("127.0.0.1", bench));
                let (Ok(far), false) = (far, is_cut.load(Ordering::SeqCst)) else {
                    continue;
                };
                carry(&near, &far, &is_cut);
                carry(&far, &near, &is_cut);
            }
        });
        Self { port, cut }
    }

    fn cut(&self, cut: bool) {
        self.cut.store(cut, Ordering::SeqCst);
    }
}

/// Carries what comes from one end to the other until either is gone or the way is cut.
fn carry(from: &TcpStream, to: &TcpStream, cut: &Arc<AtomicBool>) {
    let (mut from, mut to) = (from.try_clone().unwrap(), to.try_clone().unwrap());
    let cut = Arc::clone(cut);
    from.set_read_timeout(Some(Duration::from_millis(50)))
        .unwrap();
    std::thread::spawn(move || {
        let mut bytes = [0; 16_384];
        while !cut.load(Ordering::SeqCst) {
            match from.read(&mut bytes) {
                Ok(0) => break,
                Ok(n) if to.write_all(&bytes[..n]).is_err() => break,
                Err(why) if !is_late(&why) => break,
                _ => {}
            }
        }
        let _ = from.shutdown(Shutdown::Both);
        let _ = to.shutdown(Shutdown::Both);
    });
}

fn is_late(why: &std::io::Error) -> bool {
    use std::io::ErrorKind::{TimedOut, WouldBlock};
    [TimedOut, WouldBlock].contains(&why.kind())
}

/// A port that nobody has now.
fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    listener.local_addr().unwrap().port()
}

fn stated(program: &Program) -> usize {
    let events = program.events();
    let stated = |event: &&Event| matches!(event, Event::Stated { .. });
    events.iter().filter(stated).count()
}

/// Waits until so many steps were answered.
fn until_stated(program: &Program, browser: &Browser, wanted: usize) {
    let end = Instant::now() + Duration::from_secs(60);
    while stated(program) < wanted && Instant::now() < end {
        std::thread::sleep(Duration::from_millis(100));
    }
    let page = "return document.body.innerText";
    let told = || format!("{:#?}\n{}", program.events(), browser.run(page, json!([])));
    assert_eq!(stated(program), wanted, "{}", told());
}

fn until_troubled(browser: &Browser, part: &str) {
    let script =
        format!("return document.getElementById('trouble').textContent.includes('{part}')");
    until(browser, &script, &json!(true));
}

/// Begins at the page, whose microphone begins its recording anew.
fn begin(browser: &Browser) {
    until(browser, "return location.pathname", &json!("/phone"));
    until(browser, &shown("start"), &json!(true));
    browser.click("#start");
    until(browser, &shown("session"), &json!(true));
}

#[test]
fn when_network_page_and_server_fail_in_mid_session_nothing_is_lost() {
    attempted(cut_off_and_back);
}

fn cut_off_and_back() {
    let folder = Rc::new(tempfile::tempdir().unwrap());
    let port = free_port();
    let network = Network::to(port);
    let options = ["--voice", "none", "--phone-port", &port.to_string()];
    let program = Program::start(&folder, &options);
    let by_name = |link: &str| link.replace("127.0.0.1", "bothhands.local");
    let link = by_name(&program.line("https://127.0.0.1:"));
    let (root, _) = link.split_once('#').unwrap();
    let clips = [("01-done", 2.0), ("02-proved", 4.0), ("02-proved", 8.0)];
    let mut flags = microphone(&spoken(folder.path(), &clips));
    flags.push(format!(
        "--host-resolver-rules=MAP bothhands.local:{port} 127.0.0.1:{}",
        network.port
    ));
    let browser = Browser::start_with(&flags);
    browser.size(390, 844);
    browser.open(&link);
    begin(&browser);
    until_stated(&program, &browser, 1);

    // The network is gone while something is said, and both sides say so. What was said meanwhile is heard when
    // it is back, or asked again; said once more, it is taken at the latest.
    network.cut(true);
    until_troubled(&browser, "The bench is not reached");
    // Longer than the bench waits before it says that nothing comes.
    std::thread::sleep(Duration::from_millis(2500));
    network.cut(false);
    let told = "return document.getElementById('said').textContent.includes('No sound comes from the phone')";
    until(&browser, told, &json!(true));
    until_stated(&program, &browser, 2);
    let calm = "return document.getElementById('trouble').textContent";
    until(&browser, calm, &json!(""));

    // The page is closed, and opened again from the history.
    browser.open("about:blank");
    spoken(folder.path(), &[("03-isolated", 2.0)]);
    browser.open(&format!("{root}phone"));
    begin(&browser);
    until_stated(&program, &browser, 3);

    // The bench loses its power while somebody speaks.
    let before = program.events();
    drop(program);
    until_troubled(&browser, "The bench is not reached");
    let program = Program::start(&folder, &options);
    let link = by_name(&program.line("https://127.0.0.1:"));
    until_troubled(&browser, "Open the address that the bench shows");
    assert_eq!(program.events()[..before.len()], before);
    browser.open("about:blank");
    spoken(folder.path(), &[("04-locked-off", 2.0)]);
    browser.open(&link);
    begin(&browser);
    until_stated(&program, &browser, 4);
    assert_eq!(program.events()[..before.len()], before);
}

//! Two browsers at once: the second asks, and the first decides by a finger that is held.

use crate::looking_back::browser::Browser;
use crate::phone::client::Served;
use crate::phone::in_a_browser::{microphone, shown, spoken, text, until};
use serde_json::json;

#[test]
fn a_second_browser_waits_until_a_finger_held_at_the_first_lets_it_in() {
    let served = Served::new();
    let first = Browser::start_with(&microphone(&spoken(served.folder.path(), &[])));
    let second = first.beside(&[]);
    for browser in [&first, &second] {
        browser.size(390, 844);
    }
    let used = served.phone.link().unwrap();
    first.open(&used);
    until(&first, "return location.pathname", &json!("/phone"));
    until(&first, &shown("start"), &json!(true));
    first.click("#start");
    until(&first, &shown("session"), &json!(true));

    // What the first has used is of no use to another.
    second.open(&used);
    until(
        &second,
        "return document.getElementById('state').textContent.includes('used already')",
        &json!(true),
    );
    second.open("about:blank");
    second.open(&served.phone.link().unwrap());
    until(&second, &shown("code"), &json!(true));
    let code = text(&second, "code");
    assert_eq!(code.len(), 4, "{code}");
    assert!(text(&second, "state").starts_with("Another phone is in use."));

    // The first page names it once touch is awake, and a finger that brushes by lets nobody in.
    let asks = "return document.getElementById('let-in').textContent.includes(arguments[0])";
    until(
        &first,
        &asks.replace("arguments[0]", &format!("'{code}'")),
        &json!(true),
    );
    assert_eq!(first.run(&shown("let-in"), json!([])), false, "it sleeps");
    wake(&first);
    until(&first, &shown("let-in"), &json!(true));
    first.finger("#let-in", &[(0.5, 200)]);
    assert_eq!(
        first.run(
            &asks.replace("arguments[0]", &format!("'{code}'")),
            json!([])
        ),
        true
    );
    // The waiting page asks again every second and a half.
    std::thread::sleep(std::time::Duration::from_secs(2));
    assert_eq!(second.run("return location.pathname", json!([])), "/");
    assert_eq!(text(&second, "code"), code, "it still waits");
    wake(&first);
    first.finger("#let-in", &[(0.5, 900)]);
    until(&second, "return location.pathname", &json!("/phone"));
    until(
        &second,
        "return document.getElementById('code').textContent",
        &json!(code),
    );
    // One phone a session: the page that was the first's says so.
    until(
        &first,
        "return document.getElementById('trouble').textContent.includes('no longer')",
        &json!(true),
    );
}

/// A finger slides across the whole width.
fn wake(browser: &Browser) {
    let whole: Vec<(f64, u64)> = (0..=20)
        .map(|n| (0.03 + f64::from(n) * 0.047, 30))
        .collect();
    browser.finger("#wake", &whole);
    until(browser, &shown("awake"), &json!(true));
}

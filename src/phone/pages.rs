//! The pages and scripts that a phone gets.

use super::server::Door;
use super::shared::Shared;
use axum::extract::{Extension, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use maud::{DOCTYPE, Markup, html};
use std::sync::Arc;

pub(super) const PAIR: &str = include_str!("page/pair.js");
pub(super) const PHONE: &str = include_str!("page/phone.js");
pub(super) const SOUND: &str = include_str!("page/sound.js");
pub(super) const VOICE: &str = include_str!("page/voice.js");
pub(super) const TOUCH: &str = include_str!("page/touch.js");
pub(super) const WATCH: &str = include_str!("page/watch.js");
pub(super) const CAPTURE: &str = include_str!("page/capture.js");

pub(super) fn script(text: &'static str) -> Response {
    (
        [(header::CONTENT_TYPE, "text/javascript; charset=utf-8")],
        text,
    )
        .into_response()
}

pub(super) async fn style() -> Response {
    let style = include_str!("page/phone.css");
    ([(header::CONTENT_TYPE, "text/css; charset=utf-8")], style).into_response()
}

fn document(title: &str, script: &str, body: &Markup) -> Response {
    let page = html! {
        (DOCTYPE)
        html lang="en-GB" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                link rel="stylesheet" href="phone.css";
                script type="module" src=(script) {}
            }
            body { (body) }
        }
    };
    let kind = [(header::CONTENT_TYPE, "text/html; charset=utf-8")];
    (kind, page.into_string()).into_response()
}

/// The only page there is before a phone is paired.
pub(super) async fn pair(State(door): State<Arc<Door>>) -> Response {
    let body = html! {
        main.words {
            h1 { "Pair this phone" }
            p #state role="status" { "One moment." }
            p #code .digits hidden {}
            noscript { p { "This page needs JavaScript: allow it for this address." } }
            h2 { "What the browser's warning means" }
            p {
                "Your browser does not know the machine that serves this page, and so it cannot tell whether "
                "somebody stands between. Going through the warning, and comparing the short code on both "
                "sides, guards against pairing the wrong phone. It does not guard against somebody on your "
                "network who listens in between."
            }
            h2 { "So that it does not come again" }
            p {
                "Install this machine's authority once. It can vouch for addresses of private networks and "
                "for nothing else. First compare its fingerprint (SHA-256) with the one at the bench; if "
                "one sign differs, go no further."
            }
            p.fingerprint {
                @for (n, pair) in door.fingerprint.split(':').enumerate() {
                    @if n > 0 { ":" wbr; }
                    (pair)
                }
            }
            p { a href="authority.crt" download="bothhands.crt" { "Download the authority" } }
            ul {
                li {
                    strong { "Android" } ": Settings, search for \"CA certificate\", Install anyway, "
                    "and choose the file bothhands.crt."
                }
                li {
                    strong { "Firefox" } ": where it does not use the phone's own authorities: Settings, "
                    "About Firefox, tap the logo five times, then Settings, Secret settings, Use third-party CA certificates."
                }
                li {
                    strong { "iPhone, iPad" } ": open the file, then Settings, Profile Downloaded, Install; then "
                    "General, About, Certificate Trust Settings, and switch it on. (Not tried by us.)"
                }
            }
            p { "Then read the code at the bench again." }
        }
    };
    document("Pair this phone", "pair.js", &body)
}

/// The page of the session's phone.
pub(super) async fn phone(Extension(shared): Extension<Arc<Shared>>) -> Response {
    let wants = shared.wants;
    let body = html! {
        main #begin .words {
            h1 { "Ready to begin" }
            @if !shared.learner.is_empty() {
                p { "This phone is " (shared.learner) "'s." }
            }
            p { "Both sides show" }
            p #code .digits {}
            @if wants.hears {
                p { "This phone hears you. It needs leave to use the microphone." }
            }
            @if wants.speaks || wants.hears {
                fieldset {
                    legend { "You listen through" }
                    label { input type="radio" name="through" value="headset" checked; " a headset" }
                    label { input type="radio" name="through" value="speaker"; " this phone's loudspeaker" }
                }
            }
            button #start type="button" { "Begin" }
            p #trouble-begin role="alert" {}
        }
        main #session hidden {
            h1.quiet { "Session" }
            p #trouble role="alert" {}
            p #place {}
            p #asked role="status" {}
            div #reading {
                p #value .digits {}
                p #subject {}
            }
            section aria-labelledby="out-head" {
                h2 #out-head { "Out" }
                ul #out {}
            }
            section aria-labelledby="said-head" {
                h2 #said-head { "Said" }
                ol #said {}
            }
            @if wants.hears {
                section aria-labelledby="heard-head" {
                    h2 #heard-head { "Heard by" }
                    label.quiet for="microphone" { "Microphone" }
                    select #microphone disabled {}
                    meter #level min="-60" max="0" value="-60" aria-label="Level in decibels" {}
                    p #listening {}
                    p #overheard role="status" {}
                }
            }
            section #touch aria-label="Touch" {
                label for="wake" { "Slide across to wake touch" }
                input #wake type="range" min="0" max="100" step="1" value="0";
                div #awake hidden {
                    @if wants.hears {
                        button #affirm type="button" hidden { "Hold to affirm" }
                    }
                    button #let-in type="button" hidden {}
                    button #look type="button" { "Dark or bright" }
                    details #more {
                        summary { "Another phone" }
                        p { "Read this with the other phone: it takes this one's place." }
                        img #another alt="Code to pair another phone" hidden;
                    }
                }
            }
        }
        main #over .words hidden {
            h1 { "The session has ended" }
            p { "This page can be closed. What was read back is kept at the bench." }
        }
    };
    document("Session", "phone.js", &body)
}

/// The page of a room's instructor. It changes nothing of what it shows.
pub(super) async fn watch(State(door): State<Arc<Door>>) -> Response {
    let body = html! {
        main #room {
            h1 { "The room" }
            p #trouble role="alert" {}
            button #let-in type="button" hidden {}
            button #silence type="button" hidden { "Stop listening" }
            @for (n, phone) in door.phones.iter().enumerate() {
                article.learner id={ "learner-" (n) } aria-labelledby={ "name-" (n) } {
                    h2 id={ "name-" (n) } { (phone.learner) }
                    p.job {}
                    p.state role="status" {}
                    p.place {}
                    p.asked {}
                    p.last {}
                    h3 { "Out" }
                    ul.out {}
                    p.neighbours {}
                    h3 { "Last refused" }
                    ol.refused {}
                    meter.level min="-60" max="0" value="-60" aria-label={ "Level of " (phone.learner) " in decibels" } {}
                    button.listen type="button" { "Listen to " (phone.learner) }
                    details {
                        summary { "Code for the phone of " (phone.learner) }
                        img alt={ "Code to pair the phone of " (phone.learner) } hidden;
                    }
                }
            }
        }
        main #over .words hidden {
            h1 { "The bay is closed" }
            p { "This page can be closed. What was read back is kept at the bench." }
        }
    };
    document("The room", "watch.js", &body)
}

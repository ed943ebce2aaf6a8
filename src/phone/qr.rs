//! The code that a phone reads (QR, ISO/IEC 18004), for the terminal and for a page.

use anyhow::Context;
use maud::html;
use qrcodegen::{QrCode, QrCodeEcc};
use std::fmt::Write;

/// Light modules around it, as the standard wants.
const QUIET: i32 = 4;

fn of(link: &str) -> anyhow::Result<QrCode> {
    QrCode::encode_text(link, QrCodeEcc::Low).context("the address is too long for a code")
}

/// In half blocks, light on dark as terminals are; phones read it on a light one as well.
pub(super) fn text(link: &str) -> anyhow::Result<String> {
    let code = of(link)?;
    let end = code.size() + 2;
    let light = |x: i32, y: i32| y < end && !code.get_module(x, y);
    let mut text = String::new();
    for y in (-2..end).step_by(2) {
        for x in -2..end {
            text.push(match (light(x, y), light(x, y + 1)) {
                (true, true) => '█',
                (true, false) => '▀',
                (false, true) => '▄',
                (false, false) => ' ',
            });
        }
        text.push('\n');
    }
    Ok(text)
}

/// As a picture.
pub(super) fn svg(link: &str) -> anyhow::Result<String> {
    let code = of(link)?;
    let size = code.size();
    let mut path = String::new();
    for y in 0..size {
        for x in (0..size).filter(|&x| code.get_module(x, y)) {
            write!(path, "M{},{}h1v1h-1z", x + QUIET, y + QUIET)?;
        }
    }
    let all = size + 2 * QUIET;
    let picture = html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (all) " " (all) } {
            rect width="100%" height="100%" fill="#fff" {}
            path d=(path) fill="#000" {}
        }
    };
    Ok(picture.into_string())
}

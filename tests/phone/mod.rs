//! A phone as microphone, voice and screen.

mod client;
mod door;
mod in_a_browser;
mod path;
mod room;
mod touch;

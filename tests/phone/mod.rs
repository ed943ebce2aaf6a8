//! A phone as microphone, voice and screen.

mod client;
mod door;
mod in_a_browser;
mod made_room;
mod path;
mod room;
mod touch;
mod who_spoke;

//! A phone as microphone, voice and screen.

mod classroom_pages;
mod client;
mod cut_off;
mod door;
mod in_a_browser;
mod made_room;
mod path;
mod room;
mod second_browser;
mod touch;
mod who_spoke;

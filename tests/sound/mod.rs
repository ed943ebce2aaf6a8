//! Sound that runs in real time, in a room made of software.

mod gate;
mod hour;
mod live;
#[cfg(all(feature = "microphone", feature = "system-voice", target_os = "linux"))]
mod room;
mod screen;
mod session;
#[cfg(feature = "phone")]
mod stressed;

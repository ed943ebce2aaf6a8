//! What the program says that comes of no event: of the sound and the machine, of what could not be kept or
//! answered. Nothing of it is in a log, and what is told here is all that there is of the kind.

use super::line::Line;

/// One such thing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Aside<'a> {
    /// Something about the machine, in the words of the room that met it: the microphone was lost, the
    /// phone is out of reach, the voice failed.
    Machine(&'a str),
    /// Somebody spoke while the program did, and its own words are in there too.
    WhileSpeaking,
    /// What was touched answers nothing that a touch may answer.
    NotByTouch,
    /// What was said would break a law of the program, which this names.
    AgainstALaw(&'a str),
    /// What was said can't be kept, for this reason.
    NotKept(&'a str),
    /// What nothing is said of can't be kept, for this reason: nobody has to say it again.
    NotKeptUnsaid(&'a str),
    /// The installation of a practice can't answer, for this reason, which tells what to say instead.
    NotShown(&'a str),
}

/// What is said of it.
pub fn aside(aside: Aside<'_>) -> Line {
    match aside {
        Aside::Machine(told) | Aside::NotKeptUnsaid(told) => Line::warning(told),
        Aside::WhileSpeaking => Line::question("I was speaking. Say that again."),
        Aside::NotByTouch => Line::answer("Touch answers only whether a reading is right. Say it."),
        Aside::AgainstALaw(law) => Line::warning(format!(
            "Not taken: that would be {law}. Please report this."
        )),
        Aside::NotKept(why) => Line::warning(format!("{why} Say it again when that is put right.")),
        Aside::NotShown(why) => Line::answer(why),
    }
}

/// What is told of a noise that cut a prompt short.
pub const CUT_BY_A_NOISE: &str = "A noise cut me short. Say \"say again\" to hear it.";

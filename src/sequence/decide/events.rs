//! Events that more than one file of this folder makes.

use crate::grammar::Intent;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Event, Refusal};

/// What decides anew on something said, for who takes only some of it, or changes what stands first.
pub(super) type Decide = fn(&Agenda, &Intent) -> Vec<Event>;

/// Questions about the session, and how it is to be spoken, change nothing in it.
pub(super) fn is_about_the_session(said: &Intent) -> bool {
    said.only_asks() || matches!(said, Intent::ProsodyChange(_))
}

/// What is answered and changes nothing.
pub(super) fn asked(said: &Intent) -> Vec<Event> {
    vec![Event::Asked {
        said: said.clone(),
        voice: None,
    }]
}

/// A refusal with its reason. It is kept too: a reviewer sees what was tried.
pub(super) fn refused(said: &Intent, refusal: Refusal) -> Vec<Event> {
    vec![Event::Refused {
        said: said.clone(),
        refusal,
    }]
}

/// That something is not asked for now.
pub(super) fn not_asked(said: &Intent) -> Vec<Event> {
    refused(said, Refusal::not_asked_now())
}

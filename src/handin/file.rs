use super::{HandInError, HandedIn, folded, hand_in};
use crate::log::{Log, LogError};
use crate::marking::Economy;
use crate::practice::Given;
use crate::store::{OpenMode, Store};
use postgres::Client;
use std::path::Path;

/// What kept a log from being handed in.
#[derive(Debug)]
pub enum Failure {
    /// Something about this log; the others can go on.
    Log(String),
    /// Something about the server.
    Server(HandInError),
}

/// Hands in all that a file holds, once it is found whole and every session in it was replayed: what
/// the program can't follow would be in everybody's way on the server. `hidden` is what is hidden in a practice
/// that is not finished. One `economy` serves all files of
/// a group. `went_on` is told each time
/// that the server has answered.
///
/// # Errors
/// When the log is damaged, empty, can't be replayed or is another than the server has, or the
/// server fails.
pub fn hand_in_file(
    client: &mut Client,
    path: &Path,
    with_sound: bool,
    hidden: Option<&Given>,
    economy: &mut Economy,
    went_on: &dyn Fn(),
) -> Result<HandedIn, Failure> {
    let about = |why: String| Failure::Log(format!("{}: {why}", path.display()));
    let store = Store::open(path, OpenMode::Read).map_err(|why| Failure::Log(why.to_string()))?;
    let verdict = store
        .verify()
        .map_err(|why| Failure::Log(why.to_string()))?;
    if let Some(fault) = verdict.faults.first() {
        return Err(about(format!(
            "this log is damaged at {fault}\nNothing of it was handed in. Keep the file as it is; \
             `bothhands export` takes out what is whole"
        )));
    }
    let threads = store
        .threads()
        .map_err(|why| Failure::Log(why.to_string()))?;
    if threads.is_empty() {
        return Err(about("there is nothing in this log yet".to_owned()));
    }
    let replayed = Log::threads(&store)
        .and_then(|logs| {
            let each = logs.iter().map(|log| Ok(folded(log, hidden, economy)?));
            each.collect::<Result<Vec<_>, LogError>>()
        })
        .map_err(|why| {
            about(format!(
                "this log can't be followed: {why}\nNothing of it was handed in"
            ))
        })?;
    let mut all = HandedIn::default();
    let mut diverged = Vec::new();
    for (thread, folded) in threads.iter().zip(&replayed) {
        match hand_in(client, &store, thread, folded, with_sound, went_on) {
            Ok(done) => all.add(&done),
            Err(HandInError::Diverged(why)) => diverged.push(why.to_string()),
            Err(why @ (HandInError::Store(_) | HandInError::TooLarge(_))) => {
                return Err(about(why.to_string()));
            }
            Err(why) => return Err(Failure::Server(why)),
        }
    }
    if diverged.is_empty() {
        Ok(all)
    } else {
        Err(about(diverged.join("\n")))
    }
}

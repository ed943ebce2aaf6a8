use super::mark::HiddenArgs;
use super::progress::Progress;
use super::shown;
use anyhow::bail;
use bothhands::handin::{
    self, Address, Encryption, Failure, HandedIn, connect, prepare, trusted_roots,
};
use bothhands::marking::Economy;
use bothhands::practice::Given;
use clap::Args;
use serde_json::json;
use std::{
    env,
    path::{Path, PathBuf},
    process::ExitCode,
    sync::mpsc,
    thread,
    time::Duration,
};

/// Hand logs in to a PostgreSQL server, where many can be looked through together
///
/// Only what the server does not have yet is sent: the same log twice adds nothing, and after an
/// interruption the next run goes on. Nothing on the server is ever changed.
#[derive(Debug, Args)]
pub(crate) struct HandInArgs {
    /// The logs
    #[arg(value_name = "DB", required = true)]
    logs: Vec<PathBuf>,
    /// The server: postgres://user@server/database
    ///
    /// The way is encrypted unless the server is on this machine; ?sslmode=require, prefer or
    /// disable after it says otherwise. The password comes from the variable PGPASSWORD or from
    /// --password-file, never from here.
    #[arg(long, value_name = "ADDRESS")]
    to: String,
    /// Let the password go unencrypted to whoever answers at the address
    #[arg(long)]
    password_in_clear: bool,
    /// How many seconds the server may be silent before this gives up
    #[arg(long, value_name = "SECONDS", default_value_t = 120)]
    patience: u64,
    /// A file with the password in its first line, which only you can read
    #[arg(long, value_name = "FILE")]
    password_file: Option<PathBuf>,
    /// Trust this certificate (PEM) for the server instead of those of this machine
    #[arg(long, value_name = "FILE")]
    root_certificate: Option<PathBuf>,
    /// Leave the sound out; a later run without this brings it
    #[arg(long)]
    without_sound: bool,
    /// As JSON Lines, a log each
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    hidden: HiddenArgs,
}

/// What the one who hands in tells the one who waits.
enum Told {
    /// The server has answered.
    WentOn,
    Log(PathBuf, HandedIn),
    Note(String),
    Done(anyhow::Result<bool>),
}

/// Hands in the logs. Exit status 0 when the server has all of them, 2 when it has not.
///
/// # Errors
/// When the address or the password cannot be used, or the server fails or is silent for too long.
pub(crate) fn run(args: &HandInArgs) -> anyhow::Result<ExitCode> {
    let mut address: Address = args.to.parse()?;
    if let Some(password) = password(args)? {
        address = address.with_password(&password, args.password_in_clear)?;
    }
    if address.encryption() != Encryption::Required && !address.stays_here() {
        shown::note(
            "bothhands: what goes to this server may not be encrypted: others on the way could \
             read it",
        );
    }
    let roots = args.root_certificate.clone();
    let (logs, with_sound) = (args.logs.clone(), !args.without_sound);
    let hidden = args.hidden.given()?;
    let server = address.to_string();
    let (tell, told) = mpsc::channel();
    // What waits for the server can't be told to stop; this program can end without it.
    thread::spawn(move || {
        let sent = Sent {
            logs: &logs,
            with_sound,
            hidden: hidden.as_ref(),
        };
        let done = all(&address, roots.as_deref(), &sent, &tell);
        let _ = tell.send(Told::Done(done));
    });
    let patience = Duration::from_secs(args.patience.max(1));
    let progress = Progress::of("handing in");
    loop {
        match told.recv_timeout(patience) {
            Ok(Told::WentOn) => {}
            Ok(Told::Log(path, done)) => progress.aside(|| {
                if args.json {
                    shown::json(&(as_json(&path, &done).to_string() + "\n"))
                } else {
                    shown::line(format!("{}: {}", path.display(), sum(&done)))
                }
            })?,
            Ok(Told::Note(text)) => progress.aside(|| shown::note(text)),
            Ok(Told::Done(done)) => {
                return Ok(if done? {
                    ExitCode::SUCCESS
                } else {
                    super::exit::Exit::Wrong.into()
                });
            }
            Err(_) => bail!(
                "{server}: the server has not answered for {} seconds. What was handed in before is \
                 kept; run the same command again to go on, or wait longer with --patience",
                patience.as_secs()
            ),
        }
    }
}

/// What is handed in, and how.
struct Sent<'a> {
    logs: &'a [PathBuf],
    with_sound: bool,
    /// What is hidden in practices that are not finished.
    hidden: Option<&'a Given>,
}

/// Whether the server has all of them.
fn all(
    address: &Address,
    roots: Option<&Path>,
    sent: &Sent<'_>,
    tell: &mpsc::Sender<Told>,
) -> anyhow::Result<bool> {
    // Where nobody waits any more, the program is ending.
    let told = |what| {
        let _ = tell.send(what);
    };
    let mut client = connect(address, || trusted_roots(roots))?;
    told(Told::WentOn);
    prepare(&mut client)?;
    let mut whole = true;
    let mut economy = Economy::default();
    for path in sent.logs {
        told(Told::WentOn);
        let went_on = || told(Told::WentOn);
        let done = handin::hand_in_file(
            &mut client,
            path,
            sent.with_sound,
            sent.hidden,
            &mut economy,
            &went_on,
        );
        match done {
            Ok(done) => told(Told::Log(path.clone(), done)),
            Err(Failure::Server(why)) => return Err(why.into()),
            Err(Failure::Log(why)) => {
                whole = false;
                told(Told::Note(format!("bothhands: {why}")));
            }
        }
    }
    Ok(whole)
}

fn password(args: &HandInArgs) -> anyhow::Result<Option<String>> {
    if let Some(path) = &args.password_file {
        return Ok(Some(handin::password_in(path)?));
    }
    match env::var("PGPASSWORD") {
        Ok(password) => Ok(Some(password)),
        Err(env::VarError::NotPresent) => Ok(None),
        Err(env::VarError::NotUnicode(_)) => {
            bail!("the password in PGPASSWORD is not text: give it in a file with --password-file")
        }
    }
}

fn as_json(path: &Path, done: &HandedIn) -> serde_json::Value {
    json!({
        "log": path,
        "events": done.events,
        "new_events": done.new_events,
        "new_sounds": done.new_sounds,
        "only_there": done.only_there,
    })
}

fn sum(done: &HandedIn) -> String {
    let mut text = match (done.new_events, done.new_sounds) {
        (0, 0) => format!("nothing new; the server has all {} events", done.events),
        (events, sounds) => format!(
            "{events} of {} events and {sounds} sounds were new to the server",
            done.events
        ),
    };
    if done.only_there > 0 {
        text += &format!(
            "; it has {} more: this file is an older copy",
            done.only_there
        );
    }
    text
}

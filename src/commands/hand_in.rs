use anyhow::bail;
use bothhands::handin::{
    self, Address, Encryption, Failure, HandedIn, connect, prepare, trusted_roots,
};
use clap::Args;
use std::{env, path::PathBuf, process::ExitCode};

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
    /// A file with the password in its first line, which only you can read
    #[arg(long, value_name = "FILE")]
    password_file: Option<PathBuf>,
    /// Trust this certificate (PEM) for the server instead of those of this machine
    #[arg(long, value_name = "FILE")]
    root_certificate: Option<PathBuf>,
    /// Leave the sound out; a later run without this brings it
    #[arg(long)]
    without_sound: bool,
}

/// Hands in the logs. Exit status 0 when the server has all of them, 2 when it has not.
///
/// # Errors
/// When the address or the password cannot be used, or the server fails.
pub(crate) fn run(args: &HandInArgs) -> anyhow::Result<ExitCode> {
    let mut address: Address = args.to.parse()?;
    if let Some(password) = password(args)? {
        address = address.with_password(&password);
    }
    if address.encryption() != Encryption::Required && !address.stays_here() {
        eprintln!(
            "bothhands: what goes to this server may not be encrypted: others on the way could \
             read it"
        );
    }
    let mut client = connect(&address, || trusted_roots(args.root_certificate.as_deref()))?;
    prepare(&mut client)?;
    let mut whole = true;
    for path in &args.logs {
        match handin::hand_in_file(&mut client, path, !args.without_sound) {
            Ok(done) => println!("{}: {}", path.display(), told(&done)),
            Err(Failure::Server(why)) => return Err(why.into()),
            Err(Failure::Log(why)) => {
                whole = false;
                eprintln!("bothhands: {why}");
            }
        }
    }
    Ok(if whole {
        ExitCode::SUCCESS
    } else {
        ExitCode::from(2)
    })
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

fn told(done: &HandedIn) -> String {
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

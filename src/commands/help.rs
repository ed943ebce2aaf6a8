//! What `--help` and the man pages add to the options: examples, environment, exit statuses.

use super::exit::TABLE;
use clap::Command;
use std::fmt::Write;

/// Examples of each command: what to write, and what it is for.
const EXAMPLES: &[(&str, &[(&str, &str)])] = &[
    (
        "demo",
        &[(
            "bothhands demo --out demo-out",
            "the main job on recorded speech",
        )],
    ),
    (
        "new",
        &[
            (
                "bothhands new job.toml --ask",
                "asks for each thing; a circuit in one line",
            ),
            (
                "bothhands new job.toml --from circuits.csv",
                "from a table of circuits",
            ),
            (
                "bothhands new job.toml --last last-visit.db",
                "the job of the last visit, as a periodic inspection",
            ),
        ],
    ),
    (
        "changed",
        &[(
            "bothhands changed last-visit.db job.db",
            "what reads otherwise than last time, and what the instruments explain",
        )],
    ),
    (
        "labels",
        &[(
            "bothhands labels job.db",
            "the chart for the board's door, and notices, to print",
        )],
    ),
    (
        "pack",
        &[(
            "bothhands pack job.db",
            "everything in one archive to attach",
        )],
    ),
    (
        "lessons",
        &[(
            "bothhands lessons job.db",
            "hear what was not understood, and give what you agree to",
        )],
    ),
    (
        "photo",
        &[(
            "bothhands photo job.db lid.jpg --observation 1",
            "a photo of the first observation",
        )],
    ),
    (
        "forget-sound",
        &[(
            "bothhands forget-sound job.db --all",
            "delete people's voices; the log still fits together",
        )],
    ),
    (
        "config",
        &[(
            "bothhands config",
            "what holds for every job, and where it stands",
        )],
    ),
    (
        "schema",
        &[(
            "bothhands schema --tables",
            "every key of a job file and of the configuration",
        )],
    ),
    (
        "check",
        &[
            (
                "bothhands check job.toml",
                "is it right? what should each test read, and why?",
            ),
            (
                "bothhands check --json job.toml",
                "the same for another program",
            ),
        ],
    ),
    (
        "test",
        &[
            (
                "bothhands test job.toml",
                "by microphone; the log is job.db",
            ),
            (
                "bothhands test job.toml --words - --screen",
                "typed, with everything in view",
            ),
            (
                "bothhands test job.toml --phone",
                "a phone on the same network hears, speaks and shows",
            ),
            (
                "bothhands test job.toml --manner brief --wording british",
                "less talk",
            ),
        ],
    ),
    (
        "practise",
        &[
            (
                "bothhands practise job.toml --seed 7 --learner Kim",
                "one hidden fault, every step told",
            ),
            (
                "bothhands practise job.toml --faults faults.toml --level silent --words -",
                "an examination, typed",
            ),
        ],
    ),
    #[cfg(feature = "phone")]
    (
        "bay",
        &[
            (
                "bothhands bay class",
                "a room full of learners, a phone each; class/bay.toml names them",
            ),
            (
                "bothhands bay class --codes",
                "their codes in the terminal too",
            ),
        ],
    ),
    (
        "mark",
        &[
            ("bothhands mark job.practice.db", "the sheet of one session"),
            (
                "bothhands mark *.db --out marks --open",
                "a sheet each, and one for the group",
            ),
            (
                "bothhands mark --criteria-file > criteria.toml",
                "criteria and weights, to be changed",
            ),
        ],
    ),
    (
        "rehearse",
        &[(
            "bothhands rehearse mine.toml",
            "read 20 phrases, get a profile",
        )],
    ),
    (
        "hear",
        &[(
            "bothhands hear --rule insulation low.flac",
            "what is heard in a recording",
        )],
    ),
    (
        "score",
        &[(
            "bothhands score clips.tsv --json",
            "how well a list of recordings is heard",
        )],
    ),
    (
        "schedule",
        &[("bothhands schedule job.db", "the schedule of test results")],
    ),
    (
        "log",
        &[
            (
                "bothhands log job.db --circuit 4",
                "what was said of circuit 4",
            ),
            (
                "bothhands log job.db --only questions",
                "what was asked back",
            ),
            (
                "bothhands export job.db | bothhands log -",
                "of a log that comes from elsewhere",
            ),
        ],
    ),
    (
        "review",
        &[
            (
                "bothhands review job.db",
                "look back in the browser, put readings right",
            ),
            (
                "bothhands review *.practice.db --open",
                "a group, attempts side by side",
            ),
        ],
    ),
    (
        "verify",
        &[(
            "bothhands verify job.db --head 26:0123abcd",
            "is all of it still there? The head stands on the schedule",
        )],
    ),
    (
        "export",
        &[(
            "bothhands export job.db -o job.jsonl",
            "the log as JSON Lines",
        )],
    ),
    (
        "import",
        &[("bothhands import job.jsonl --db job.db", "and back")],
    ),
    (
        "merge",
        &[(
            "bothhands merge a.db b.db -o both.db",
            "two devices' logs of one job",
        )],
    ),
    (
        "hand-in",
        &[(
            "bothhands hand-in job.db --to postgres://desk@records.example/tests",
            "to a server",
        )],
    ),
    (
        "devices",
        &[(
            "bothhands devices --meter",
            "which microphones there are, and how loud one is",
        )],
    ),
    ("doctor", &[("bothhands doctor", "is this machine ready?")]),
    (
        "completions",
        &[(
            "bothhands completions bash > ~/.local/share/bash-completion/completions/bothhands",
            "for this user",
        )],
    ),
    (
        "man",
        &[("bothhands man --out man", "a page for each command")],
    ),
];

/// What is read from the environment.
const ENVIRONMENT: &[(&str, &str)] = &[
    (
        "BOTHHANDS_CONFIG",
        "the configuration file, in place of the one in the usual place (`bothhands config`)",
    ),
    ("NO_COLOR", "no colours, when set to anything"),
    ("TZ", "the time zone that times are shown in"),
    ("PGPASSWORD", "the password for `hand-in`"),
    (
        "HOSTNAME",
        "how the log names this device, where the machine itself does not tell",
    ),
    (
        "ALSA_CONFIG_PATH",
        "the sound system's configuration, as anywhere",
    ),
];

/// The command line with its examples.
pub(crate) fn with_examples(command: Command) -> Command {
    let command = command.max_term_width(120).after_long_help(general());
    let names: Vec<String> = command
        .get_subcommands()
        .map(|c| c.get_name().to_owned())
        .collect();
    names.into_iter().fold(command, |command, name| {
        let examples = EXAMPLES
            .iter()
            .find(|(of, _)| *of == name)
            .map(|(_, all)| *all);
        command.mut_subcommand(name, |sub| match examples {
            Some(examples) => sub.after_long_help(listed("Examples", examples)),
            None => sub,
        })
    })
}

/// Environment and exit statuses, which every command has in common.
fn general() -> String {
    let statuses: Vec<(String, &str)> = TABLE
        .iter()
        .map(|(exit, when)| (exit.status().to_string(), *when))
        .collect();
    let statuses: Vec<(&str, &str)> = statuses
        .iter()
        .map(|(n, when)| (n.as_str(), *when))
        .collect();
    format!(
        "{}\n{}\nEvery command has examples: bothhands COMMAND --help.",
        listed("Exit status", &statuses),
        listed("Environment", ENVIRONMENT)
    )
}

fn listed(title: &str, all: &[(&str, &str)]) -> String {
    let mut text = format!("{title}:\n");
    for (what, why) in all {
        let _ = writeln!(text, "  {what}\n      {why}");
    }
    text
}

//! One's own heading and logo: from the options, or from the configuration.

use super::{configured, shown};
use anyhow::Context;
use bothhands::report::{Letterhead, Logo};
use clap::Args;
use std::fs;
use std::path::{Path, PathBuf};

/// Whose paper it is.
#[derive(Debug, Args)]
pub(super) struct LetterheadArgs {
    /// Your own heading, such as a name and address, at the top of what is printed
    #[arg(long, value_name = "TEXT")]
    heading: Option<String>,
    /// Your logo beside it: a PNG, or an SVG whose letters are paths
    #[arg(long, value_name = "FILE")]
    logo: Option<PathBuf>,
}

impl LetterheadArgs {
    /// What is printed.
    ///
    /// # Errors
    /// When the logo that was given can't be read, or is none. One of the configuration is left out then.
    pub(super) fn read(&self) -> anyhow::Result<Letterhead> {
        let config = configured::or_usual();
        let logo = match (&self.logo, &config.logo) {
            (Some(path), _) => Some(logo(path)?),
            (None, Some(path)) => logo(path)
                .inspect_err(|why| {
                    shown::note(format!(
                        "{why:#}\nIt goes on without the logo of the configuration."
                    ));
                })
                .ok(),
            (None, None) => None,
        };
        let heading = self.heading.as_deref().or(config.heading.as_deref());
        let heading = heading.map(str::trim);
        Ok(Letterhead {
            heading: heading.filter(|text| !text.is_empty()).map(str::to_owned),
            logo,
        })
    }
}

fn logo(path: &Path) -> anyhow::Result<Logo> {
    fs::read(path)
        .map_err(anyhow::Error::from)
        .and_then(|bytes| Ok(Logo::of(bytes)?))
        .with_context(|| format!("{}: this is no logo", path.display()))
}

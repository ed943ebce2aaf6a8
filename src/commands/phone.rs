//! A phone as microphone, voice and screen of a session.

#[cfg(feature = "phone")]
pub(super) use served::PhoneArgs;
#[cfg(not(feature = "phone"))]
pub(super) use without::PhoneArgs;

#[cfg(feature = "phone")]
mod served {
    use super::super::shown;
    use anyhow::Context;
    use bothhands::audio::EndpointConfig;
    use bothhands::dialogue::{InputSource, Observer};
    use bothhands::phone::{Phone, Settings, Wants, authority::Authority};
    use bothhands::voice::{Profile, Voice};
    use std::net::IpAddr;
    use std::sync::atomic::{AtomicBool, Ordering};
    use std::time::Duration;

    /// The options on a phone.
    #[derive(Debug, Clone, clap::Args)]
    pub(in super::super) struct PhoneArgs {
        /// Serves one page to a phone on the same network: it hears, speaks and shows, while this machine
        /// does the work and keeps the log. With --words, or --sound mic, it only shows.
        #[arg(long)]
        phone: bool,
        /// Serves it at this address of the machine only, such as 127.0.0.1 for a phone on a cable; at all
        /// its private addresses when left out.
        #[arg(long, value_name = "ADDRESS", requires = "phone")]
        phone_at: Option<IpAddr>,
        /// The port; any free one when left out.
        #[arg(long, value_name = "N", requires = "phone")]
        phone_port: Option<u16>,
    }

    impl PhoneArgs {
        /// Whether a phone is wanted.
        pub(in super::super) fn is_wanted(&self) -> bool {
            self.phone
        }

        /// Serves a phone, where one is wanted.
        ///
        /// # Errors
        /// When it can't be served: what to do.
        pub(in super::super) fn serve(
            &self,
            hears: bool,
            speaks: bool,
            profile: &Profile,
        ) -> anyhow::Result<Option<Served>> {
            if !self.phone {
                return Ok(None);
            }
            let folder = Authority::folder()?;
            let phone = Phone::open(&Settings {
                at: self.phone_at,
                port: self.phone_port.unwrap_or(0),
                wants: Wants { hears, speaks },
                profile: profile.clone(),
                folder: &folder,
            })?;
            Ok(Some(Served { phone, speaks }))
        }
    }

    /// A phone that is served.
    pub(in super::super) struct Served {
        phone: Phone,
        speaks: bool,
    }

    /// How often it is seen whether to stop.
    const LOOK_UP: Duration = Duration::from_millis(200);

    impl Served {
        /// Shows how to pair, until the person has begun at the phone; whether he has.
        ///
        /// # Errors
        /// When the machine has no random numbers.
        pub(in super::super) fn wait(&self, stop: &AtomicBool) -> anyhow::Result<bool> {
            let mut link = String::new();
            while !stop.load(Ordering::SeqCst) {
                if !self.phone.is_paired() && link != self.phone.link()? {
                    link = self.phone.link()?;
                    shown::line(format!(
                        "{}\nRead this with the phone, on the same network; or open\n{link}\nIt is good for one phone and for ten minutes. The browser will warn of a machine that it does not know: this machine's authority has the fingerprint (SHA-256)\n{}",
                        self.phone.code()?,
                        self.phone.fingerprint()
                    ))?;
                }
                for notice in self.phone.notices() {
                    shown::note(notice);
                }
                if self.phone.is_ready(LOOK_UP) {
                    return Ok(true);
                }
            }
            Ok(false)
        }

        /// Its microphone.
        ///
        /// # Errors
        /// When it was taken already.
        pub(in super::super) fn source(
            &mut self,
            cutting: EndpointConfig,
        ) -> anyhow::Result<Box<dyn InputSource>> {
            let source = self.phone.source(cutting);
            let source = source.context("the phone's microphone is in use already")?;
            Ok(Box::new(source))
        }

        /// The session's voice: the phone, where it speaks, or the other; its lines on the page either
        /// way.
        pub(in super::super) fn voice(&self, other: Box<dyn Voice>) -> Box<dyn Voice> {
            let voice = if self.speaks {
                Box::new(self.phone.voice(other))
            } else {
                other
            };
            Box::new(self.phone.on_page(voice))
        }

        /// Shows on its page what goes on.
        pub(in super::super) fn beside(&self, other: Box<dyn Observer>) -> Box<dyn Observer> {
            Box::new(self.phone.beside(other))
        }

        /// Tells the page that it is over.
        pub(in super::super) fn close(self) {
            self.phone.close();
        }
    }
}

#[cfg(not(feature = "phone"))]
mod without {
    use bothhands::audio::EndpointConfig;
    use bothhands::dialogue::{InputSource, Observer};
    use bothhands::voice::{Profile, Voice};
    use std::sync::atomic::AtomicBool;

    /// This build serves no phone.
    #[derive(Debug, Clone, clap::Args)]
    pub(in super::super) struct PhoneArgs {}

    impl PhoneArgs {
        pub(in super::super) fn is_wanted(&self) -> bool {
            false
        }

        pub(in super::super) fn serve(
            &self,
            _hears: bool,
            _speaks: bool,
            _profile: &Profile,
        ) -> anyhow::Result<Option<Served>> {
            Ok(None)
        }
    }

    /// There is none.
    pub(in super::super) enum Served {}

    impl Served {
        pub(in super::super) fn wait(&self, _stop: &AtomicBool) -> anyhow::Result<bool> {
            match *self {}
        }

        pub(in super::super) fn source(
            &mut self,
            _cutting: EndpointConfig,
        ) -> anyhow::Result<Box<dyn InputSource>> {
            match *self {}
        }

        pub(in super::super) fn voice(&self, _other: Box<dyn Voice>) -> Box<dyn Voice> {
            match *self {}
        }

        pub(in super::super) fn beside(&self, _other: Box<dyn Observer>) -> Box<dyn Observer> {
            match *self {}
        }

        pub(in super::super) fn close(self) {
            match self {}
        }
    }
}

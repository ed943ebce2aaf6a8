//! Where a session's utterances come from: typed lines, recordings, standard input, a microphone.

use crate::audio::{self, EndpointConfig, Segmenter, Utterance};
use crate::sequence::{EventNo, NeighbourSign};
use crate::voice::Voice;
use anyhow::{Context, bail};
use std::collections::VecDeque;
use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::Duration;

/// One thing that came in.
#[derive(Debug)]
pub enum Input {
    /// A stretch of speech.
    Sound(Utterance),
    /// A stretch of speech mixed with the program's own voice, or cut off by it.
    OverlapsPrompt(Utterance),
    /// The stretch of speech under way, which may have ended or only pauses: see
    /// [`InputSource::set_end_pause`]. If it ends here it comes again, the same to the sample.
    Partial(Utterance),
    /// A typed line, taken as if it had been heard.
    Words(String),
    /// "Affirm", by a finger held on a screen.
    Touched {
        /// The event that the screen asked about.
        about: EventNo,
        /// How long it was held.
        held: Duration,
    },
    /// Somebody else was heard, in a room full of learners.
    Neighbour {
        /// At whose phone it was loudest, where that is known.
        whose: Option<String>,
        /// How long it was.
        length: Duration,
        /// By what it was known.
        by: NeighbourSign,
    },
    /// A recording without a voice in it, by name.
    NoVoice(String),
    /// Nothing was said for this long.
    Idle(Duration),
    /// Nothing was typed yet: time to see whether to stop.
    Waiting,
    /// Something happened to the source that the person must know.
    Notice(String),
}

/// Gives a session its utterances one by one.
pub trait InputSource {
    /// The next one; nothing at the end. May wait; the voice tells a microphone when the program
    /// itself is speaking.
    ///
    /// # Errors
    /// When the source can't be read; the message says what to do.
    fn next(&mut self, voice: &mut dyn Voice) -> anyhow::Result<Option<Input>>;

    /// What was heard so far is complete: the pause need not be longer than this.
    fn set_end_pause(&mut self, _pause: Duration) {}

    /// How it fared, for the person at the end of a session; nothing where nothing can go wrong.
    fn account(&self) -> Option<String> {
        None
    }
}

/// Typed lines: one utterance a line; empty lines and lines that begin with `#` are left out. What is
/// not readable as text stands in the line as signs that mean nothing.
pub struct TypedLines {
    lines: Receiver<std::io::Result<Vec<u8>>>,
    name: String,
    read: usize,
}

/// How long a line is waited for before it is seen whether to stop.
const LOOK_UP: Duration = Duration::from_millis(100);

impl TypedLines {
    /// Lines of a file, or of standard input for `-`.
    ///
    /// # Errors
    /// When the file can't be opened.
    pub fn open(path: &Path) -> anyhow::Result<Self> {
        let reader: Box<dyn BufRead + Send> = if path == Path::new("-") {
            Box::new(BufReader::new(std::io::stdin()))
        } else {
            let file = File::open(path).with_context(|| {
                format!(
                    "{}: can't open the typed words; check the path",
                    path.display()
                )
            })?;
            Box::new(BufReader::new(file))
        };
        // One line ahead, and read by somebody who may wait for ever.
        let (give, lines) = sync_channel(0);
        std::thread::spawn(move || read_lines(reader, &give));
        Ok(Self {
            lines,
            name: path.display().to_string(),
            read: 0,
        })
    }
}

fn read_lines(mut reader: Box<dyn BufRead + Send>, give: &SyncSender<std::io::Result<Vec<u8>>>) {
    loop {
        let mut line = Vec::new();
        let read = match reader.read_until(b'\n', &mut line) {
            Ok(0) => return,
            Ok(_) => Ok(line),
            Err(why) => Err(why),
        };
        let failed = read.is_err();
        if give.send(read).is_err() || failed {
            return;
        }
    }
}

impl TypedLines {
    /// A line as it is read: nothing where it is to be left out.
    fn taken(&mut self, line: std::io::Result<Vec<u8>>) -> anyhow::Result<Option<String>> {
        self.read += 1;
        let line =
            line.with_context(|| format!("{}: line {} can't be read", self.name, self.read))?;
        if self.read == 1 && (line.starts_with(&[0xff, 0xfe]) || line.starts_with(&[0xfe, 0xff])) {
            bail!("{}: this is text in UTF-16; save it as UTF-8", self.name);
        }
        let line = String::from_utf8_lossy(&line);
        let line = if self.read == 1 {
            line.trim_start_matches('\u{feff}')
        } else {
            &line
        };
        let line = line.trim();
        Ok((!line.is_empty() && !line.starts_with('#')).then(|| line.to_owned()))
    }

    /// A line that was typed already, if there is one.
    fn at_once(&mut self) -> anyhow::Result<Option<String>> {
        while let Ok(line) = self.lines.try_recv() {
            if let Some(line) = self.taken(line)? {
                return Ok(Some(line));
            }
        }
        Ok(None)
    }
}

impl InputSource for TypedLines {
    fn next(&mut self, _voice: &mut dyn Voice) -> anyhow::Result<Option<Input>> {
        loop {
            let line = match self.lines.recv_timeout(LOOK_UP) {
                Ok(line) => line,
                Err(RecvTimeoutError::Timeout) => return Ok(Some(Input::Waiting)),
                Err(RecvTimeoutError::Disconnected) => return Ok(None),
            };
            if let Some(line) = self.taken(line)? {
                return Ok(Some(Input::Words(line)));
            }
        }
    }
}

/// Which of two sources is listened to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ListenTo {
    /// What is typed; the sound waits.
    Typed,
    /// The sound, and what is typed once it has ended.
    Sound,
    /// Either; what was typed comes first.
    Either,
}

/// Typed lines beside sound.
pub struct TypedBeside {
    typed: TypedLines,
    sound: Box<dyn InputSource>,
    wanted: ListenTo,
}

impl TypedBeside {
    /// Both.
    pub fn new(typed: TypedLines, sound: Box<dyn InputSource>) -> Self {
        Self {
            typed,
            sound,
            wanted: ListenTo::Either,
        }
    }

    /// Listens to this from here on.
    pub fn want(&mut self, wanted: ListenTo) {
        self.wanted = wanted;
    }
}

impl InputSource for TypedBeside {
    fn next(&mut self, voice: &mut dyn Voice) -> anyhow::Result<Option<Input>> {
        let typed = match self.wanted {
            ListenTo::Typed => return self.typed.next(voice),
            ListenTo::Sound => None,
            ListenTo::Either => self.typed.at_once()?,
        };
        match typed {
            Some(line) => Ok(Some(Input::Words(line))),
            None => match self.sound.next(voice)? {
                Some(input) => Ok(Some(input)),
                None => self.typed.next(voice),
            },
        }
    }
}

/// Recordings, played one after the other and cut into utterances by voice activity.
pub struct Recordings {
    files: VecDeque<PathBuf>,
    waiting: VecDeque<Utterance>,
    played: u64,
    /// Standard input while it goes on.
    streaming: Option<Streaming>,
    cutting: EndpointConfig,
}

/// Sound that is heard as it comes.
struct Streaming {
    sound: audio::SoundBlocks,
    segmenter: Segmenter,
    heard: bool,
}

impl Recordings {
    /// These files, in this order; `-` is a WAV on standard input.
    pub fn new(files: impl IntoIterator<Item = PathBuf>) -> Self {
        Self {
            files: files.into_iter().collect(),
            waiting: VecDeque::new(),
            played: 0,
            streaming: None,
            cutting: EndpointConfig::default(),
        }
    }

    /// Cut in another way than usual.
    #[must_use]
    pub fn cut_by(self, cutting: EndpointConfig) -> Self {
        Self { cutting, ..self }
    }

    /// The next piece of standard input; whether it is at its end without a voice in it.
    fn stream(&mut self) -> anyhow::Result<bool> {
        let Some(streaming) = &mut self.streaming else {
            return Ok(false);
        };
        let (found, ended) = match streaming.sound.next() {
            Some(block) => (streaming.segmenter.push(&block?), false),
            None => (streaming.segmenter.finish().into_iter().collect(), true),
        };
        streaming.heard |= !found.is_empty();
        let silent = ended && !streaming.heard;
        self.waiting.extend(found);
        if ended {
            self.streaming = None;
        }
        Ok(silent)
    }

    fn cut(&mut self, samples: &[f32]) {
        let mut segmenter = Segmenter::new(self.cutting);
        let mut found = segmenter.push(samples);
        found.extend(segmenter.finish());
        for utterance in &mut found {
            utterance.start += self.played;
            utterance.speech_end += self.played;
        }
        self.waiting.extend(found);
        self.played += samples.len() as u64;
    }
}

impl InputSource for Recordings {
    fn next(&mut self, _voice: &mut dyn Voice) -> anyhow::Result<Option<Input>> {
        loop {
            if let Some(utterance) = self.waiting.pop_front() {
                return Ok(Some(Input::Sound(utterance)));
            }
            if self.streaming.is_some() {
                if self.stream()? {
                    return Ok(Some(Input::NoVoice("standard input".to_owned())));
                }
                continue;
            }
            let Some(file) = self.files.pop_front() else {
                return Ok(None);
            };
            if file == Path::new("-") {
                self.streaming = Some(Streaming {
                    sound: audio::SoundBlocks::stdin()?,
                    segmenter: Segmenter::new(self.cutting),
                    heard: false,
                });
                continue;
            }
            let samples = audio::read(&file)?;
            self.cut(&samples);
            if self.waiting.is_empty() {
                return Ok(Some(Input::NoVoice(file.display().to_string())));
            }
        }
    }
}

/// Recordings held in memory, each one utterance source of its own.
pub struct Clips {
    clips: VecDeque<(String, Vec<u8>)>,
    recordings: Recordings,
}

impl Clips {
    /// Named WAV or FLAC files.
    pub fn new(clips: impl IntoIterator<Item = (String, Vec<u8>)>) -> Self {
        Self {
            clips: clips.into_iter().collect(),
            recordings: Recordings::new([]),
        }
    }
}

impl InputSource for Clips {
    fn next(&mut self, _voice: &mut dyn Voice) -> anyhow::Result<Option<Input>> {
        loop {
            if let Some(utterance) = self.recordings.waiting.pop_front() {
                return Ok(Some(Input::Sound(utterance)));
            }
            let Some((name, bytes)) = self.clips.pop_front() else {
                return Ok(None);
            };
            let samples = audio::read_bytes(&name, bytes)?;
            self.recordings.cut(&samples);
            if self.recordings.waiting.is_empty() {
                return Ok(Some(Input::NoVoice(name)));
            }
        }
    }
}

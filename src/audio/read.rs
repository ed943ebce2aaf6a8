use super::{SAMPLE_RATE, resample::Resampler};
use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::Path;

/// Why a recording could not be used: its name, what is wrong and what to do.
#[derive(Debug, thiserror::Error)]
#[error("{name}: {problem}")]
pub struct SoundError {
    /// The file's name, or "standard input".
    pub name: String,
    /// What is wrong with it, and what to do.
    pub problem: SoundProblem,
}

/// What is wrong with a recording.
#[derive(Debug, thiserror::Error)]
pub enum SoundProblem {
    /// There is no such file, or it may not be read.
    #[error("cannot be opened ({0}); check the path and who may read it")]
    CannotOpen(#[source] io::Error),
    /// The disk or the pipe failed in the middle.
    #[error("could not be read to its end ({0}); copy it again from where it was recorded")]
    CannotRead(#[source] io::Error),
    /// Not one byte, or a header and not one sample.
    #[error("is empty; record it again")]
    Empty,
    /// It begins neither as WAV nor as FLAC.
    #[error(
        "is neither WAV nor FLAC; save it as WAV (16-bit PCM will do) or FLAC and give that file"
    )]
    UnknownFormat,
    /// It begins as one of them and does not go on so.
    #[error("is a damaged {format} file ({detail}); copy or export it again")]
    Damaged {
        /// "WAV" or "FLAC".
        format: &'static str,
        /// What the decoder said.
        detail: String,
    },
    /// There is less sound than the header says.
    #[error(
        "is cut short: its header promises {promised} samples a channel and {found} are there; \
         copy it again or repair its header"
    )]
    Truncated {
        /// Samples a channel, by the header.
        promised: u64,
        /// Samples a channel that are there.
        found: u64,
    },
    /// A rate that can't be brought to ours, Hz.
    #[error("has a sample rate of {0} Hz; save it at a rate from 4000 to 384000 Hz, best 16000")]
    SampleRate(u32),
    /// So many channels.
    #[error("has {0} channels; save it with 1 to 32")]
    Channels(u32),
    /// A WAV whose samples are kept in a way that is not read here.
    #[error("is {0}, which is not read here; save it as 16-bit PCM WAV or as FLAC")]
    Encoding(String),
    /// A sample that is infinite, not a number or far too large: which one, from 0.
    #[error(
        "holds a sample that is not a number or far outside -1 to 1 (sample {0}); export it again"
    )]
    NotANumber(u64),
    /// The rate, Hz, and why it can't be brought to ours.
    #[error("cannot be resampled from {0} Hz ({1}); save it at 16000 Hz")]
    Resampling(u32, String),
}

impl SoundProblem {
    fn of(self, name: &str) -> SoundError {
        SoundError {
            name: name.to_owned(),
            problem: self,
        }
    }

    fn damaged(format: &'static str, detail: impl ToString) -> Self {
        Self::Damaged {
            format,
            detail: detail.to_string(),
        }
    }
}

/// The whole of a WAV or FLAC recording at any rate, as 16 kHz mono, -1 to 1; channels are
/// averaged.
///
/// # Errors
/// When the file is missing, damaged, cut short, empty or of a kind that is not read here.
pub fn read(path: &Path) -> Result<Vec<f32>, SoundError> {
    let name = path.display().to_string();
    let file = File::open(path).map_err(|e| SoundProblem::CannotOpen(e).of(&name))?;
    let mut all = Vec::new();
    for block in SoundBlocks::new(&name, Box::new(BufReader::new(file)))? {
        all.extend(block?);
    }
    Ok(all)
}

/// The whole of a recording that is already in memory; `name` is for messages.
///
/// # Errors
/// As [`read`].
pub fn read_bytes(name: &str, bytes: Vec<u8>) -> Result<Vec<f32>, SoundError> {
    let mut all = Vec::new();
    for block in SoundBlocks::new(name, Box::new(io::Cursor::new(bytes)))? {
        all.extend(block?);
    }
    Ok(all)
}

/// A recording or a stream read piece by piece: an iterator over blocks of 16 kHz mono samples.
///
/// A WAV stream on standard input may leave its length open, as recorders that write to a pipe do;
/// a recording that ends before its promised length gives an error after the sound that is there.
pub struct SoundBlocks {
    name: String,
    input: Input,
    rate: u32,
    resampler: Resampler,
    /// Samples a channel read so far, at the recording's own rate.
    seen: u64,
    state: State,
}

#[derive(PartialEq)]
enum State {
    Running,
    Flushed,
}

enum Input {
    Wav(Wav),
    Flac(Box<Flac>),
}

/// Samples a channel in one block from a WAV: a tenth of a second at 16 kHz, so that live sound
/// is not held up.
const BLOCK: usize = 1600;

impl SoundBlocks {
    /// Standard input, holding WAV.
    ///
    /// # Errors
    /// When what comes is not a usable WAV header.
    pub fn stdin() -> Result<Self, SoundError> {
        Self::new("standard input", Box::new(BufReader::new(io::stdin())))
    }

    /// A recording by its path; `-` is standard input.
    ///
    /// # Errors
    /// When it cannot be opened or its header is unusable.
    pub fn open(path: &Path) -> Result<Self, SoundError> {
        if path == Path::new("-") {
            return Self::stdin();
        }
        let name = path.display().to_string();
        let file = File::open(path).map_err(|e| SoundProblem::CannotOpen(e).of(&name))?;
        Self::new(&name, Box::new(BufReader::new(file)))
    }

    /// Anything that can be read; `name` is for messages.
    ///
    /// # Errors
    /// When its header is unusable.
    pub fn new(name: &str, mut reader: Box<dyn Read + Send>) -> Result<Self, SoundError> {
        let mut magic = Vec::with_capacity(4);
        reader
            .by_ref()
            .take(4)
            .read_to_end(&mut magic)
            .map_err(|e| SoundProblem::CannotRead(e).of(name))?;
        let whole: Box<dyn Read + Send> = Box::new(io::Cursor::new(magic.clone()).chain(reader));
        let input = match magic.as_slice() {
            [] => Err(SoundProblem::Empty),
            b"RIFF" => Wav::new(whole).map(Input::Wav),
            b"fLaC" => Flac::new(whole).map(|flac| Input::Flac(Box::new(flac))),
            _ => Err(SoundProblem::UnknownFormat),
        }
        .map_err(|problem| problem.of(name))?;
        let (rate, channels) = match &input {
            Input::Wav(wav) => (wav.rate, wav.channels as u32),
            Input::Flac(flac) => (flac.rate, flac.channels),
        };
        if !(4000..=384_000).contains(&rate) {
            return Err(SoundProblem::SampleRate(rate).of(name));
        }
        if !(1..=32).contains(&channels) {
            return Err(SoundProblem::Channels(channels).of(name));
        }
        let resampler = Resampler::new(rate)
            .map_err(|detail| SoundProblem::Resampling(rate, detail).of(name))?;
        Ok(Self {
            name: name.to_owned(),
            input,
            rate,
            resampler,
            seen: 0,
            state: State::Running,
        })
    }

    /// The recording's own sample rate in hertz.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    fn step(&mut self) -> Result<Option<Vec<f32>>, SoundProblem> {
        if self.state == State::Flushed {
            return Ok(None);
        }
        let mut block = Vec::new();
        let ended = match &mut self.input {
            Input::Wav(wav) => wav.block(&mut block),
            Input::Flac(flac) => flac.block(&mut block),
        }?;
        for (i, sample) in block.iter_mut().enumerate() {
            // Recorders that work in floats overshoot a little; anything far outside is damage.
            if !sample.is_finite() || sample.abs() > 16.0 {
                return Err(SoundProblem::NotANumber(self.seen + i as u64));
            }
            *sample = sample.clamp(-1.0, 1.0);
        }
        self.seen += block.len() as u64;
        let resampled = |e| SoundProblem::Resampling(self.rate, e);
        let mut out = self.resampler.push(&block).map_err(resampled)?;
        if ended {
            if self.seen == 0 {
                return Err(SoundProblem::Empty);
            }
            out.extend(self.resampler.finish().map_err(resampled)?);
            self.state = State::Flushed;
        }
        Ok(Some(out))
    }
}

impl Iterator for SoundBlocks {
    type Item = Result<Vec<f32>, SoundError>;

    fn next(&mut self) -> Option<Self::Item> {
        match self.step() {
            Ok(block) => block.map(Ok),
            Err(problem) => {
                self.state = State::Flushed;
                Some(Err(problem.of(&self.name)))
            }
        }
    }
}

/// WAV by `hound`, which refuses a header that leaves the length open, as a recorder that writes
/// to a pipe must; such a header is given the greatest length before `hound` sees it.
struct Wav {
    reader: hound::WavReader<Box<dyn Read + Send>>,
    rate: u32,
    channels: usize,
    /// Frames (one sample of every channel) that the header promises; none when left open.
    promised: Option<u64>,
    found: u64,
}

impl Wav {
    fn new(mut reader: Box<dyn Read + Send>) -> Result<Self, SoundProblem> {
        let (header, open) = wav_header(&mut reader)?;
        let whole: Box<dyn Read + Send> = Box::new(io::Cursor::new(header).chain(reader));
        let reader = hound::WavReader::new(whole).map_err(|e| match e {
            hound::Error::Unsupported => SoundProblem::Encoding("a compressed WAV".into()),
            hound::Error::IoError(_) => SoundProblem::damaged("WAV", "it ends inside its header"),
            other => SoundProblem::damaged("WAV", other),
        })?;
        let spec = reader.spec();
        let float = spec.sample_format == hound::SampleFormat::Float;
        if !matches!(
            (float, spec.bits_per_sample),
            (false, 8 | 16 | 24 | 32) | (true, 32)
        ) {
            return Err(SoundProblem::Encoding(format!(
                "WAV with {} bits a sample",
                spec.bits_per_sample
            )));
        }
        Ok(Self {
            rate: spec.sample_rate,
            channels: usize::from(spec.channels),
            promised: (!open).then(|| reader.duration().into()),
            found: 0,
            reader,
        })
    }

    /// Adds the next frames to `block`, channels averaged; true at the end.
    fn block(&mut self, block: &mut Vec<f32>) -> Result<bool, SoundProblem> {
        let spec = self.reader.spec();
        let wanted = BLOCK * self.channels;
        let mut samples = Vec::with_capacity(wanted);
        let mut ended = false;
        let short = if spec.sample_format == hound::SampleFormat::Float {
            let mut rest = self.reader.samples::<f32>().take(wanted);
            rest.try_for_each(|s| s.map(|s| samples.push(s)))
        } else {
            let scale = 0.5f32.powi(i32::from(spec.bits_per_sample) - 1);
            let mut rest = self.reader.samples::<i32>().take(wanted);
            rest.try_for_each(|s| s.map(|s| samples.push(s as f32 * scale)))
        };
        for frame in samples.chunks_exact(self.channels) {
            block.push(frame.iter().sum::<f32>() / self.channels as f32);
            self.found += 1;
        }
        match (short, self.promised) {
            (Ok(()), _) => ended |= samples.len() < wanted,
            (Err(_), None) => ended = true,
            (Err(hound::Error::IoError(_)), Some(promised)) => {
                return Err(SoundProblem::Truncated {
                    promised,
                    found: self.found,
                });
            }
            (Err(e), Some(_)) => return Err(SoundProblem::damaged("WAV", e)),
        }
        Ok(ended)
    }
}

/// A header that leads to the first sample, and whether the recording left its length open (the
/// header given then has the greatest that fits). Chunks that say nothing about the samples are
/// left out.
fn wav_header(reader: &mut dyn Read) -> Result<(Vec<u8>, bool), SoundProblem> {
    /// Chunks before the samples longer than this are damage.
    const LONGEST: u32 = 1 << 24;
    let mut next = |length: u32| {
        let mut bytes = Vec::new();
        let got = reader
            .take(length.into())
            .read_to_end(&mut bytes)
            .map_err(SoundProblem::CannotRead)?;
        if got < length as usize {
            return Err(SoundProblem::damaged("WAV", "it ends inside its header"));
        }
        Ok(bytes)
    };
    let mut header = next(12)?;
    let mut frame = 1;
    loop {
        let start = next(8)?;
        let &[k0, k1, k2, k3, l0, l1, l2, l3] = start.as_slice() else {
            return Err(SoundProblem::damaged("WAV", "it ends inside its header"));
        };
        let kind = [k0, k1, k2, k3];
        let length = u32::from_le_bytes([l0, l1, l2, l3]);
        if &kind == b"data" {
            let open = length == 0 || length >= 0x7fff_0000;
            let length = if open {
                u32::MAX - u32::MAX % frame
            } else {
                length
            };
            header.extend(kind);
            header.extend(length.to_le_bytes());
            return Ok((header, open));
        }
        if length > LONGEST {
            return Err(SoundProblem::damaged("WAV", "its header is too long"));
        }
        let body = next(length)?;
        if !length.is_multiple_of(2) {
            next(1)?;
        }
        if &kind == b"fmt " {
            if let Some(&[low, high]) = body.get(12..14) {
                frame = u32::from(u16::from_le_bytes([low, high])).max(1);
            }
            header.extend(start);
            header.extend(body);
        }
    }
}

struct Flac {
    reader: claxon::FlacReader<Box<dyn Read + Send>>,
    rate: u32,
    channels: u32,
    scale: f32,
    promised: Option<u64>,
    found: u64,
    buffer: Vec<i32>,
}

impl Flac {
    fn new(reader: Box<dyn Read + Send>) -> Result<Self, SoundProblem> {
        let reader = claxon::FlacReader::new(reader).map_err(Self::problem)?;
        let info = reader.streaminfo();
        Ok(Self {
            rate: info.sample_rate,
            channels: info.channels,
            scale: 1.0 / (1u64 << info.bits_per_sample.clamp(1, 32).saturating_sub(1)) as f32,
            promised: info.samples,
            found: 0,
            buffer: Vec::new(),
            reader,
        })
    }

    fn problem(error: claxon::Error) -> SoundProblem {
        match error {
            claxon::Error::IoError(e) if e.kind() != io::ErrorKind::UnexpectedEof => {
                SoundProblem::CannotRead(e)
            }
            claxon::Error::IoError(_) => SoundProblem::damaged("FLAC", "it ends too soon"),
            other => SoundProblem::damaged("FLAC", other),
        }
    }

    /// Adds the next FLAC frame to `block`, channels averaged; true at the end.
    fn block(&mut self, block: &mut Vec<f32>) -> Result<bool, SoundProblem> {
        let buffer = std::mem::take(&mut self.buffer);
        let Some(frame) = self
            .reader
            .blocks()
            .read_next_or_eof(buffer)
            .map_err(Self::problem)?
        else {
            return match self.promised {
                Some(promised) if promised != self.found => Err(SoundProblem::Truncated {
                    promised,
                    found: self.found,
                }),
                _ => Ok(true),
            };
        };
        let channels = frame.channels();
        let each = self.scale / channels.max(1) as f32;
        for i in 0..frame.duration() {
            let sum: f32 = (0..channels).map(|c| frame.sample(c, i) as f32).sum();
            block.push(sum * each);
        }
        self.found += u64::from(frame.duration());
        self.buffer = frame.into_buffer();
        Ok(false)
    }
}

/// Seconds of sound in `samples` at [`SAMPLE_RATE`].
pub fn seconds(samples: &[f32]) -> f64 {
    samples.len() as f64 / f64::from(SAMPLE_RATE)
}

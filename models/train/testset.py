"""Speech for selection and test: voices, speakers and sentences that training never sees (holdout.py).

    python testset.py SENTENCES_DIR FSDD_DIR OUT_DIR {test|selection}

Writes OUT_DIR/{part}.npz (x, n as in speak_fast.py) and OUT_DIR/{part}.json, one entry a clip:
id, voice, group, text. An empty text marks talk that is not meant for the program.
"""
import glob
import json
import os
import random
import sys
import zlib

import numpy as np
import soundfile

import decoder
import holdout
import sentences
import voices

DIGIT_NAMES = "zero one two three four five six seven eight nine".split()
PROMPTS = "/usr/share/asterisk/sounds/en_US_f_Allison"        # Debian package asterisk-core-sounds-en-wav, CC BY-SA 3.0
READERS = "/usr/share/pocketsphinx/test/data"                 # Debian package pocketsphinx-testdata

CHAT = """pass me the screwdriver will you|did you turn off the power in the kitchen|what time are we going for lunch|
that looks a bit loose to me|hang on a minute I dropped the torch|the customer wants another socket by the door|
can you hold the ladder for me|I think the old cable runs behind this wall|have you got the van keys|
it was raining all weekend up north|I need to ring the office about the parts|the board is on the second floor|
two of the screws are missing here|we had about forty people at the party|no not that one the other one|
put the kettle on would you|is the line still busy|we spent over two hundred pounds on it|
there should be three or four boxes left|nobody told me about the meeting on Monday""".replace("\n", "").split("|")

# name: (group, how to speak). Groups: british, american, human.
TEST_VOICES = {
    "fl-awb": ("british", lambda s, r: voices.flite(s, "awb", r.uniform(0.85, 1.15))),
    "fl-kal16": ("american", lambda s, r: voices.flite(s, "kal16", r.uniform(0.85, 1.15))),
    "hib-gb": ("british", lambda s, r: voices.hibari(s, True, r.uniform(0.85, 1.15), r.randint(0, 9999))),
    "hib-us": ("american", lambda s, r: voices.hibari(s, False, r.uniform(0.85, 1.15), r.randint(0, 9999))),
    "es-lanc-m4": ("british", lambda s, r: voices.espeak(s, "en-gb-x-gbclan", "m4", r.randint(135, 175), r.randint(35, 60))),
    "es-scot-f3": ("british", lambda s, r: voices.espeak(s, "en-gb-scotland", "f3", r.randint(135, 175), r.randint(35, 60))),
    "es-wmid-linda": ("british", lambda s, r: voices.espeak(s, "en-gb-x-gbcwmd", "linda", r.randint(135, 175), r.randint(35, 60))),
    "es-rp-edward": ("british", lambda s, r: voices.espeak(s, "en-gb-x-rp", "edward", r.randint(135, 175), r.randint(35, 60))),
    "es-us-edward": ("american", lambda s, r: voices.espeak(s, "en-us", "edward", r.randint(135, 175), r.randint(35, 60))),
    "es-us-f3": ("american", lambda s, r: voices.espeak(s, "en-us", "f3", r.randint(135, 175), r.randint(35, 60))),
}
SELECTION_VOICES = {
    "fe-ked": ("american", lambda s, r: voices.festival(s, "ked_diphone")),
    "es-gb-f5": ("british", lambda s, r: voices.espeak(s, "en-gb", "f5", r.randint(135, 175), r.randint(35, 60))),
    "es-rp-m7": ("british", lambda s, r: voices.espeak(s, "en-gb-x-rp", "m7", r.randint(135, 175), r.randint(35, 60))),
    "es-scot-benjamin": ("british", lambda s, r: voices.espeak(s, "en-gb-scotland", "benjamin", r.randint(135, 175), r.randint(35, 60))),
    "es-us-steph": ("american", lambda s, r: voices.espeak(s, "en-us", "steph", r.randint(135, 175), r.randint(35, 60))),
}
CLIPS_A_VOICE = {"test": 130, "selection": 45}
# Numbers that end early, and pauses within a number, are asked of every test voice.
STRINGS = [("two nine", "nine"), ("nine nine", "nine"), ("one five", "six"), ("two oh", "seven"), ("four", "five"),
           ("point three", "four"), ("nought point oh", "five"), ("two hundred", "and ninety nine"), ("one", "point five")]


def level(samples, rms=0.06):
    loud = samples[np.abs(samples) > 0.05 * np.abs(samples).max()]
    return samples * (rms / np.sqrt(np.mean(loud ** 2)))


class Clips:
    def __init__(self):
        self.samples, self.entries = [], []

    def add(self, name, voice, group, text, samples):
        """Set the level, leave 0.3 s of very quiet room on both sides."""
        x = np.concatenate([np.zeros(4800), level(np.asarray(samples, np.float64)), np.zeros(4800)])
        x = x + np.random.default_rng(zlib.crc32(name.encode())).normal(0, 1e-4, len(x))
        self.samples.append(voices.int16(x))
        self.entries.append(dict(id=name, voice=voice, group=group, text=text))

    def write(self, out, part):
        np.savez(f"{out}/{part}.npz", x=np.concatenate(self.samples), n=[len(s) for s in self.samples])
        with open(f"{out}/{part}.json", "w") as f:
            json.dump(self.entries, f, indent=0)
        hours = sum(map(len, self.samples)) / 57.6e6
        print(f"{part}: {len(self.entries)} clips, {hours:.2f} h, {len({e['voice'] for e in self.entries})} voices")


def synthetic(clips, part, table, texts):
    count = CLIPS_A_VOICE[part]
    for v, (voice, (group, speak)) in enumerate(table.items()):
        # The British and the American reading of the same speaker say the same sentences.
        offset = {"hib-us": list(table).index("hib-gb") if "hib-gb" in table else 0}.get(voice, v)
        offset = list(table).index("es-rp-edward") if voice == "es-us-edward" else offset
        for i in range(count):
            text = texts[(offset * count + i) % len(texts)]
            rng = random.Random(zlib.crc32(f"{part}{voice}{i}".encode()))
            samples = voices.trimmed(speak(text, rng), margin=320)
            if samples is not None:
                clips.add(f"{voice}-{i:03d}", voice, group, text, samples)
        if part != "test":
            continue
        for i, (head, tail) in enumerate(STRINGS):
            rng = random.Random(i)
            a, b = (voices.trimmed(speak(t, rng), margin=320) for t in (head, tail))
            gap = np.zeros(int(voices.RATE * rng.uniform(0.25, 0.6)))
            clips.add(f"{voice}-short{i}", voice, group + " cut short", head, a)
            clips.add(f"{voice}-pause{i}", voice, group + " pause", f"{head} {tail}", np.concatenate([level(a), gap, level(b)]))
        for i in range(4):
            text = CHAT[(v * 4 + i) % len(CHAT)]
            clips.add(f"{voice}-chat{i}", voice, "not for us", "", voices.trimmed(speak(text.lower(), rng), margin=320))


def human_digits(clips, folder, speakers, each, seed):
    rng = random.Random(seed)
    for speaker in speakers:
        for i in range(each):
            digits = [rng.randint(0, 9) for _ in range(rng.choice([2, 3, 3, 4, 4]))]
            parts = []
            for d in digits:
                samples, rate = soundfile.read(f"{folder}/{d}_{speaker}_{rng.randint(0, 49)}.wav")
                parts += [level(voices.to_16k(samples, rate)), np.zeros(int(voices.RATE * rng.uniform(0.04, 0.2)))]
            clips.add(f"fsdd-{speaker}-{i:03d}", f"fsdd-{speaker}", "human", " ".join(DIGIT_NAMES[d] for d in digits), np.concatenate(parts[:-1]))


def human_prompts(clips, count, seed):
    """Numbers put together from the recorded prompts of a telephone exchange (one American woman)."""
    names = {str(i): w for i, w in enumerate(DIGIT_NAMES)} | {"oh": "oh", "hundred": "hundred", "thousand": "thousand"}
    names |= {str(10 + i): w for i, w in enumerate(sentences.TEENS)} | {str(20 + 10 * i): w for i, w in enumerate(sentences.TENS)}
    files = {w: f"{PROMPTS}/digits/{n}.wav" for n, w in names.items()}
    sampler = sentences.Sampler(seed)
    done = 0
    while done < count:
        text = sampler.number()
        if not all(w in files for w in text.split()):
            continue
        parts = []
        for w in text.split():
            samples, rate = soundfile.read(files[w])
            x = voices.to_16k(samples, rate)
            x = voices.trimmed(x, margin=800, level=0.01)
            parts += [level(x), np.zeros(int(voices.RATE * sampler.rng.uniform(0.02, 0.12)))]
        clips.add(f"prompt-{done:03d}", "prompts", "human", text, np.concatenate(parts[:-1]))
        done += 1
    others = [f for f in sorted(glob.glob(f"{PROMPTS}/*.wav")) if os.path.getsize(f) > 24000]
    random.Random(seed).shuffle(others)
    for f in others[:80]:
        samples, rate = soundfile.read(f)
        x = voices.to_16k(samples, rate)[:6 * voices.RATE]
        clips.add("talk-" + os.path.basename(f)[:-4], "prompts", "not for us", "", x)


def human_talk(clips):
    for f in sorted(glob.glob(f"{READERS}/librivox/*.wav")) + sorted(glob.glob(f"{READERS}/cards/*.wav")):
        samples, rate = soundfile.read(f)
        x = voices.to_16k(samples, rate)
        for k in range(0, max(1, len(x) - 2 * voices.RATE), 3 * voices.RATE):
            clips.add(f"talk-{os.path.basename(f)[:-4]}-{k // voices.RATE}", "readers", "not for us", "", x[k:k + 3 * voices.RATE])
    raw = np.fromfile(f"{READERS}/tidigits/dhd.2934z.raw", "<i2") / 32768
    clips.add("real-2934z", "tidigits", "human", "two nine three four zero", raw)


def main(sentence_dir, fsdd, out, part):
    os.makedirs(out, exist_ok=True)
    texts = json.load(open(f"{sentence_dir}/{part}.json"))
    graph = decoder.reading_graph()
    texts = [t for t in texts if graph.accepts(t)]              # leaves out nonsense like "socket nineteen volts"
    test, selection = holdout.fsdd_speakers(os.path.basename(f).split("_")[1] for f in glob.glob(f"{fsdd}/*.wav"))
    clips = Clips()
    if part == "test":
        synthetic(clips, part, TEST_VOICES, texts)
        human_digits(clips, fsdd, test, 75, holdout.SENTENCE_TEST_SEED)
        human_prompts(clips, 100, holdout.SENTENCE_TEST_SEED + 1)
        human_talk(clips)
    else:
        synthetic(clips, part, SELECTION_VOICES, texts)
        human_digits(clips, fsdd, selection, 60, holdout.SENTENCE_SELECTION_SEED)
    clips.write(out, part)


if __name__ == "__main__":
    main(*sys.argv[1:5])

"""People's recorded words for training and for choosing: lone words as they are, digits joined to strings of one speaker.

    python people.py train DIR OUT_DIR COUNT PART [GATED]       COUNT utterances a part; parts draw otherwise (one core each); GATED: part of
                                                        the strings that a line left so (gated)
    python people.py noises DIR OUT.npy                 the noises that came with them, a second each
    python people.py selection DIR OUT_DIR              people.npz and people.json, as train.py wants its selection set

DIR holds clips.tsv (path, speaker, transcript, ...) and the recordings. Output of `train`: OUT_DIR/people-PART_N.npz as speak_fast.py
writes them, voices named "ppl3:string", "ppl3:digit" and "ppl3:word": the number is the fold of the speaker (holdout.fold).

The recordings are mostly of zero, one, five and eight: every digit is drawn equally often here, whatever there is of it. Words
that are none of ours keep their own phones. Before and after each lies some of the clip's own floor: noise with the
spectrum of its quietest part.
"""
import csv
import json
import sys
import zlib

import numpy as np
import soundfile

import holdout
import lexicon
import voices

DIGITS = "zero one two three four five six seven eight nine".split()
OURS = DIGITS + ["yes"]
SHARD = 400
MIX = (("string", 0.55), ("digit", 0.17), ("word", 0.28))
STRANGER_IN_STRING = 0.12            # a string at times holds a word that is no digit


def clips(folder):
    """[(speaker, word, path)] of what has a transcript whose words the dictionary knows."""
    with open(f"{folder}/clips.tsv") as f:
        rows = list(csv.DictReader(f, delimiter="\t", quoting=csv.QUOTE_NONE))
    known = lambda text: text and lexicon.knows(text)
    return [(r["speaker"], r["transcript"].strip().lower(), f"{folder}/{r['path']}") for r in rows if known(r["transcript"].strip().lower())]


def read(path):
    x, rate = soundfile.read(path)
    return voices.to_16k(x if x.ndim == 1 else x.mean(1), rate)


class Take:
    """One recording: the word cut out of it, and noise like that around it."""

    def __init__(self, path):
        x = read(path)
        self.usable = np.abs(x).max() > 0.005
        energy = np.sqrt(np.convolve(x ** 2, np.ones(160) / 160, "same"))
        loud = np.nonzero(energy > 0.08 * energy.max())[0]
        if not self.usable or len(loud) < 800:
            self.usable = False
            return
        self.word = x[max(0, loud[0] - 960):loud[-1] + 1280]
        frames = x[:len(x) // 320 * 320].reshape(-1, 320)
        power = (frames ** 2).sum(1)
        quiet = frames[np.argsort(power)[:max(2, len(frames) // 8)]]
        quiet = quiet[(quiet ** 2).sum(1) > 0]
        self.spectrum = np.sqrt((np.abs(np.fft.rfft(quiet * np.hanning(320))) ** 2).mean(0)) if len(quiet) else np.full(161, 1e-4)
        self.level = max(1e-4, np.sqrt((quiet ** 2).mean()) if len(quiet) else 0)

    def floor(self, n, rng):
        if n <= 0:
            return np.zeros(0)
        f = np.fft.rfft(rng.normal(size=max(n, 320)))
        x = np.fft.irfft(f * np.interp(np.linspace(0, 160, len(f)), np.arange(161), self.spectrum), max(n, 320))[:n]
        return x / max(1e-9, x.std()) * self.level


def padded(take, rng, low=3200, high=6400):
    """The word with 0.2 to 0.4 s of its own floor on either side."""
    return np.concatenate([take.floor(int(rng.integers(low, high)), rng), take.word, take.floor(int(rng.integers(low, high)), rng)])


def close(x, level=0.08, before=160, after=480):
    """A word without the room that Take leaves around it."""
    energy = np.sqrt(np.convolve(x ** 2, np.ones(160) / 160, "same"))
    loud = np.nonzero(energy > level * energy.max())[0]
    return x[max(0, loud[0] - before):loud[-1] + after]


def gated(takes, rng):
    """The same as a line leaves it that passes nothing between words: cut close, gaps of 0.03 to 0.25 s that are nearly still."""
    out = [np.zeros(int(rng.integers(400, 6400)))]
    loud = float(np.median([np.abs(t.word).max() for t in takes]))
    for take in takes:
        step = float(rng.uniform(0.95, 1.06))
        y = close(take.word)
        y = np.interp(np.arange(0, len(y) - 1, step), np.arange(len(y)), y)
        out += [y / np.abs(y).max() * loud * 10 ** (rng.uniform(-3, 3) / 20), np.zeros(int(rng.integers(480, 4000)))]
    out.append(np.zeros(int(rng.integers(400, 6400))))
    x = np.concatenate(out)
    return x + rng.normal(0, loud * 10 ** (-rng.uniform(45, 75) / 20), len(x))


def joined(takes, rng, vary=True):
    """Words of one speaker as if said in one breath: gaps from -0.09 to 0.3 s, edges that overlap."""
    first = takes[0]
    loud = float(np.median([np.abs(t.word).max() for t in takes]))
    out = [first.floor(int(rng.integers(3200, 6400)), rng)]
    for i, take in enumerate(takes):
        y = take.word / np.abs(take.word).max() * loud
        if vary:                                             # the same take twice must not be the same sound twice
            step = float(rng.uniform(0.95, 1.06))
            y = np.interp(np.arange(0, len(y) - 1, step), np.arange(len(y)), y) * 10 ** (rng.uniform(-3, 3) / 20)
        gap = int(rng.integers(-1440, 4800)) if i else 0
        if gap < 0 and len(out[-1]) > -2 * gap and len(y) > -2 * gap:
            fade = np.linspace(1, 0, -gap)
            out[-1][gap:] = out[-1][gap:] * fade + y[:-gap] * (1 - fade)
            y = y[-gap:]
        elif gap > 0:
            out.append(first.floor(gap, rng))
        out.append(np.array(y))
    out.append(first.floor(int(rng.integers(3200, 6400)), rng))
    return np.concatenate(out)


class People:
    def __init__(self, folder):
        self.takes, self.of_speaker, self.of_word = {}, {}, {}
        for speaker, word, path in clips(folder):
            take = Take(path)
            if take.usable:
                self.of_speaker.setdefault(speaker, {}).setdefault(word, []).append(take)
                self.of_word.setdefault(word, []).append((speaker, take))
        self.strangers = sorted(w for w in self.of_word if w not in OURS)

    def count(self, words):
        return sum(len(self.of_word.get(w, ())) for w in words)


def train(folder, out, count, part, still=0.0):
    assert holdout.may_train_on_people(folder), folder
    people = People(folder)
    rng = np.random.default_rng(zlib.crc32(f"people{part}".encode()))
    pick = lambda things: things[int(rng.integers(len(things)))]
    # Strangers by how often they were said, but a rare one counts as ten.
    share = np.array([max(10, len(people.of_word[w])) for w in people.strangers], float)
    share /= share.sum()
    buffer, shard, said = [], 0, 0.0

    def string():
        size = int(rng.choice([2, 3, 4, 5], p=[0.3, 0.38, 0.22, 0.1]))
        speaker, take = pick(people.of_word[pick(DIGITS)])   # a digit first, then who says it: each digit alike
        theirs = people.of_speaker[speaker]
        theirs_digits = [w for w in theirs if w in DIGITS]
        said_first = next(w for w in theirs_digits if any(t is take for t in theirs[w]))
        weight = np.array([1 / people.count([w]) ** 0.5 for w in theirs_digits])
        words = [said_first] + [theirs_digits[int(rng.choice(len(weight), p=weight / weight.sum()))] for _ in range(size - 1)]
        strange = [w for w in theirs if w in people.strangers]
        if strange and rng.random() < STRANGER_IN_STRING:
            words[-1] = pick(strange)
        rng.shuffle(words)
        takes = [pick(theirs[w]) for w in words]
        return (gated if still and rng.random() < still else joined)(takes, rng), " ".join(words), speaker

    def flush():
        nonlocal buffer, shard
        np.savez(f"{out}/people-{part}_{shard:03d}.npz", x=np.concatenate([b[0] for b in buffer]), n=[len(b[0]) for b in buffer],
                 t=[b[1] for b in buffer], g=[b[2] for b in buffer])
        buffer, shard = [], shard + 1

    for i in range(count):
        kind = MIX[int(rng.choice(len(MIX), p=[m[1] for m in MIX]))][0]
        if kind == "string":
            x, text, speaker = string()
        else:
            text = pick(OURS) if kind == "digit" else people.strangers[int(rng.choice(len(share), p=share))]
            speaker, take = pick(people.of_word[text])
            x = padded(take, rng)
        said += len(x) / 57.6e6
        buffer.append((voices.int16(x / np.abs(x).max() * 0.7), text, f"ppl{holdout.fold(speaker)}:{kind}"))
        if len(buffer) == SHARD or i == count - 1:
            flush()
    print(f"people {part}: {count} utterances, {said:.2f} h, {len(people.of_speaker)} speakers", flush=True)


def noises(folder, out):
    with open(f"{folder}/clips.tsv") as f:
        rows = [r for r in csv.DictReader(f, delimiter="\t", quoting=csv.QUOTE_NONE) if not r["transcript"].strip()]
    found = [np.resize(read(f"{folder}/{r['path']}"), voices.RATE) for r in rows]
    found = [x / x.std() for x in found if x.std() > 1e-4]
    np.save(out, np.stack(found).astype(np.float32))
    print(len(found), "noises")


def strings_of(people, seed, each):
    """[(speaker, [words], samples)]: `each` strings of two to four digits of every speaker with two digits or more."""
    found = []
    for speaker in sorted(people.of_speaker):
        theirs = people.of_speaker[speaker]
        digits = sorted(w for w in theirs if w in DIGITS)
        if sum(len(theirs[w]) for w in digits) < 2:
            continue
        rng = np.random.default_rng(zlib.crc32(f"{seed}{speaker}".encode()))
        weight = np.array([1 / people.count([w]) ** 0.7 for w in digits])
        for _ in range(each):
            words = [digits[int(rng.choice(len(digits), p=weight / weight.sum()))] for _ in range(int(rng.integers(2, 5)))]
            takes = [theirs[w][int(rng.integers(len(theirs[w])))] for w in words]
            found.append((speaker, words, joined(takes, rng, vary=len(set(map(id, takes))) < len(takes))))
    return found


def half(speaker):
    """Which half of the speakers chooses: 'a' or 'b'."""
    return "ab"[zlib.crc32(speaker.encode()) & 1]


def selection(folder, out):
    people, clips_, entries = People(folder), [], []
    rng = np.random.default_rng(holdout.SENTENCE_SELECTION_SEED)

    def add(x, kind, speaker, text):
        clips_.append(voices.int16(x / np.abs(x).max() * 0.7))
        entries.append(dict(voice=f"people-{kind}-{half(speaker)}", speaker=speaker, text=text, labels=phones(text)))

    for word in sorted(people.of_word):
        for speaker, take in people.of_word[word]:
            add(padded(take, rng), "own" if word in OURS else "strange", speaker, word)
    for speaker, words, x in strings_of(people, "selection", 4):
        add(x, "string", speaker, " ".join(words))
    np.savez(f"{out}/people.npz", x=np.concatenate(clips_), n=[len(c) for c in clips_])
    with open(f"{out}/people.json", "w") as f:
        json.dump(entries, f, separators=(",", ":"))
    print(len(clips_), "clips to choose by")


def phones(text):
    index = {p: i for i, p in enumerate(lexicon.PHONES)}
    return [index[p] for w in text.split() for p in lexicon.words()[w]]


if __name__ == "__main__":
    verb, *a = sys.argv[1:]
    if verb == "train":
        train(a[0], a[1], int(a[2]), a[3], *map(float, a[4:5]))
    else:
        {"noises": noises, "selection": selection}[verb](*a)

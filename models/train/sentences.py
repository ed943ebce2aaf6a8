"""What the voices are asked to say: sentences of the trade, confusable numbers, and general English.

    python sentences.py OUT_DIR      writes train.json, selection.json, test.json (word lists, lower case)

Test and selection sentences are drawn first, from their own seeds; training lists then leave them out
(holdout.is_held_sentence).
"""
import importlib
import inspect
import json
import os
import pkgutil
import random
import re
import sys

import holdout
import jsgf_sample
import lexicon

DIGITS = "one two three four five six seven eight nine".split()
ZEROS = ["zero", "zero", "oh", "oh", "nought"]
TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()
# Digits that are mistaken for each other are said more often.
HARD_DIGITS = "one two three four four four five five six six seven eight eight nine nine oh oh zero nought".split()
TEEN_OR_TY = [("thirteen", "thirty"), ("fourteen", "forty"), ("fifteen", "fifty"), ("sixteen", "sixty"),
              ("seventeen", "seventy"), ("eighteen", "eighty"), ("nineteen", "ninety")]
SPOKEN_ICAO = {"three": "tree", "four": "fower", "five": "fife", "nine": "niner"}

UNITS = ["ohms", "ohms", "megohms", "megohms", "meg", "milliamps", "milliseconds", "volts", "kiloamps", "amps"]
RELATIONS = ["greater than", "more than", "over", "less than", "under"]
PAIRS = ["line to neutral", "line to earth", "neutral to earth", "line neutral", "line earth", "neutral earth",
         "live to neutral", "live to earth", "live and neutral to earth", "line and neutral to earth",
         "line one to line two", "line two to line three", "line one to line three", "line one to neutral",
         "line two to neutral", "line three to neutral", "line one to earth", "line two to earth",
         "line three to earth", "l one to l two", "l two to l three", "l one to l three", "l one to n",
         "l two to earth", "l to n", "l to e", "n to e", "earth to neutral", "neutral to line"]
PLACES = ["socket", "socket", "socket", "switch", "lamp", "spur", "fan", "heater", "dimmer", "alarm", "timer", "outlet",
          "luminaire", "light", "cooker", "hob", "shower", "pump", "boiler", "motor", "isolator", "drill",
          "shaver point", "thermostat", "smoke alarm", "immersion heater", "fused spur", "extractor fan"]
NUMBERED = DIGITS + TEENS[:3] + ["four", "five", "six", "eight", "fifteen", "sixteen"]
CONDUCTORS = ["neutral", "neutral", "line", "both neutrals", "both lines", "earth", "live", "lamp", "line and neutral",
              "neutral and line", "both earths", "cpc"]
PARKED = ["", "", "", " in a connector", " in connectors", " in one connector", " parked", " taped up"]
REPLIES = """affirm|affirm|affirm|negative|negative|correction|correction|disregard|say again|say again please|stand by|
carry on|where are we|what is out|how long is left|how long left|finish|pause|resume|skip|skip this|not tested|
limitation|isolated|locked off|proved|indicator proved|dead|dead|live|done|energised|shorted|open|connected|
nothing connected|leads open|leads shorted|polarity correct|polarity reversed|reversed|tripped|no trip|did not trip|
over range|off scale|open circuit|short circuit|note|end of note|quieter|slower|louder|faster|yes|no|next|
previous|go back|back|repeat|undo|cancel|confirm|read back|help|all back|nothing out|everything back|ready|
test button works|phase sequence correct|cover on|covers off|covers on|lock off|locks off|lock on|
earthing conductor off|earthing conductor on|earthing conductor back on|lamp out|lamps out|lamp back|line and neutral linked|
linked|unlinked|link removed|switched on|switched off|bridged|bridge removed|r one|r two|r n|r one plus r two|
r one and r two|end to end|ring end to end|r one end to end|r two end to end|ring continuity|go to ring continuity|
go to insulation resistance|go to polarity|go to continuity|go to dead tests|go to live tests|
insulation resistance|loop impedance|earth fault loop|prospective fault current|trip time|phase sequence|
functional check|because no access|no access|customer refused|not accessible|electronics connected|out of scope|
not applicable|fail|pass|look again|test again|discharge|discharged|cover off|wait|one moment|hold on""".replace("\n", "").split("|")


class Sampler:
    """Draws sentences of the trade. One seed gives one endless, repeatable stream."""

    def __init__(self, seed):
        self.rng = random.Random(seed)

    def chance(self, p):
        return self.rng.random() < p

    def pick(self, options):
        return self.rng.choice(options)

    # ---- numbers
    def digit(self, hard=False):
        if hard:
            return self.pick(HARD_DIGITS)
        return self.pick(DIGITS * 3 + ZEROS)

    def digit_string(self, longest=6, hard=False):
        count = self.pick([n for n in (1, 1, 2, 2, 3, 3, 3, 4, 4, 5, 6) if n <= longest])
        digits = [self.digit(hard) for _ in range(count)]
        if self.chance(0.07):
            digits = [SPOKEN_ICAO.get(d, d) for d in digits]
        return digits

    def repeated(self):
        parts = [self.pick(["double", "double", "triple"]), self.digit()]
        if self.chance(0.3):
            parts = parts + [self.digit()]
        elif self.chance(0.3):
            parts = [self.digit()] + parts
        return parts

    def below_hundred(self):
        if self.chance(0.45):
            return [self.pick(self.pick(TEEN_OR_TY))]
        if self.chance(0.3):
            return [self.pick(TEENS)]
        return [self.pick(TENS)] + ([self.pick(DIGITS)] if self.chance(0.75) else [])

    def hundreds(self):
        parts = [self.pick(DIGITS + ["a"]), "hundred"]
        if self.chance(0.65):
            parts += ["and"] if self.chance(0.75) else []
            parts += self.below_hundred() if self.chance(0.8) else [self.pick(DIGITS)]
        return parts

    def thousands(self):
        parts = [self.pick(["one", "two", "a", "three"]), "thousand"]
        if self.chance(0.4):
            parts += self.hundreds()
        elif self.chance(0.3):
            parts += ["and"] + self.below_hundred()
        return parts

    def colloquial(self):
        if self.chance(0.75):
            return [self.pick(DIGITS)] + self.below_hundred()
        if self.chance(0.5):
            return [self.pick(DIGITS), "oh", self.pick(DIGITS)]
        return [self.pick(TEENS)] + self.below_hundred()

    def fraction(self):
        if self.chance(0.1):
            return ["double", self.digit()]
        return [self.digit(hard=self.chance(0.4)) for _ in range(self.pick([1, 2, 2, 2, 3]))]

    def number(self):
        r = self.rng.random()
        point = "decimal" if self.chance(0.12) else "point"
        if r < 0.30:
            whole = self.pick([[self.pick(["zero", "oh", "nought"])]] * 3 + [[self.pick(DIGITS)]] * 3
                              + [self.below_hundred(), self.digit_string(3), self.hundreds()])
            parts = whole + [point] + self.fraction()
        elif r < 0.40:
            parts = [point] + self.fraction()
        elif r < 0.62:
            parts = self.digit_string(4, hard=self.chance(0.5))
        elif r < 0.68:
            parts = self.repeated()
        elif r < 0.78:
            parts = self.hundreds()
        elif r < 0.83:
            parts = self.thousands()
        elif r < 0.93:
            parts = self.colloquial()
        else:
            parts = self.below_hundred()
        return " ".join(parts)

    # ---- whole utterances
    def reading(self):
        parts = []
        if self.chance(0.45):
            parts.append(self.pick(PAIRS[:3] if self.chance(0.6) else PAIRS))
        if self.chance(0.08):
            return " ".join(parts + [self.pick(["over range", "off scale", "open circuit", "no reading"])])
        if self.chance(0.30):
            parts.append(self.pick(RELATIONS))
        parts.append(self.number())
        if self.chance(0.5):
            parts.append(self.pick(UNITS))
        return " ".join(parts)

    def alteration(self):
        place = f"{self.pick(PLACES)} {self.pick(NUMBERED)}"
        conductor = self.pick(CONDUCTORS)
        forms = [f"{conductor} out at {place}{self.pick(PARKED)}"] * 4 + [f"{conductor} back at {place}"] * 3 + [
            f"{conductor} disconnected at {place}{self.pick(PARKED)}", f"{conductor} reconnected at {place}",
            f"{place} removed", f"{place} refitted", f"{place} unplugged", f"line and neutral linked at {place}",
            f"unlinked at {place}", f"lamp out at {place}", f"lamp back at {place}", f"cover off at {place}",
            f"cover on at {place}", f"{place} switched off", f"{place} linked", f"{place} done"]
        return self.pick(forms)

    def reply(self):
        r = self.rng.random()
        if r < 0.62:
            return self.pick(REPLIES)
        if r < 0.72:
            return "correction " + self.reading()
        if r < 0.76:
            return "negative " + self.reading()
        if r < 0.84:
            return f"{self.pick(['circuit', 'circuit', 'go to circuit', 'board', 'go to board'])} {self.pick(NUMBERED)}"
        if r < 0.88:
            return f"note {self.alteration()} end of note"
        if r < 0.92:
            return f"{self.pick(['tripped', 'tripped at', 'trip time'])} {self.number()} {self.pick(['', 'milliseconds'])}".strip()
        if r < 0.96:
            return f"not tested {self.pick(['no access', 'electronics connected', 'customer refused', 'live'])}"
        return f"{self.pick(PAIRS[:3])} {self.pick(['dead', 'dead', 'live', 'not tested', 'over range', 'linked'])}"

    def contrast(self):
        """Short and easily confused: the errors that cost most."""
        r = self.rng.random()
        if r < 0.35:
            digits = self.digit_string(6, hard=True)
            if len(digits) > 1 and self.chance(0.3):
                digits.insert(self.rng.randint(1, len(digits) - 1), "point")
            return " ".join(digits)
        if r < 0.55:
            number = self.pick(self.pick(TEEN_OR_TY))
            lead = self.pick(["", "", "circuit ", "one ", "two ", "nine ", "over ", "under ", "a hundred and ",
                              "two hundred and ", "line to earth ", "socket ", "nought point "])
            tail = f" {self.pick(DIGITS)}" if number.endswith("ty") and self.chance(0.3) else ""
            return lead + number + tail + self.pick(["", "", " ohms", " milliamps", " volts", " milliseconds"])
        if r < 0.70:
            return f"{self.pick(['zero', 'nought', 'oh'])} point {' '.join(self.pick(HARD_DIGITS) for _ in range(self.pick([1, 2, 2, 3])))}"
        if r < 0.78:
            return f"{self.pick(RELATIONS)} {' '.join(self.digit_string(3, hard=True))}"
        if r < 0.86:
            repeat = self.pick(["nine", "nine", "five", "four", "eight", "two", "zero"])
            return " ".join([repeat] * self.pick([2, 3, 3, 4]))
        return self.pick(HARD_DIGITS) if self.chance(0.5) else " ".join(self.pick(HARD_DIGITS) for _ in range(2))

    def sentence(self):
        r = self.rng.random()
        if r < 0.42:
            return self.reading()
        if r < 0.58:
            return self.contrast()
        if r < 0.72:
            return " ".join(self.digit_string(6, hard=self.chance(0.5)))
        if r < 0.84:
            return self.alteration()
        return self.reply()


def doubtful(rng):
    """What non-rhotic British voices were misheard in most: four and five, fifteen and fifty, an "oh" that is swallowed."""
    lead = rng.choice(["", "", "", "line to earth ", "line to neutral ", "neutral to earth ", "over ", "under ", "greater than "])
    tail = rng.choice(["", "", "", " ohms", " megohms", " volts", " milliamps", " milliseconds"])
    few = lambda words, most: [rng.choice(words) for _ in range(rng.randint(1, most))]
    r = rng.random()
    if r < 0.4:
        digits = few(["four", "four", "four", "five", "five", "nine", "oh", "one"], 4)
        if len(digits) > 1 and rng.random() < 0.3:
            digits.insert(rng.randint(1, len(digits) - 1), "point")
        return lead + " ".join(digits) + tail
    if r < 0.7:
        number = rng.choice(rng.choice(TEEN_OR_TY))
        before = rng.choice(["", "", "one ", "two ", "four ", "a hundred and ", "two hundred and ", "four hundred and "])
        return lead + before + number + tail
    if r < 0.9:
        first = rng.choice(["oh", "oh", "nought", "zero"])
        return lead + " ".join([first, "point", *few(["oh", "oh", "four", "five", "one", "three", "seven"], 3)]) + tail
    digits = few(DIGITS, 3)
    digits.insert(rng.randint(1, len(digits)), "oh")
    return lead + " ".join(digits + few(DIGITS, 1)) + tail


# ------------------------------------------------------------------------------------ general English
def library_sentences():
    """Plain sentences from the docstrings of Python's own standard library, words of the dictionary only."""
    found = set()
    for module in sorted(m.name for m in pkgutil.iter_modules([os.path.dirname(inspect.__file__)])):
        if module.startswith("_") or module in {"antigravity", "this", "idlelib", "turtledemo", "test", "lib2to3", "tkinter"}:
            continue
        try:
            loaded = importlib.import_module(module)
        except BaseException:
            continue
        texts = [loaded.__doc__ or ""]
        for member in vars(loaded).values():
            if inspect.isclass(member) or inspect.isroutine(member):
                texts.append(inspect.getdoc(member) or "")
                if inspect.isclass(member):
                    texts += [inspect.getdoc(v) or "" for v in vars(member).values() if callable(v)]
        for text in texts:
            for match in re.findall(r"[A-Z][a-z' ,]{15,110}[a-z][.?!]", re.sub(r"\s+", " ", text)):
                spoken = " ".join(re.findall(r"[a-z']+", match.lower()))
                if 3 <= len(spoken.split()) <= 14 and lexicon.knows(spoken):
                    found.add(spoken)
    return sorted(found)


class Salad:
    """Random dictionary words, for phone sequences that the trade never uses."""

    def __init__(self, seed, common):
        self.rng = random.Random(seed)
        self.words = [w for w in lexicon.words() if w.isalpha() and 3 <= len(w) <= 9 and w in common]

    def sentence(self):
        return " ".join(self.rng.choice(self.words) for _ in range(self.rng.randint(2, 6)))


def common_words():
    """Words in the hand-checked part of the neural voice's British lexicon: spellings a voice reads right."""
    import gzip
    import hibari
    path = os.path.join(os.path.dirname(hibari.__file__), "assets", "lexicon_gb_gold.json.gz")
    with gzip.open(path, "rt", encoding="utf-8") as f:
        return {w for w in json.load(f) if w.islower()}


def unique(draw, count, keep=lambda s: True):
    seen, out = set(), []
    while len(out) < count:
        s = draw()
        if s not in seen and lexicon.knows(s) and keep(s):
            seen.add(s)
            out.append(s)
    return out


def main(out):
    os.makedirs(out, exist_ok=True)
    test_sampler, selection_sampler = Sampler(holdout.SENTENCE_TEST_SEED), Sampler(holdout.SENTENCE_SELECTION_SEED)
    test = unique(test_sampler.sentence, 2000)
    selection = unique(selection_sampler.sentence, 1000)
    held = set(test) | set(selection)
    sampler = Sampler(holdout.SENTENCE_TRAIN_SEED)
    fresh = lambda s: not holdout.is_held_sentence(s, held)
    rng = random.Random(holdout.SENTENCE_TRAIN_SEED + 1)
    doubt = random.Random(holdout.SENTENCE_TRAIN_SEED + 4)
    general = library_sentences()
    rng.shuffle(general)
    salad = Salad(holdout.SENTENCE_TRAIN_SEED + 2, common_words())
    train = {
        "trade": [s for s in (sampler.sentence() for _ in range(40000)) if lexicon.knows(s) and fresh(s)],
        "contrast": [s for s in (sampler.contrast() for _ in range(12000)) if lexicon.knows(s) and fresh(s)],
        "grammar": [s for s in jsgf_sample.sample(30000, holdout.SENTENCE_TRAIN_SEED + 3) if lexicon.knows(s) and fresh(s)],
        "general": general,
        "salad": [salad.sentence() for _ in range(6000)],
        "doubtful": [s for s in (doubtful(doubt) for _ in range(8000)) if lexicon.knows(s) and fresh(s)],
    }
    for name, value in (("train", train), ("selection", selection), ("test", test)):
        with open(os.path.join(out, f"{name}.json"), "w") as f:
            json.dump(value, f)
    unknown = {w for r in REPLIES + PAIRS + PLACES for w in r.split()} - set(lexicon.words())
    print({k: len(v) for k, v in train.items()}, "selection", len(selection), "test", len(test), "unknown words", unknown)


if __name__ == "__main__":
    main(sys.argv[1])

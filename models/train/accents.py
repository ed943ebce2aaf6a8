"""Phoneme strings for the many-voice neural model, with the accents it was never given a voice for.

The strings use the alphabet of the model (misaki conventions: A = eɪ, I = aɪ, O = oʊ, Q = əʊ, W = aʊ, Y = ɔɪ).
Each rule below is a well-known feature of some British or Irish accent, or of the English of people whose first language is another;
rules are drawn at random, a voice at a time, so the set covers mixtures rather than caricatures.
"""
import re

# How a person says what we write.
SPELLED = [(" megohms ", " meg ohms "), (" megohm ", " meg ohm "), (" kilohms ", " kil ohms "),
           (" kiloamps ", " kilo amps "), (" milliamps ", " milli amps "), (" milliohms ", " milli ohms "), (" milliohm ", " milli ohm "),
           (" kilohm ", " kil ohm "), (" kiloamp ", " kilo amp "), (" milliamp ", " milli amp "),
           (" cpc ", " C. P. C. "), (" rcd ", " R. C. D. "), (" r n ", " R. N. "), (" l ", " L. "), (" c p c ", " C. P. C. "), (" r c d ", " R. C. D. "),
           (" z ", " zed "), (" s ", " S. "), (" n ", " N. "),
           (" e ", " E. "), (" r ", " R. "), (" zs ", " zed S. "), (" ze ", " zed E. "), (" fower ", " foe-er ")]


def written(sentence):
    """Spelling that synthesisers read as an electrician would say it."""
    text = f" {sentence} "
    for plain, spelled in SPELLED:
        text = text.replace(plain, spelled)
    return text.strip()


class Accent:
    """A set of phoneme rules, drawn once for a voice and applied to all that it says."""

    def __init__(self, rng, foreign=0.0):
        """foreign: the part of the voices that learnt English as another language."""
        def on(p):
            return rng.random() < p
        if foreign and on(foreign):
            self.learnt(rng, on)
            return
        self.american = on(0.16)
        self.rhotic = not self.american and on(0.14)        # Scottish, Irish, West Country
        self.rules, self.name = [], "us" if self.american else "gb-rhotic" if self.rhotic else "gb"
        add = self.rules.append
        if self.american:
            return
        if self.rhotic:
            for pair in [("O", "Q"), ("ɑɹ", "ɑːɹ"), ("ɔɹ", "ɔːɹ"), ("ɜɹ", "ɜːɹ"), ("T", "t"), ("æ", "a")]:
                add(pair)
            if on(0.5):
                add(("Q", "oː" if on(0.5) else "O"))        # monophthong "oh"
            if on(0.4):
                add(("A", "eː"))                            # monophthong "eight"
            if on(0.3):
                add(("I", "ʌɪ"))                            # "nine", "five" with a higher start
            if on(0.3):
                add(("θ", "t"))                             # Irish "tree"
            return
        if on(0.30):                                        # the North and the Midlands
            self.name += "-north"
            for pair in [("ˈʌ", "ˈʊ"), ("ˌʌ", "ˌʊ"), ("ɑːs", "as"), ("ɑːθ", "aθ"), ("ɑːn", "an"), ("ɑːf", "af")]:
                add(pair)
            if on(0.5):
                add(("wˈʊn", "wˈɒn"))                       # "one" to rhyme with "gone"
            if on(0.3):
                add(("Q", "oː"))
            if on(0.3):
                add(("A", "eː"))
        elif on(0.25):                                      # London and the South East
            self.name += "-south"
            if on(0.5):
                add(("θ", "f"))
            add(("A", "ʌɪ") if on(0.4) else ("A", "æɪ"))
            if on(0.4):
                add(("I", "ɑɪ"))
            if on(0.4):
                add(("Q", "ʌʊ"))
            if on(0.5):
                add((r"ᵊl(?=[ ,.?!]|$)", "ʊ"))
        if on(0.15):
            add((r"t(?=[ ,.?!]|$)", "ʔ"))                   # glottal "eight"
        if on(0.15):
            add((r"(?<=[ːɪIAfn])t(?=i)", "ɾ"))              # tapped "forty"
        if on(0.15):
            add(("hˈ", "ˈ"))                                # dropped h
        if on(0.2):
            add(("njˈuː", "nˈuː"))                          # "noo-tral"
        if on(0.3):
            add(("zˈɪəɹ", "zˈiːɹ"))
        if on(0.08):
            add(("ɹ", "ʋ"))
        if on(0.10):
            add(("I", "Y"))                                 # West Midlands "noine"
        if on(0.06):
            add(("ɔː", "oː"))

    def __call__(self, british, american):
        phonemes = american if (self.american or self.rhotic) else british
        for pattern, replacement in self.rules:
            phonemes = re.sub(pattern, replacement, phonemes)
        return phonemes

    def learnt(self, rng, on):
        """Sounds that other languages lack, in the place of which their speakers say another."""
        self.american = on(0.4)
        self.rhotic = not self.american and on(0.5)
        self.rules, self.name = [], "us-learnt" if self.american else "gb-rhotic-learnt" if self.rhotic else "gb-learnt"
        add = self.rules.append
        if self.rhotic:
            add(("O", "Q"))
        if on(0.7):
            add(("θ", rng.choice("sstf")))
            add(("ð", rng.choice("zdd")))
        if on(0.4):
            add(("w", "v"))                                 # "vun"
        elif on(0.15):
            add(("v", "w"))                                 # "fiwe"
        if on(0.6):
            add(("ɹ", rng.choice("rɾʁʁɻ")))
        if on(0.5):
            add((r"ɪ(?!ə)", "i"))                           # "seex"
        if on(0.4):
            add(("iː", "i"))
        if on(0.45):
            add(("ʌ", rng.choice("aaɔ")))                   # "wan"
        if on(0.3):
            add(("æ", "ɛ"))
        if on(0.3):
            add(("ə(?!ʊ)", rng.choice(["ɛ", "a", "œ"])))    # "sevenn"
            add(("ᵊ", "ɛ"))
        if on(0.4):
            add(("A", rng.choice(["e", "eː", "ɛ"])))
        if on(0.4):
            add(("[OQ]", rng.choice(["o", "oː", "ɔ"])))
        if on(0.2):
            add(("I", "ai"))
        if on(0.4):                                         # voiced sounds at the end go silent
            for voiced, plain in zip("vzdbɡ", "fstpk"):
                add((rf"{voiced}(?=[ ,.?!]|$)", plain))
        if on(0.2):
            add(("h", ""))
        elif on(0.15):
            add(("h", "x"))
        if on(0.3):
            for dental, curled in rng.choice([("tʈ", "dɖ"), ("tt", "dd")]):
                add((dental, curled))
        if on(0.15):
            add(("(?<=[ptk])(?=ˈ?[ptks])", "ᵊ"))

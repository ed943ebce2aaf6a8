"""Words -> phones. One canonical (American dictionary) pronunciation a word, whatever the accent of the
voice that says it: the model learns that a Londoner's "four" and a Glaswegian's are both F AO R."""
import json
import os
import re
from functools import lru_cache

# Words that the dictionary lacks, or has in another sense.
EXTRA = {
    "affirm": "AH F ER M", "nought": "N AO T", "niner": "N AY N ER", "fower": "F OW ER",
    "fife": "F AY F", "megohm": "M EH G OW M", "megohms": "M EH G OW M Z", "kilohms": "K IH L OW M Z",
    "kiloamps": "K IH L OW AE M P S", "milliohms": "M IH L IY OW M Z", "milliamps": "M IH L IY AE M P S", "amps": "AE M P S",
    "ohm": "OW M", "ohms": "OW M Z", "unlinked": "AH N L IH NG K T", "luminaire": "L UW M AH N EH R",
    "cpc": "S IY P IY S IY", "rcd": "AA R S IY D IY", "energised": "EH N ER JH AY Z D",
    "reconnected": "R IY K AH N EH K T IH D", "refitted": "R IY F IH T IH D", "earthing": "ER TH IH NG",
    "meg": "M EH G", "l": "EH L", "n": "EH N", "e": "IY", "r": "AA R", "milliseconds": "M IH L IH S EH K AH N D Z",
    "unplugged": "AH N P L AH G D", "retest": "R IY T EH S T", "zs": "Z EH D EH S", "ze": "Z EH D IY",
    "noughts": "N AO T S", "nulled": "N AH L D", "kiloamp": "K IH L OW AE M P", "kilohm": "K IH L OW M",
    "milliohm": "M IH L IY OW M", "milliamp": "M IH L IY AE M P", "megs": "M EH G Z", "energise": "EH N ER JH AY Z",
    "energising": "EH N ER JH AY Z IH NG", "z": "Z EH D", "isolator": "AY S AH L EY T ER", "extractor": "IH K S T R AE K T ER", "earthed": "ER TH T", "hob": "HH AA B", "crossover": "K R AO S OW V ER",
}

PHONES = ["<b>", "AA", "AE", "AH", "AO", "AW", "AY", "B", "CH", "D", "DH", "EH", "ER", "EY", "F", "G", "HH",
          "IH", "IY", "JH", "K", "L", "M", "N", "NG", "OW", "OY", "P", "R", "S", "SH", "T", "TH", "UH", "UW",
          "V", "W", "Y", "Z", "ZH"]


@lru_cache
def words():
    """The CMU pronouncing dictionary as packaged with pocketsphinx, first pronunciations, plus EXTRA.

    On a machine without pocketsphinx, EAR_LEXICON names a file that dump() wrote."""
    if "EAR_LEXICON" in os.environ:
        return json.load(open(os.environ["EAR_LEXICON"]))
    import pocketsphinx
    table = {}
    with open(pocketsphinx.get_model_path("en-us/cmudict-en-us.dict")) as lines:
        for line in lines:
            word, *phones = line.split()
            if "(" not in word:
                table.setdefault(word, [re.sub(r"\d", "", p) for p in phones])
    for word, phones in EXTRA.items():
        table[word] = phones.split()
    return table


def knows(sentence):
    return all(w in words() for w in sentence.split())


def dump(path):
    """Write the dictionary for machines that have no pocketsphinx."""
    with open(path, "w") as f:
        json.dump(words(), f)

"""Who and what is kept out of training, in one place.

Every script that makes or reads speech asks this module, so a voice, speaker, noise or sentence that is
listed here cannot slip into the training set. The rules were fixed before the first model was trained.

TEST       is only ever measured on, and reported.
SELECTION  chooses between checkpoints, recipes and thresholds, and is not reported.
Everything else may be trained on.
"""
import os
import zlib

# ---------------------------------------------------------------------------------------------- voices
# A flite or festival voice is a real person's recordings, so all packagings of that person count as one.
FLITE_TEST = {"awb", "awb_time", "kal", "kal16"}
FLITE_TRAIN = {"rms", "slt"}
FESTIVAL_SELECTION = {"ked_diphone"}    # festvox-kdlpc16k; kal_diphone is the test speaker kal

# The small neural voice ("hibari") has one speaker. Neither its British nor its American speech is
# trained on, so it serves as an unseen speaker in both accents.
HIBARI_TEST = {"hib-gb", "hib-us"}

# espeak-ng: an accent or a voice variant that is listed here is never combined with anything in training.
ESPEAK_TEST_ACCENTS = {"en-gb-x-gbclan"}                    # Lancashire
ESPEAK_TEST_VARIANTS = {"f3", "m4", "linda", "edward", "edward2"}
ESPEAK_SELECTION_VARIANTS = {"f5", "m7", "benjamin", "steph", "steph2", "steph3"}
ESPEAK_UNNATURAL = ("robo", "whisper", "croak", "demonic", "unirobot", "tweaky", "anikarobot",
                    "klatt4", "klatt6")

# The many-voice neural model: worker 0 speaks the selection set with voice mixtures from its own seed.
NEURAL_SELECTION_WORKER = 0

# Human spoken digits (CC BY-SA 4.0). Of the speakers at hand, in alphabetical order, two are for
# selection (and for training of the comparison model "with FSDD" only) and two are for the test.
FSDD_TEST_INDEX = (1, 3)
FSDD_SELECTION_INDEX = (0, 2)


# People's recordings (people.py): those of the archive for training alone are trained on. Those of the archive for selection choose, half
# of its speakers at a time (people.half), and the digit speakers above are selection for stage 4: it trains on none of the four.
def may_train_on_people(folder):
    return "selection" not in os.path.basename(os.path.normpath(folder))


# Five models that each heard four fifths of those speakers (run_people.py folds) judge the words of the fifth left out.
PEOPLE_FOLDS = 5


def fold(speaker):
    return zlib.crc32(f"fold{speaker}".encode()) % PEOPLE_FOLDS


def fsdd_speakers(names):
    """Split the speaker names found on disk into (test, selection)."""
    order = sorted(set(names))
    test = [order[i] for i in FSDD_TEST_INDEX if i < len(order)]
    return test, [n for n in order if n not in test]


def espeak_voice_role(accent, variant):
    """'test', 'selection' or 'train' for an espeak-ng accent and variant (None for the plain voice)."""
    if accent in ESPEAK_TEST_ACCENTS or variant in ESPEAK_TEST_VARIANTS:
        return "test"
    if variant in ESPEAK_SELECTION_VARIANTS:
        return "selection"
    return "train"


# ------------------------------------------------------------------------------------------- sentences
# Test sentences of four words or more never occur in the training lists. Shorter ones (a digit or two,
# "affirm") cannot be kept out of a program's vocabulary and are not.
HELD_SENTENCE_WORDS = 4


def is_held_sentence(sentence, test_sentences):
    return len(sentence.split()) >= HELD_SENTENCE_WORDS and sentence in test_sentences


# ---------------------------------------------------------------------------------------------- noises
# Training noise is synthesised on the GPU (coloured noise, babble of training voices, hum, knocks).
# Test noise comes from generators with other formulas and seeds (noise.py): pink, babble of human
# recordings that are never trained on, drill, hum with a compressor, and a reverberant plant room.
NOISE_TEST_SEED = 90_000_001
NOISE_SELECTION_SEED = 70_000_001
SENTENCE_TEST_SEED = 424_242
SENTENCE_SELECTION_SEED = 515_151
SENTENCE_TRAIN_SEED = 20_261_125

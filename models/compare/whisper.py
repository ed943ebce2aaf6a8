"""Transcribes clips with a Whisper model: whisper.py MODEL_DIR OUT.tsv [--threads N] < list of paths

Writes, for each clip, up to five lines `path, log-probability of the whole text, text`, best first, and one line
`path, "seconds", processor seconds, length`.
"""
import sys
import time

from faster_whisper import WhisperModel
from faster_whisper.audio import decode_audio, pad_or_trim
from faster_whisper.tokenizer import Tokenizer

# The vocabulary, as a text that could stand before it: Whisper goes on in that style (words for figures). Forms and words
# of the grammar, with other values than the clips have.
PROMPT = (
    "Line to neutral over six eight six megohms. Live to earth greater than seven hundred and twenty one megohms. "
    "Neutral to earth, over range. Nought point seven six ohms. Oh point oh nine kilohms. Zero decimal one eight. "
    "Triple six. Double five. Niner. Thirteen milliseconds. Two point four kiloamps. Two hundred and thirty five volts. "
    "Line and neutral to earth under three. Affirm. Negative. Correction, nine six. Disregard. Say again. Stand by. "
    "Carry on. Where are we? What is out? Both neutrals back at socket nine. Line and neutral linked at light one. Lamp "
    "out at switch eight. Locked off. Dead. Indicator proved. Polarity correct. Tripped. Not tested, in use. Finish."
)


def main(folder, out, compute="int8"):
    model = WhisperModel(folder, device="cpu", compute_type=compute, cpu_threads=1, num_workers=1)
    tokenizer = Tokenizer(model.hf_tokenizer, model.model.is_multilingual, task="transcribe", language="en")
    before = tokenizer.encode(" " + PROMPT)
    prompt = model.get_prompt(tokenizer, before, without_timestamps=True)
    paths = [line.strip() for line in sys.stdin if line.strip()]
    with open(out + ".part", "w") as file:
        for n, path in enumerate(paths):
            sound = decode_audio(path, sampling_rate=16000)
            wall, started = time.time(), time.process_time()
            features = pad_or_trim(model.feature_extractor(sound))
            encoded = model.encode(features)
            result = model.model.generate(
                encoded, [prompt], beam_size=5, num_hypotheses=5, max_length=len(prompt) + 60,
                return_scores=True, return_no_speech_prob=True, length_penalty=1, repetition_penalty=1,
                suppress_blank=True, suppress_tokens=[t for t in tokenizer.non_speech_tokens] or None,
            )[0]
            took = time.process_time() - started
            for tokens, score in zip(result.sequences_ids, result.scores):
                text = tokenizer.decode([t for t in tokens if t < tokenizer.eot]).strip()
                # The score is a mean over tokens; the sum is what competes with the distance.
                file.write(f"{path}\t{score * (len(tokens) + 1):.3f}\t{' '.join(text.split())}\n")
            file.write(f"{path}\tseconds\t{took:.4f}\t{time.time() - wall:.4f}\t{len(sound) / 16000:.3f}\t"
                       f"{result.no_speech_prob:.4f}\n")
            if n % 20 == 0 or n + 1 == len(paths):
                print(f"\r   {n + 1} of {len(paths)}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    import os
    os.replace(out + ".part", out)


main(*sys.argv[1:])

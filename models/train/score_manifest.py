"""Write test clips as WAV files and a manifest for `bothhands score`.

    python score_manifest.py SET_DIR OUT_DIR CONDITION EVERY

Every EVERYth clip whose words the program's grammar takes (rule `anything`), and all talk that is not for it.
"""
import os
import sys

import numpy as np
import soundfile

import evaluate
import jsgf_sample


def main(set_dir, out, condition, every):
    os.makedirs(out, exist_ok=True)
    grammar, lines, count = jsgf_sample.Grammar(), [], 0
    for entry, samples in evaluate.samples_of(set_dir, "test"):
        if entry["text"]:
            if not grammar.accepts("steps.anything", entry["text"]):
                continue
            count += 1
            if count % every:
                continue
        x, _ = evaluate.in_condition(entry, samples, condition)
        soundfile.write(f"{out}/{entry['id']}.wav", (np.clip(x, -1, 1) * 32767).astype(np.int16), 16000)
        lines.append(f"{entry['id']}.wav\t{entry['text']}")
    open(f"{out}/manifest.tsv", "w").write("\n".join(lines) + "\n")
    print(condition, len(lines), "clips of", count)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], sys.argv[3], int(sys.argv[4]))

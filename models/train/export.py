"""Weights (npz) -> ONNX opset 17: fp32, and int8 with the matrices that can bear it.

    python export.py WEIGHTS.npz PREFIX [KEEP]

Input `mel` float32 [1, 80, T], output `logp` float32 [1, ceil(T/2), 40]. KEEP: names of matrices to leave in
fp32, comma separated (head, f2.3, ...). Dynamic quantisation, per channel, weights of 7 bits, sums in one order (same_sums.py says why).
"""
import math
import os
import sys

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper

import same_sums

HEAD = 64                                                    # numbers a head of attention


class Builder:
    def __init__(self, weights):
        self.w = {k: v.astype(np.float32) for k, v in weights.items()}
        self.width = len(self.w["lnf.weight"])
        self.heads = self.width // HEAD
        self.nodes, self.constants, self.count = [], [], 0

    def const(self, name, array):
        self.constants.append(numpy_helper.from_array(np.ascontiguousarray(array), name))
        return name

    def op(self, kind, inputs, output=None, **attributes):
        self.count += 1
        output = output or f"{kind}_{self.count}"
        self.nodes.append(helper.make_node(kind, inputs, [output], name=f"n{self.count}_{kind}", **attributes))
        return output

    def gelu(self, x):
        return self.op("Mul", [self.op("Mul", [x, "half"]), self.op("Add", [self.op("Erf", [self.op("Mul", [x, "root"])]), "one"])])

    def norm(self, x, name):
        return self.op("LayerNormalization", [x, self.const(name + ".g", self.w[name + ".weight"]),
                                              self.const(name + ".b", self.w[name + ".bias"])], axis=-1, epsilon=1e-5)

    def linear(self, x, name, weight, bias):
        product = self.op("MatMul", [x, self.const(name + ".w", weight.T)], output=name + ".product")
        return self.op("Add", [product, self.const(name + ".b", bias)])

    def conv(self, x, name, stride):
        return self.op("Conv", [x, self.const(name + "w", self.w[name + ".weight"]), self.const(name + "b", self.w[name + ".bias"])],
                       pads=[1, 1], strides=[stride], kernel_shape=[3])

    def positions(self):
        step = math.log(10000) / (self.width // 2 - 1)
        angle = np.arange(1500)[:, None] * np.exp(-step * np.arange(self.width // 2))[None]
        return np.concatenate([np.sin(angle), np.cos(angle)], 1).astype(np.float32)

    def model(self):
        for name, value in (("half", 0.5), ("one", 1.0), ("root", 1 / math.sqrt(2))):
            self.const(name, np.float32(value))
        for name, value in (("i0", [0]), ("i1", [1]), ("i2", [2]), ("split", [0, 0, self.heads, HEAD]), ("merge", [0, 0, self.width])):
            self.const(name, np.array(value, np.int64))
        x = self.gelu(self.conv("mel", "c1", 1))
        x = self.op("Transpose", [self.gelu(self.conv(x, "c2", 2))], perm=[0, 2, 1])
        length = self.op("Slice", [self.op("Shape", [x]), "i1", "i2", "i0"])
        x = self.op("Add", [x, self.op("Slice", [self.const("pos", self.positions()), "i0", length, "i0"])])
        layer = 0
        while f"qkv.{layer}.weight" in self.w:
            x = self.block(x, layer)
            layer += 1
        self.op("LogSoftmax", [self.linear(self.norm(x, "lnf"), "head", self.w["head.weight"], self.w["head.bias"])], "logp", axis=-1)
        graph = helper.make_graph(self.nodes, "phone_ctc",
                                  [helper.make_tensor_value_info("mel", TensorProto.FLOAT, [1, 80, "T"])],
                                  [helper.make_tensor_value_info("logp", TensorProto.FLOAT, [1, "T2", len(self.w["head.bias"])])], self.constants)
        model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=8)
        onnx.checker.check_model(model)
        return model

    def block(self, x, i):
        y = self.norm(x, f"ln1.{i}")
        weight, bias = self.w[f"qkv.{i}.weight"], self.w[f"qkv.{i}.bias"]
        parts = []
        for j, name in enumerate("qkv"):
            scale = np.float32(1 / math.sqrt(HEAD) if j == 0 else 1)
            rows = slice(j * self.width, (j + 1) * self.width)
            z = self.linear(y, f"{name}.{i}", weight[rows] * scale, bias[rows] * scale)
            parts.append(self.op("Transpose", [self.op("Reshape", [z, "split"])], perm=[0, 2, 3, 1] if j == 1 else [0, 2, 1, 3]))
        attention = self.op("Softmax", [self.op("MatMul", parts[:2])], axis=-1)
        joined = self.op("Reshape", [self.op("Transpose", [self.op("MatMul", [attention, parts[2]])], perm=[0, 2, 1, 3]), "merge"])
        x = self.op("Add", [x, self.linear(joined, f"o.{i}", self.w[f"o.{i}.weight"], self.w[f"o.{i}.bias"])])
        y = self.gelu(self.linear(self.norm(x, f"ln2.{i}"), f"f1.{i}", self.w[f"f1.{i}.weight"], self.w[f"f1.{i}.bias"]))
        return self.op("Add", [x, self.linear(y, f"f2.{i}", self.w[f"f2.{i}.weight"], self.w[f"f2.{i}.bias"])])


def main(weights, prefix, keep=""):
    from onnxruntime.quantization import QuantType, quantize_dynamic
    with np.load(weights) as z:
        model = Builder({k: z[k].astype(np.float16) for k in z.files}).model()
    onnx.save(model, prefix + ".fp32.onnx")
    kept = [f"{k}.product" for k in filter(None, keep.split(","))]
    exclude = [n.name for n in model.graph.node if n.output[0] in kept]
    assert len(exclude) == len(kept), (exclude, kept)
    quantize_dynamic(prefix + ".fp32.onnx", prefix + ".int8.onnx", op_types_to_quantize=["MatMul"], per_channel=True,
                     weight_type=QuantType.QInt8, nodes_to_exclude=exclude, reduce_range=True,
                     extra_options=dict(MatMulConstBOnly=True))
    model = onnx.load(prefix + ".int8.onnx")
    print(same_sums.same_sums(model))
    same_sums.save(model, prefix + ".int8.onnx")
    for kind in ("fp32", "int8"):
        path = f"{prefix}.{kind}.onnx"
        print(path, round(os.path.getsize(path) / 2 ** 20, 2), "MiB")


if __name__ == "__main__":
    main(*sys.argv[1:4])

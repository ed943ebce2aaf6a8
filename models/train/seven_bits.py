"""An int8 model whose weights need 7 bits: the same sums on every processor.

    python seven_bits.py MODEL.onnx OUT.onnx

Processors without a dot product of bytes (AVX2, and AVX-512 without VNNI) multiply an activation of 0 to 255 by a weight
and add two such products in 16 bits, saturating at 32767. Weights up to 127 in magnitude overflow that (2 x 255 x 127 =
64770), so that such a processor hears something else. Weights from -64 to 64 cannot (2 x 255 x 64 = 32640).

Every quantised matrix with a larger weight is halved, and its scales, one a column, are doubled. Halves are rounded to
the even neighbour: every odd weight lies just between two, and rounding all of them away from zero would make each column
louder. Zero points must be 0 (a doubled one would not be exact) and every matrix must belong to a MatMulInteger whose
scales can be found; anything else is an error. The same input gives the same bytes; a model that has 7 bits already comes
out with the same weights. export.py quantises to 7 bits from the fp32 weights, which is finer, and calls `check`.
"""
import sys

import numpy as np
import onnx
from onnx import numpy_helper

GREATEST = 64


def matrices(model):
    """For each MatMulInteger: the initialisers of its weights, of its zero points (or None) and of its scales."""
    graph = model.graph
    constants = {i.name: i for i in graph.initializer}
    users, makers = {}, {}
    for node in graph.node:
        for name in node.input:
            users.setdefault(name, []).append(node)
        for name in node.output:
            makers[name] = node
    found, known = [], set()
    for node in graph.node:
        if node.op_type != "MatMulInteger":
            continue
        weights, zeros = node.input[1], node.input[3] if len(node.input) > 3 else ""
        assert makers[node.input[0]].op_type == "DynamicQuantizeLinear", node.name
        cast, = users[node.output[0]]
        product, = users[cast.output[0]]
        assert (cast.op_type, product.op_type) == ("Cast", "Mul"), node.name
        other, = set(product.input) - set(cast.output)
        scales, = [name for name in makers[other].input if name in constants]
        assert makers[other].op_type == "Mul" and users[weights] == [node] and users[scales] == [makers[other]], node.name
        found.append((constants[weights], constants[zeros] if zeros else None, constants[scales]))
        known |= {weights, zeros}
    for name, constant in constants.items():
        eight = constant.data_type in (onnx.TensorProto.INT8, onnx.TensorProto.UINT8)
        assert not eight or name in known, f"{name}: a quantised tensor that belongs to no MatMulInteger"
    return found


def check(model):
    """Fails when a weight needs more than 7 bits, or a zero point is not 0."""
    for weights, zeros, scales in matrices(model):
        values = numpy_helper.to_array(weights)
        assert values.dtype == np.int8, weights.name
        assert zeros is None or not numpy_helper.to_array(zeros).any(), f"{weights.name}: a zero point that is not 0"
        assert numpy_helper.to_array(scales).shape in ((), (values.shape[1],)), scales.name
        assert np.abs(values.astype(int)).max() <= GREATEST, f"{weights.name}: more than 7 bits"


def seven_bits(model):
    """Halves the matrices that need it, in place; their number."""
    halved = 0
    for weights, _, scales in matrices(model):
        values = numpy_helper.to_array(weights)
        if np.abs(values.astype(int)).max() > GREATEST:
            half = np.round(values / 2).astype(np.int8)                    # numpy rounds halves to even
            weights.CopyFrom(numpy_helper.from_array(half, weights.name))
            scales.CopyFrom(numpy_helper.from_array(numpy_helper.to_array(scales) * np.float32(2), scales.name))
            halved += 1
    check(model)
    return halved


def main(path, out):
    model = onnx.load(path)
    halved = seven_bits(model)
    onnx.checker.check_model(model)
    with open(out, "wb") as file:
        file.write(model.SerializeToString(deterministic=True))
    print(out, f"{halved} of {len(matrices(model))} matrices halved")


if __name__ == "__main__":
    main(*sys.argv[1:3])

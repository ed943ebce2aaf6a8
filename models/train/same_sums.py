"""An int8 model that gives the same sums on every processor.

    python same_sums.py MODEL.onnx OUT.onnx

Two things differ between processors, and both are mended here.

*Sums of integers.* Processors without a dot product of bytes (AVX2, and AVX-512 without VNNI) multiply an activation of 0
to 255 by a weight and add two such products in 16 bits, saturating at 32767. Weights up to 127 in magnitude overflow that
(2 x 255 x 127 = 64770), so that such a processor hears something else. Weights from -64 to 64 cannot (2 x 255 x 64 =
32640). Every quantised matrix with a larger weight is halved, and its scales, one a column, are doubled. Halves are
rounded to the even neighbour: every odd weight lies just between two, and rounding all of them away from zero would make
each column louder. Zero points must be 0 and every matrix must belong to a MatMulInteger whose scales can be found;
anything else is an error. `export.py` quantises to 7 bits from the fp32 weights, which is finer.

*Sums of floating point.* A layer norm and a softmax add up a row in as many parts as the processor adds numbers at once, so
their last bit differs; a rounding to 8 bits behind it then falls the other way, and so do more in every layer after it. A
product of matrices adds up each of its numbers in the same order everywhere. So the means of a layer norm become a product
with a column of 1/384, and the sum of a softmax a product with a column of ones, beside the values that are weighted.

The same input gives the same bytes; a model that has been through this comes out as it was.
"""
import sys

import numpy as np
import onnx
from onnx import helper, numpy_helper

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
    """Fails when a weight needs more than 7 bits, a zero point is not 0, or a row is added up by a norm or a softmax."""
    for node in model.graph.node:
        assert node.op_type not in ("LayerNormalization", "Softmax"), node.name
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
    return halved


def one_order(model):
    """Replaces each LayerNormalization, and each Softmax with the product behind it, in place; their number."""
    graph = model.graph
    constants = {i.name: numpy_helper.to_array(i) for i in graph.initializer}
    users = {}
    for node in graph.node:
        for name in node.input:
            users.setdefault(name, []).append(node)
    out, late, replaced = [], {}, 0

    def const(name, values):
        if name not in constants:
            constants[name] = values
            graph.initializer.append(numpy_helper.from_array(values, name))
        return name

    def op(kind, inputs, output, **attributes):
        out.append(helper.make_node(kind, inputs, [output], name=f"one_order_{output}", **attributes))
        return output

    def norm(node):
        (x, gain, offset), y = node.input, node.output[0]
        given = {a.name: helper.get_attribute_value(a) for a in node.attribute}
        assert given["axis"] == -1, node.name
        width = len(constants[gain])
        mean = const(f"mean_of_{width}", np.full((width, 1), 1 / width, np.float32))
        away = op("Sub", [x, op("MatMul", [x, mean], y + ".mean")], y + ".away")
        spread = op("MatMul", [op("Mul", [away, away], y + ".square"), mean], y + ".spread")
        spread = op("Sqrt", [op("Add", [spread, const("epsilon", np.float32([given["epsilon"]]))], y + ".some")], y + ".root")
        op("Add", [op("Mul", [op("Div", [away, spread], y + ".even"), gain], y + ".gained"), offset], y)

    def attention(softmax, product):
        x, values, y = softmax.input[0], product.input[1], product.output[0]
        places = {n: const(f"place_{n}", np.array([n], np.int64)) for n in (0, 1, -1, 2 ** 31 - 1)}
        most = op("ReduceMax", [x], y + ".most", axes=[-1], keepdims=1)
        powers = op("Exp", [op("Sub", [x, most], y + ".less")], y + ".powers")
        first = op("Slice", [values, places[0], places[1], places[-1]], y + ".first")
        ones = op("Add", [op("Mul", [first, const("none", np.float32([0]))], y + ".none"), const("each", np.float32([1]))], y + ".ones")
        both = op("MatMul", [powers, op("Concat", [values, ones], y + ".beside", axis=-1)], y + ".both")
        total = op("Slice", [both, places[-1], places[2 ** 31 - 1], places[-1]], y + ".total")
        op("Div", [op("Slice", [both, places[0], places[-1], places[-1]], y + ".weighted"), total], y)

    for node in graph.node:
        if node.op_type == "Softmax":
            product, = users[node.output[0]]
            assert product.op_type == "MatMul" and product.input[0] == node.output[0], node.name
            late[product.output[0]] = node
            replaced += 1
    for node in graph.node:
        if node.op_type == "LayerNormalization":
            norm(node)
            replaced += 1
        elif node.op_type == "MatMul" and node.output[0] in late:
            attention(late[node.output[0]], node)
        elif node.op_type != "Softmax":
            out.append(node)
    nodes = [onnx.NodeProto.FromString(node.SerializeToString()) for node in out]
    del graph.node[:]
    graph.node.extend(nodes)
    return replaced


def same_sums(model):
    """Both, in place; what was done."""
    done = f"{seven_bits(model)} of {len(matrices(model))} matrices halved, {one_order(model)} norms and softmaxes replaced"
    onnx.checker.check_model(model)
    check(model)
    return done


def save(model, path):
    with open(path, "wb") as file:
        file.write(model.SerializeToString(deterministic=True))


def main(path, out):
    model = onnx.load(path)
    print(out, same_sums(model))
    save(model, out)


if __name__ == "__main__":
    main(*sys.argv[1:3])

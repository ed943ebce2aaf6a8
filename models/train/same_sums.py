"""An int8 model that gives the same sums on every processor.

    python same_sums.py MODEL.onnx OUT.onnx

What differs between processors is mended here.

*Sums of integers.* Processors without a dot product of bytes (AVX2, and AVX-512 without VNNI) multiply an activation of 0
to 255 by a weight and add two such products in 16 bits, saturating at 32767. Weights up to 127 in magnitude overflow that
(2 x 255 x 127 = 64770), so that such a processor hears something else. Weights from -64 to 64 cannot (2 x 255 x 64 =
32640). Every quantised matrix with a larger weight is halved, and its scales, one a column, are doubled. Halves are
rounded to the even neighbour: every odd weight lies just between two, and rounding all of them away from zero would make
each column louder. Zero points must be 0 and every matrix must belong to a MatMulInteger whose scales can be found;
anything else is an error. `export.py` quantises to 7 bits from the fp32 weights, which is finer.

*Sums of floating point.* A layer norm and a softmax add up a row in as many parts as the processor adds numbers at once, so
their last bit differs; a rounding to 8 bits behind it then falls the other way, and so do more in every layer after it. A
product of matrices adds up each of its numbers in the same order everywhere. So the sums of a layer norm become a product
with a column of ones, and the sum of a softmax too, beside the values that are weighted.

*Products of floating point.* Some processors multiply and add in one step with one rounding, others round in between. Where
the product needs no rounding the two agree. 12 bits times 12 bits fit into the 24 of a float, so both factors of every
product of matrices and of every convolution are brought to 12 bits, or one of them is 1: weights in the file, what is
computed by three nodes (Veltkamp's splitting: with c = 2^12 + 1, c x - (c x - x) is x to 12 bits). A mean is a sum times 1/n,
with a change of sign in between so that rten does not put the factor into the product, where it would be multiplied and added.

*Functions.* exp and erf are polynomials that are multiplied and added, log is the C library's. All are read from tables
instead: an index is a number of steps without its fraction, and negative ones count from the table's end. The logarithms of
probabilities that are given, a few numbers a frame, are corrected by what the steps leave out.

The same input gives the same bytes; a model that has been through this comes out as it was.
"""
import math
import sys

import numpy as np
import onnx
from onnx import helper, numpy_helper

GREATEST = 64
BITS = 12                                                    # of each factor of a product of floating point
STEPS = 1024                                                 # for 1, of the tables but:
COARSE = 256                                                 # those of a gelu that is brought to 8 bits behind it
ENTRIES = 2 ** 16                                            # of a gelu above 0
LOW = 8                                                      # a gelu of less than -LOW is 0
FAR = 16                                                     # a power of less than -FAR is 0
LOGS = 64                                                    # steps for 1 of the logarithms' table


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


def short(graph, constants):
    """Whether a value of the graph, by its name, has no more than 12 bits; a function."""
    makers = {name: node for node in graph.node for name in node.output}

    def known(name):
        if name in constants:
            return np.array_equal(constants[name], rounded(constants[name]))
        maker = makers.get(name)
        if maker is None:
            return False
        if maker.op_type in ("Transpose", "Reshape", "Gather"):
            return known(maker.input[0])
        return all(map(known, maker.input)) if maker.op_type == "Concat" else name.endswith((".bits", ".ones"))

    return known


def check(model):
    """Fails when a weight needs more than 7 bits, a zero point is not 0, a sum or a function is left to the processor, or a
    product of floating point needs more than 24 bits."""
    graph = model.graph
    constants = {i.name: numpy_helper.to_array(i) for i in graph.initializer}
    known = short(graph, constants)
    for node in graph.node:
        assert node.op_type not in ("LayerNormalization", "Softmax", "LogSoftmax", "Exp", "Erf", "Log"), node.name
        if node.op_type in ("MatMul", "Conv"):
            ones = node.input[1] in constants and (constants[node.input[1]] == 1).all()
            assert ones or known(node.input[0]) and known(node.input[1]), f"{node.name}: a factor of more than {BITS} bits"
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


def rounded(values):
    """Values to 12 bits, halves to even."""
    parts, powers = np.frexp(np.asarray(values, np.float64))
    return np.ldexp(np.round(np.ldexp(parts, BITS)), powers - BITS).astype(np.float32)


def gelus(steps):
    """The gelu of the middle of each step from 0 up, then of each from -LOW up."""
    def gelu(x):
        return x * (0.5 + 0.5 * math.erf(x / math.sqrt(2)))
    above = [gelu((n + 0.5) / steps) for n in range(1, ENTRIES)]
    below = [gelu(-(n + 0.5) / steps) for n in range(LOW * steps - 1, 0, -1)]
    return rounded([0, *above, 0, *below])


def powers():
    """exp of 0, then of each step from -FAR up. Not of the middles: what is added up is in proportion."""
    return np.float32([1, 0, *(math.exp(-n / STEPS) for n in range(FAR * STEPS - 1, 0, -1))])


def exact(model):
    """Makes every product of floating point exact and every function a table, in place; the number of each."""
    graph = model.graph
    constants = {i.name: numpy_helper.to_array(i) for i in graph.initializer}
    makers = {name: node for node in graph.node for name in node.output}
    users = {}
    for node in graph.node:
        for name in node.input:
            users.setdefault(name, []).append(node)
    known, out = short(graph, constants), []
    products = tables = 0

    def const(name, values):
        if name not in constants:
            constants[name] = values
            graph.initializer.append(numpy_helper.from_array(values, name))
        return name

    def number(value):
        return const(f"number_{value}", np.float32([value]))

    def op(kind, inputs, output, **attributes):
        out.append(helper.make_node(kind, inputs, [output], name=f"exact_{output}", **attributes))
        return output

    def bits(x):
        """x to 12 bits."""
        large = op("Mul", [x, number(2 ** BITS + 1)], x + ".large")
        return op("Sub", [large, op("Sub", [large, x], x + ".rest")], x + ".bits")

    def whole(x, y, steps, low, high):
        """x in steps, between the bounds, and the whole ones of them."""
        many = op("Mul", [x, number(steps)], y + ".steps")
        bounds = [const(f"bound_{n}", np.float32(n)) for n in (low, high)]
        inside = op("Clip", [many, *bounds], y + ".inside")
        return inside, op("Cast", [inside], y + ".whole", to=onnx.TensorProto.INT32)

    def mean(node):
        x, width, y = node.input[0], len(constants[node.input[1]]), node.output[0]
        total = op("MatMul", [x, const(f"ones_{width}", np.ones((width, 1), np.float32))], y + ".total")
        op("Mul", [op("Neg", [total], y + ".minus"), const(f"part_{width}", np.float32([-1 / width]))], y)

    def gelu(x, y):
        steps = COARSE if users[y][0].op_type == "DynamicQuantizeLinear" else STEPS
        table = const(f"gelu_{steps}", gelus(steps))
        op("Gather", [table, whole(x, y, steps, -LOW * steps, ENTRIES - 1)[1]], y)

    def power(x, y):
        op("Gather", [const("powers", rounded(powers())), whole(x, y, STEPS, -FAR * STEPS, 0)[1]], y)

    def logs(x, y):
        """The logarithms of the softmax of x. What a step leaves out of exp is less than 1 / STEPS, so that 1 and it
        are enough; what one leaves out of the logarithm of s, from c on, is 2 (s - c) / (s + c)."""
        most = op("ReduceMax", [x], y + ".most", axes=[-1], keepdims=1)
        less = op("Sub", [x, most], y + ".less")
        inside, steps = whole(less, y, STEPS, -FAR * STEPS, 0)
        left = op("Sub", [inside, op("Cast", [steps], y + ".back", to=onnx.TensorProto.FLOAT)], y + ".left")
        near = op("Gather", [const("whole_powers", powers()), steps], y + ".near")
        more = op("Mul", [near, op("Mul", [left, number(1 / STEPS)], y + ".part")], y + ".more")
        count = len(constants["head.b"])
        ones = const(f"ones_{count}", np.ones((count, 1), np.float32))
        total = op("MatMul", [op("Add", [near, more], y + ".powers"), ones], y + ".total")
        inside, steps = whole(total, y + ".sum", LOGS, LOGS, LOGS * (count + 1))
        back = op("Cast", [steps], y + ".sum.back", to=onnx.TensorProto.FLOAT)
        part = op("Div", [op("Sub", [inside, back], y + ".sum.left"), op("Add", [inside, back], y + ".sum.both")], y + ".sum.part")
        logs = np.log(np.maximum(np.arange(LOGS * (count + 1) + 1), 1) / LOGS).astype(np.float32)
        near = op("Gather", [const("logs", logs), steps], y + ".sum.near")
        op("Sub", [less, op("Add", [near, op("Mul", [part, number(2)], y + ".sum.more")], y + ".sum.log")], y)

    # The five nodes of a gelu, of which the last becomes the table; and what must come to 12 bits before which node.
    gelu_of, gone, shortened = {}, set(), {}
    for node in graph.node:
        if node.op_type == "Erf":
            root = makers[node.input[0]]
            more, = users[node.output[0]]
            last, = users[more.output[0]]
            half, = [makers[name] for name in last.input if name != more.output[0]]
            assert [n.op_type for n in (root, more, last, half)] == ["Mul", "Add", "Mul", "Mul"], node.name
            assert half.input[0] == root.input[0], node.name
            gelu_of[last.output[0]] = root.input[0]
            gone |= {n.output[0] for n in (root, node, more, half)}
    for node in graph.node:
        if node.op_type not in ("MatMul", "Conv") or node.input[1].startswith(("mean_of_", "ones_")):
            continue
        products += 1
        for n, name in enumerate(node.input[:2]):
            user = node
            while name in makers and makers[name].op_type in ("Transpose", "Reshape", "Concat"):
                user, n = makers[name], 0
                name = user.input[0]
            if name in constants:
                constant, = [i for i in graph.initializer if i.name == name]
                constant.CopyFrom(numpy_helper.from_array(rounded(constants[name]), name))
            elif name not in gelu_of and not known(name) and makers.get(name, node).op_type != "Exp":
                shortened[user.output[0], n] = name
    for node in graph.node:
        y = node.output[0]
        if y in gone:
            continue
        inputs = list(node.input)
        for n, name in enumerate(inputs):
            if (y, n) in shortened:
                node.input[n] = bits(name)
        if y in gelu_of:
            gelu(gelu_of[y], y)
        elif node.op_type == "Exp":
            power(inputs[0], y)
        elif node.op_type == "LogSoftmax":
            logs(inputs[0], y)
        elif node.op_type == "MatMul" and inputs[1].startswith("mean_of_"):
            mean(node)
        else:
            out.append(node)
            continue
        tables += node.op_type != "MatMul"
    nodes = [onnx.NodeProto.FromString(node.SerializeToString()) for node in out]
    del graph.node[:]
    graph.node.extend(nodes)
    used = {name for node in nodes for name in node.input}
    kept = [onnx.TensorProto.FromString(i.SerializeToString()) for i in graph.initializer if i.name in used]
    del graph.initializer[:]
    graph.initializer.extend(kept)
    return products, tables


def same_sums(model):
    """All, in place; what was done."""
    done = f"{seven_bits(model)} of {len(matrices(model))} matrices halved, {one_order(model)} norms and softmaxes replaced"
    done += ", {} products exact, {} functions made tables".format(*exact(model))
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

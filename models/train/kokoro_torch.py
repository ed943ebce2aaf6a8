"""The many-voice neural model in PyTorch, for a machine whose GPU has no ONNX runtime.

    python kokoro_torch.py float MODEL.int8.onnx MODEL.pkl      undo the quantisation; nodes and weights

`Kokoro` runs what `float` wrote: 2,370 nodes of 56 kinds, one after the other. Sixteen processes on one GPU speak at 80
times real time.
"""
import pickle
import sys
import zlib

import numpy as np


# ------------------------------------------------------------------------------- int8 graph -> float graph
class Floats:
    """MatMulInteger, ConvInteger and DynamicQuantizeLSTM of an ONNX graph, as float operators."""

    def __init__(self, path):
        import onnx
        from onnx import helper, numpy_helper
        self.helper, self.numpy = helper, numpy_helper
        self.model = onnx.load(path)
        graph = self.model.graph
        self.weights = {i.name: numpy_helper.to_array(i) for i in graph.initializer}
        self.maker = {o: n for n in graph.node for o in n.output}
        self.users = {}
        for n in graph.node:
            for i in n.input:
                self.users.setdefault(i, []).append(n)
        self.new, self.gone = {}, set()

    def only_user(self, name):
        user, = self.users[name]
        return user

    def source(self, name):
        """The float tensor behind a dynamically quantised one."""
        node = self.maker.get(name)
        assert node is not None and node.op_type == "DynamicQuantizeLinear", name
        return node.input[0]

    def product(self, n):
        """x_q * w_q (+ bias), cast and scaled -> MatMul or Conv."""
        bias, after = None, self.only_user(n.output[0])
        if after.op_type == "Add":                            # a bias divided by the scale, rounded and added as integers
            before = self.maker[next(i for i in after.input if i != n.output[0])]
            while before.op_type != "Div":
                before = self.maker[before.input[0]]
            bias = before.input[0]
            self.gone.add(after.output[0])
            after = self.only_user(after.output[0])
        assert after.op_type == "Cast"
        scaled = self.only_user(after.output[0])
        scales = self.maker[next(i for i in scaled.input if i != after.output[0])]
        assert scaled.op_type == scales.op_type == "Mul"
        conv = n.op_type == "ConvInteger"
        if n.input[1] in self.weights:
            w = self.weights[n.input[1]].astype(np.float32)
            zero = self.weights[n.input[3]].astype(np.float32) if len(n.input) > 3 and n.input[3] else np.float32(0)
            scale = next(self.weights[i] for i in scales.input if i in self.weights).astype(np.float32)
            if conv:
                shape = lambda a: a.reshape(-1, *[1] * (w.ndim - 1)) if np.size(a) > 1 else np.reshape(a, ())
                zero, scale = shape(zero), shape(scale)
            weight = f"{n.input[1]}.float.{zlib.crc32(scale.tobytes())}"
            if weight not in self.weights:
                self.weights[weight] = ((w - zero) * scale).astype(np.float32)
        else:
            weight = self.source(n.input[1])
        node = self.helper.make_node("Conv" if conv else "MatMul", [self.source(n.input[0]), weight] + ([bias] if bias else []), [scaled.output[0]])
        if conv:
            node.attribute.extend(n.attribute)
        self.gone |= {after.output[0], n.output[0]}
        self.new[scaled.output[0]] = node

    def recurrent(self, n):
        i = list(n.input)
        def matrix(weight, scale, zero):
            part = lambda name: self.weights[name].astype(np.float32).reshape(2, 1, -1)
            name = weight + ".float"
            self.weights[name] = ((self.weights[weight].astype(np.float32) - part(zero)) * part(scale)).transpose(0, 2, 1)
            return name
        node = self.helper.make_node("LSTM", [i[0], matrix(i[1], i[8], i[9]), matrix(i[2], i[10], i[11]), *i[3:7]], list(n.output))
        node.attribute.extend(a for a in n.attribute if a.name in ("direction", "hidden_size", "input_forget"))
        self.new[n.output[0]] = node

    def write(self, path):
        graph = self.model.graph
        for n in graph.node:
            if n.op_type in ("MatMulInteger", "ConvInteger"):
                self.product(n)
            elif n.op_type == "DynamicQuantizeLSTM":
                self.recurrent(n)
        needed, kept = {o.name for o in graph.output}, []
        for n in reversed([self.new.get(n.output[0], n) for n in graph.node if n.output[0] in self.new or n.output[0] not in self.gone]):
            if any(o in needed for o in n.output):
                kept.append(n)
                needed.update(n.input)
        value = lambda a: self.numpy.to_array(a.t) if a.type == 4 else self.helper.get_attribute_value(a)
        nodes = [(n.op_type, list(n.input), list(n.output), {a.name: value(a) for a in n.attribute}) for n in reversed(kept)]
        with open(path, "wb") as f:
            pickle.dump((nodes, {k: v for k, v in self.weights.items() if k in needed}, [o.name for o in graph.output]), f, 4)
        print(len(nodes), "nodes")


if __name__ == "__main__":
    Floats(sys.argv[2]).write(sys.argv[3])
    sys.exit()

# ------------------------------------------------------------------------------------ float graph in PyTorch
import torch                                                 # noqa: E402: `float` needs none of it
import torch.nn.functional as F                              # noqa: E402

TYPES = {1: torch.float32, 6: torch.int32, 7: torch.int64, 9: torch.bool, 10: torch.float16, 11: torch.float64}
OPERATORS = {}


def operator(*names):
    def keep(function):
        for name in names:
            OPERATORS[name] = function
        return function
    return keep


def integers(tensor):
    return [int(q) for q in tensor.reshape(-1).tolist()]


class Kokoro:
    """Shapes and small integers stay on the processor, everything else is on the device."""

    def __init__(self, path, device):
        with open(path, "rb") as f:
            self.nodes, weights, self.outputs = pickle.load(f)
        self.device, self.weights, self.recurrent = device, {}, {}
        for name, array in weights.items():
            tensor = torch.from_numpy(np.array(array))
            self.weights[name] = tensor.to(device) if tensor.is_floating_point() and tensor.dim() > 0 else tensor
        for kind, inputs, outputs, _ in self.nodes:
            if kind == "LSTM":
                self.recurrent[outputs[0]] = self.lstm(*(weights[i] for i in inputs[1:4]))
        last = {name: k for k, (_, inputs, _, _) in enumerate(self.nodes) for name in inputs}
        self.free = [[] for _ in self.nodes]
        for name, k in last.items():
            if name and name not in self.weights and name not in self.outputs:
                self.free[k].append(name)

    def lstm(self, w, r, b):
        size = r.shape[2]
        net = torch.nn.LSTM(w.shape[2], size, bidirectional=True)

        def order(a):                                        # ONNX has the gates in another order
            i, o, f, c = np.split(a, 4, 0)
            return torch.from_numpy(np.concatenate([i, f, c, o]).astype(np.float32))
        with torch.no_grad():
            for d, suffix in enumerate(("", "_reverse")):
                getattr(net, "weight_ih_l0" + suffix).copy_(order(w[d]))
                getattr(net, "weight_hh_l0" + suffix).copy_(order(r[d]))
                getattr(net, "bias_ih_l0" + suffix).copy_(order(b[d][:4 * size]))
                getattr(net, "bias_hh_l0" + suffix).copy_(order(b[d][4 * size:]))
        net = net.to(self.device)
        net.flatten_parameters()
        return net

    @torch.no_grad()
    def __call__(self, tokens, style, speed):
        values = dict(self.weights)
        values[""] = None
        for name, array in (("tokens", tokens), ("style", style), ("speed", speed)):
            values[name] = torch.as_tensor(array).to(self.device)
        for k, (kind, inputs, outputs, attributes) in enumerate(self.nodes):
            x = [values[n] for n in inputs]
            y = self.recurrent_step(x, outputs) if kind == "LSTM" else OPERATORS[kind](self, x, attributes, outputs)
            if isinstance(y, (tuple, list)):
                values.update(zip(outputs, y))
            else:
                values[outputs[0]] = y
            for name in self.free[k]:
                values.pop(name, None)
        return values[self.outputs[0]]

    def recurrent_step(self, x, outputs):
        y, (h, c) = self.recurrent[outputs[0]](x[0])
        return [y.reshape(y.shape[0], y.shape[1], 2, -1).permute(0, 2, 1, 3), h, c][:len(outputs)]

    def together(self, x):
        """All on the device if one of them is."""
        home = torch.device(self.device).type
        if home != "cpu" and any(t is not None and t.device.type == home for t in x):
            return [t.to(self.device) if t is not None and t.dim() > 0 and t.device.type == "cpu" else t for t in x]
        return x


def elementwise(name, function):
    OPERATORS[name] = lambda k, x, a, o: function(*k.together(x))


elementwise("Mul", lambda x, y: x * y)
elementwise("Add", lambda x, y: x + y)
elementwise("Sub", lambda x, y: x - y)
elementwise("Div", lambda x, y: x / y if x.is_floating_point() else torch.div(x, y, rounding_mode="trunc"))
elementwise("Sqrt", torch.sqrt)
elementwise("Sin", torch.sin)
elementwise("Cos", torch.cos)
elementwise("Exp", torch.exp)
elementwise("Atan", lambda x: x.nan_to_num(0.0).atan())
elementwise("Tanh", torch.tanh)
elementwise("Sigmoid", torch.sigmoid)
elementwise("Floor", torch.floor)
elementwise("Round", torch.round)
elementwise("Where", torch.where)
elementwise("Equal", lambda x, y: x == y)
elementwise("Greater", lambda x, y: x > y)
elementwise("GreaterOrEqual", lambda x, y: x >= y)
elementwise("Less", lambda x, y: x < y)
elementwise("And", lambda x, y: x & y)
elementwise("MatMul", lambda x, y, bias=None: x @ y if bias is None else x @ y + bias)


@operator("Pow")
def _(k, x, a, o):
    return x[0] * x[0] if x[1].numel() == 1 and float(x[1]) == 2 else x[0] ** x[1].to(x[0].device)


@operator("Clip")
def _(k, x, a, o):
    bound = lambda i: None if len(x) <= i or x[i] is None else float(x[i])
    return x[0].clamp(min=bound(1), max=bound(2))


@operator("LeakyRelu")
def _(k, x, a, o):
    return F.leaky_relu(x[0], a.get("alpha", 0.01))


@operator("FastGelu")
def _(k, x, a, o):
    return F.gelu(x[0] + x[1] if len(x) > 1 and x[1] is not None else x[0], approximate="tanh")


@operator("Cast")
def _(k, x, a, o):
    return x[0].to(TYPES[a["to"]])


@operator("Unsqueeze")
def _(k, x, a, o):
    t = x[0]
    for d in sorted(integers(x[1])):
        t = t.unsqueeze(d)
    return t


@operator("Squeeze")
def _(k, x, a, o):
    t = x[0]
    for d in sorted((q % t.dim() for q in integers(x[1])), reverse=True):
        t = t.squeeze(d)
    return t


@operator("Reshape")
def _(k, x, a, o):
    return x[0].reshape([x[0].shape[i] if q == 0 else q for i, q in enumerate(integers(x[1]))])


@operator("Transpose")
def _(k, x, a, o):
    return x[0].permute(a["perm"])


@operator("Shape")
def _(k, x, a, o):
    return torch.tensor(list(x[0].shape)[a.get("start", 0):a.get("end", None)], dtype=torch.int64)


@operator("Gather")
def _(k, x, a, o):
    data, index = x
    axis = a.get("axis", 0) % max(1, data.dim())
    if data.device.type == "cpu" and index.device.type != "cpu":
        data = data.to(index.device)
    index = index.to(data.device).long()
    index = torch.where(index < 0, index + data.shape[axis], index)
    return data.index_select(axis, index.reshape(-1)).reshape(list(data.shape[:axis]) + list(index.shape) + list(data.shape[axis + 1:]))


OPERATORS["ReduceMean"] = lambda k, x, a, o: x[0].mean(integers(x[1]) if len(x) > 1 else list(a["axes"]), keepdim=bool(a.get("keepdims", 1)))
OPERATORS["ReduceSum"] = lambda k, x, a, o: x[0].sum(integers(x[1]) if len(x) > 1 else list(a["axes"]), keepdim=bool(a.get("keepdims", 1)))


@operator("Split")
def _(k, x, a, o):
    axis = a.get("axis", 0)
    sizes = integers(x[1]) if len(x) > 1 and x[1] is not None else [-(-x[0].shape[axis] // len(o))] * len(o)
    return list(torch.split(x[0], sizes, axis))


@operator("Concat")
def _(k, x, a, o):
    return torch.cat(k.together(x), a["axis"])


@operator("FusedMatMul")
def _(k, x, a, o):
    p = x[0].transpose(-1, -2) if a.get("transA") else x[0]
    q = x[1].transpose(-1, -2) if a.get("transB") else x[1]
    return (p @ q) * a.get("alpha", 1.0)


@operator("Slice")
def _(k, x, a, o):
    t, starts, ends = x[0], integers(x[1]), integers(x[2])
    axes = integers(x[3]) if len(x) > 3 and x[3] is not None else range(len(starts))
    steps = integers(x[4]) if len(x) > 4 and x[4] is not None else [1] * len(starts)
    for begin, end, d, step in zip(starts, ends, axes, steps):
        n = t.shape[d]
        if step < 0:
            begin = min(begin if begin >= 0 else begin + n, n - 1)
            end = end if end >= 0 else (end + n if end > -n - 1 else -1)
            t = t.index_select(d, torch.arange(begin, end, step, device=t.device))
            continue
        begin = max(0, begin + n if begin < 0 else min(begin, n))
        end = max(0, end + n if end < 0 else min(end, n))
        t = t.narrow(d, begin, max(0, end - begin))
        if step > 1:
            t = t.index_select(d, torch.arange(0, t.shape[d], step, device=t.device))
    return t


@operator("LayerNormalization")
def _(k, x, a, o):
    return F.layer_norm(x[0], list(x[0].shape[a.get("axis", -1) % x[0].dim():]), x[1], x[2], a.get("epsilon", 1e-5))


@operator("SkipLayerNormalization")
def _(k, x, a, o):
    t = x[0] + x[1]
    if len(x) > 4 and x[4] is not None:
        t = t + x[4]
    return F.layer_norm(t, [t.shape[-1]], x[2], x[3], a.get("epsilon", 1e-12))


@operator("Softmax")
def _(k, x, a, o):
    return x[0].softmax(a.get("axis", -1))


@operator("ConstantOfShape")
def _(k, x, a, o):
    value = torch.from_numpy(np.array(a.get("value", np.zeros(1, np.float32))))
    return torch.full(integers(x[0]), value.item(), dtype=value.dtype, device=k.device if value.is_floating_point() else x[0].device)


@operator("Resize")
def _(k, x, a, o):
    t, scale = x[0], float(x[2].reshape(-1).tolist()[-1])
    n, length = int(np.floor(t.shape[-1] * scale)), t.shape[-1]
    if a["mode"] == b"nearest":
        return F.interpolate(t, size=n, mode="nearest")
    at = ((torch.arange(n, device=t.device, dtype=torch.float64) + 0.5) / scale - 0.5).clamp(0, length - 1)
    low = at.floor().long()
    part = (at - low).to(t.dtype)
    return t[..., low] * (1 - part) + t[..., (low + 1).clamp(max=length - 1)] * part


@operator("Conv")
def _(k, x, a, o):
    pads, t = a.get("pads", [0, 0]), x[0]
    if pads[0] != pads[1]:
        t, pads = F.pad(t, pads), [0, 0]
    return F.conv1d(t, x[1], x[2] if len(x) > 2 else None, stride=a.get("strides", [1])[0], padding=pads[0],
                    dilation=a.get("dilations", [1])[0], groups=a.get("group", 1))


@operator("ConvTranspose")
def _(k, x, a, o):
    pads = a.get("pads", [0, 0])
    assert pads[0] == pads[1]
    return F.conv_transpose1d(x[0], x[1], x[2] if len(x) > 2 else None, stride=a.get("strides", [1])[0], padding=pads[0],
                              output_padding=a.get("output_padding", [0])[0], groups=a.get("group", 1), dilation=a.get("dilations", [1])[0])


@operator("Expand")
def _(k, x, a, o):
    shape = integers(x[1])
    if x[0].dtype == torch.bool:
        return x[0].expand(torch.broadcast_shapes(x[0].shape, shape))
    return x[0] * torch.ones(shape, dtype=x[0].dtype, device=x[0].device)


@operator("DequantizeLinear")
def _(k, x, a, o):
    return (x[0].float() - x[2].to(x[0].device).float()) * x[1].to(x[0].device)


@operator("CumSum")
def _(k, x, a, o):
    return x[0].cumsum(int(x[1]))


@operator("Range")
def _(k, x, a, o):
    begin, end, step = (q.item() for q in x)
    return torch.arange(begin, end, step, dtype=x[0].dtype, device=k.device if x[1].device.type != "cpu" else "cpu")


@operator("Pad")
def _(k, x, a, o):
    pads = integers(x[1])
    n, out = len(pads) // 2, []
    for d in reversed(range(n)):
        out += [pads[d], pads[d + n]]
    while out[-2:] == [0, 0] and len(out) > 2:
        out = out[:-2]
    mode = a.get("mode", b"constant").decode()
    return F.pad(x[0], out, mode=mode, **({"value": float(x[2]) if len(x) > 2 and x[2] is not None else 0.0} if mode == "constant" else {}))


@operator("STFT")
def _(k, x, a, o):
    t = x[0].squeeze(-1) if x[0].dim() == 3 else x[0]
    window = x[2].to(t.device)
    return torch.view_as_real(torch.fft.rfft(t.unfold(-1, window.numel(), int(x[1])) * window))


@operator("NonZero")
def _(k, x, a, o):
    return x[0].nonzero().t()


@operator("ScatterND")
def _(k, x, a, o):
    data = x[0].clone()
    data[tuple(x[1].to(data.device).unbind(-1))] = x[2].to(data.device)
    return data

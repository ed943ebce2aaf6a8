"""The reference decoder: JSGF grammar -> word graph -> phones with CTC blanks -> Viterbi (decode.c)."""
import ctypes
import os
import re
import shutil
import subprocess
import tempfile

import numpy as np

import lexicon
from meaning import DROPPED, SAME, meaning

HERE = os.path.dirname(os.path.abspath(__file__))

# Ways of saying a word that differ enough from the training label to deserve a path of their own.
VARIANTS = {
    "and": ["AE N D", "AH N D", "AH N"], "a": ["AH", "EY"], "to": ["T UW", "T AH"], "the": ["DH AH"], "than": ["DH AE N", "DH AH N"],
    "zero": ["Z IH R OW", "Z IY R OW"], "seventy": ["S EH V AH N T IY", "S EH V AH N IY"],
    "twenty": ["T W EH N T IY", "T W EH N IY"], "hundred": ["HH AH N D R AH D", "HH AH N D ER D"],
    "on": ["AA N", "AO N"], "off": ["AO F"], "tripped": ["T R IH P T"], "read": ["R IY D", "R EH D"],
    "thousand": ["TH AW Z AH N D", "TH AW Z AH N"], "next": ["N EH K S T", "N EH K S"],
}
MAX_WORDS = 40


def library():
    path = os.path.join(tempfile.gettempdir(), f"libdecode_{os.getuid()}.so")
    source = os.path.join(HERE, "decode.c")
    if not os.path.exists(path) or os.path.getmtime(path) < os.path.getmtime(source):
        building = f"{path}.{os.getpid()}"
        compiler = next(c for c in ("cc", "gcc", "clang") if shutil.which(c))
        subprocess.run([compiler, "-O3", "-march=native", "-shared", "-fPIC", "-o", building, source], check=True)
        os.rename(building, path)
    return ctypes.CDLL(path)


def compile_jsgf(path, out):
    """JSGF -> FSG text, by the compiler in pocketsphinx."""
    import pocketsphinx
    grammar = pocketsphinx.Jsgf(path)
    name = re.search(r"public\s+<(\w+)>", open(path).read()).group(1)
    title = re.search(r"grammar\s+(\w+)", open(path).read()).group(1)
    rule = grammar.get_rule(f"{title}.{name}")
    fsg = grammar.build_fsg(rule, pocketsphinx.LogMath(), 1.0)
    fsg.writefile(out)


class Graph:
    """The smallest word graph of a grammar (deterministic, minimal, unweighted), and its phone nodes."""

    def __init__(self, fsg, phones, variants=VARIANTS):
        index = {p: i for i, p in enumerate(phones)}
        moves, self.start, accepting = minimal(*determined(*read_fsg(fsg)))
        self.moves = moves
        self.states, self.finals = len(moves), sorted(accepting)
        self.arcs = []
        for a, leaving in enumerate(moves):
            for w, b in sorted(leaving.items()):
                for spelling in variants.get(w, [" ".join(lexicon.words()[w])]):
                    self.arcs.append((a, b, 0.0, w, [index[x] for x in spelling.split()]))
        label, skip, is_first, first, last = [], [], [], [], []
        for *_, ph in self.arcs:
            first.append(len(label))
            for j, p in enumerate(ph):
                label += [0, p]
                # The first phone of a word may not look two nodes back: entering from a state handles that.
                skip += [0, int(j > 0 and ph[j - 1] != p)]
                is_first += [int(j == 0), 0]
            last.append(len(label) - 1)
        self.label, self.first, self.last = label, first, last
        self.skip, self.is_first = skip, is_first

    def accepts(self, sentence):
        state = self.start
        for w in sentence.split():
            state = self.moves[state].get(w)
            if state is None:
                return False
        return state in self.finals


def read_fsg(path):
    """(word moves, empty moves, start, final) of an FSG file; weights are dropped."""
    moves, empty = {}, {}
    start = final = None
    for line in open(path):
        f = line.split()
        if not f:
            continue
        if f[0] in ("START_STATE", "S"):
            start = int(f[1])
        elif f[0] in ("FINAL_STATE", "F"):
            final = int(f[1])
        elif f[0] in ("TRANSITION", "T"):
            a, b = int(f[1]), int(f[2])
            if len(f) > 4:
                moves.setdefault(a, []).append((f[4].lower(), b))
            else:
                empty.setdefault(a, []).append(b)
    return moves, empty, start, final


def determined(moves, empty, start, final):
    """Subset construction: ([{word: state}], start, accepting states)."""
    def close(states):
        seen, todo = set(states), list(states)
        while todo:
            for b in empty.get(todo.pop(), []):
                if b not in seen:
                    seen.add(b)
                    todo.append(b)
        return frozenset(seen)
    number = {close([start]): 0}
    out, todo, accepting = [{}], [close([start])], set()
    while todo:
        here = todo.pop()
        i = number[here]
        if final in here:
            accepting.add(i)
        targets = {}
        for s in here:
            for w, b in moves.get(s, []):
                targets.setdefault(w, set()).add(b)
        for w, states in targets.items():
            there = close(states)
            if there not in number:
                number[there] = len(out)
                out.append({})
                todo.append(there)
            out[i][w] = number[there]
    return out, 0, accepting


def minimal(moves, start, accepting):
    """Merge states that cannot be told apart (Moore's partition refinement)."""
    block = [int(i in accepting) for i in range(len(moves))]
    while True:
        names = {}
        refined = [names.setdefault((block[i], tuple(sorted((w, block[b]) for w, b in moves[i].items()))), len(names))
                   for i in range(len(moves))]
        if len(names) == len(set(block)):
            break
        block = refined
    merged = [{} for _ in range(len(set(block)))]
    for i, leaving in enumerate(moves):
        merged[block[i]] = {w: block[b] for w, b in leaving.items()}
    return merged, block[start], {block[i] for i in accepting}


def reading_graph():
    """The graph of reading.jsgf. On a machine without pocketsphinx, EAR_FSG names a compiled one."""
    if "EAR_FSG" in os.environ:
        return Graph(os.environ["EAR_FSG"], lexicon.PHONES)
    fsg = os.path.join(tempfile.gettempdir(), f"reading_{os.getpid()}.fsg")
    compile_jsgf(os.path.join(HERE, "reading.jsgf"), fsg)
    graph = Graph(fsg, lexicon.PHONES)
    os.unlink(fsg)
    return graph


class Decoder:
    def __init__(self, graph):
        self.graph, self.lib = graph, library()
        ints = lambda v: np.ascontiguousarray(v, np.int32)
        classes = {}

        def word_class(w):
            w = SAME.get(w, w)
            return -1 if w in DROPPED else classes.setdefault(w, len(classes))
        self.label, self.first, self.last = ints(graph.label), ints(graph.first), ints(graph.last)
        self.skip = np.ascontiguousarray(graph.skip, np.uint8)
        self.is_first = np.ascontiguousarray(graph.is_first, np.uint8)
        self.source, self.target = ints([a[0] for a in graph.arcs]), ints([a[1] for a in graph.arcs])
        self.weight = np.ascontiguousarray([a[2] for a in graph.arcs], np.float32)
        self.cls, self.finals = ints([word_class(a[3]) for a in graph.arcs]), ints(graph.finals)

    def __call__(self, logp, beam=40.0):
        """[(words, score)], best first, each of another class sequence."""
        logp = np.ascontiguousarray(logp, np.float32)
        p = lambda x: x.ctypes.data_as(ctypes.c_void_p)
        score, length = np.zeros(8, np.float32), np.zeros(8, np.int32)
        arcs = np.zeros(8 * MAX_WORDS, np.int32)
        n = self.lib.decode(p(logp), len(logp), logp.shape[1], len(self.label), p(self.label), p(self.skip),
                            p(self.is_first), len(self.source), p(self.source), p(self.target), p(self.weight),
                            p(self.cls), p(self.first), p(self.last), self.graph.states, self.graph.start,
                            len(self.finals), p(self.finals), ctypes.c_float(beam), p(score), p(length), p(arcs), MAX_WORDS)
        return [(" ".join(self.graph.arcs[arcs[i * MAX_WORDS + j]][3] for j in range(length[i])), float(score[i])) for i in range(n)]


def features(samples, filters):
    """The log-mel spectrogram that the model wants: [1, 80, T]."""
    x = np.pad(samples.astype(np.float32), 200, mode="reflect")
    frames = np.lib.stride_tricks.sliding_window_view(x, 400)[::160][:len(samples) // 160]
    window = (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(400) / 400)).astype(np.float32)
    power = np.abs(np.fft.rfft(frames * window, axis=1)) ** 2
    mel = np.log10(np.maximum(filters @ power.T.astype(np.float32), 1e-10))
    mel = np.maximum(mel, mel.max() - 8)
    return ((mel + 4) / 4).astype(np.float32)[None]


def mel_filters():
    """80 triangular filters on the Slaney mel scale for a 400-point transform at 16 kHz, as Whisper has them."""
    def to_hz(m):
        return np.where(m < 15, m * 200 / 3, 1000 * np.exp((m - 15) * np.log(6.4) / 27))

    def to_mel(f):
        return 15 + np.log(f / 1000) * 27 / np.log(6.4) if f >= 1000 else f * 3 / 200
    edges = to_hz(np.linspace(to_mel(0), to_mel(8000), 82))
    bins = np.linspace(0, 8000, 201)
    lower = (bins[None] - edges[:-2, None]) / (edges[1:-1] - edges[:-2])[:, None]
    upper = (edges[2:, None] - bins[None]) / (edges[2:] - edges[1:-1])[:, None]
    return (np.maximum(0, np.minimum(lower, upper)) * (2 / (edges[2:] - edges[:-2]))[:, None]).astype(np.float32)

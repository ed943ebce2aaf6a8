"""Fine-tune the encoder into a phone recogniser: CTC, heavy augmentation, averaged weights.

    python train.py NAME --data DIR --start encoder.npz --seconds 400 [options]

DIR holds what pack.py and unpack.py leave: train.npy (all samples), train.json (lengths, labels, source),
selection.npz/json. The checkpoint is chosen on the selection set, which is fixed and not reported.
Writes DIR/../out/NAME.npz (fp32), NAME.json (score by step).
"""
import argparse
import copy
import json
import math
import os
import random
import time

import numpy as np
import torch
import torch.nn as nn
import torch.nn.functional as F

from augment import Augment
from network import Encoder

SELECTION_NOISE = (None, 10, 4)          # dB; None is clean, "room" is 10 dB with reverberation
PEOPLE_NOISE = (None, "band", 10)        # the same of people; "band" is nothing above 3.9 kHz
DIGIT_SPEAKERS = "fsdd"                  # how the voices of testset.human_digits begin


class Speech:
    """All training samples in GPU memory, and the order in which to draw them."""

    def __init__(self, directory, device, use, weights, rng, people=0.0, left_out=None):
        """people: the part of the draws that is people's (people.py), whatever there is of it. left_out: the fold of their speakers
        that is not heard (holdout.fold)."""
        index = json.load(open(f"{directory}/train.json"))
        self.use, self.weights, self.device, self.rng, self.people = use, weights, device, rng, people
        self.left_out = None if left_out is None else f"ppl{left_out}"
        self.flat = torch.from_numpy(np.array(np.load(f"{directory}/train.npy", mmap_mode="r"))).to(device)
        self.arrange(index)

    def arrange(self, index):
        lengths, source = np.array(index["n"]), index["source"]
        self.index, self.n, self.labels = index, lengths, index["labels"]
        self.keep = [i for i, s in enumerate(source) if s.rstrip("0123456789") in self.use and s != self.left_out]
        self.start = torch.tensor(np.cumsum(np.r_[0, lengths[:-1]]), device=self.device)
        made = [i for i in self.keep if not source[i].startswith("ppl")]
        order = np.repeat(made, [self.weights.get(source[i], 1) for i in made])
        if self.people:
            theirs = np.array([i for i in self.keep if source[i].startswith("ppl")])
            wanted = round(len(order) * self.people / (1 - self.people))
            order = np.concatenate([order, np.resize(self.rng.permutation(theirs), wanted)])
        self.order = order[np.argsort(lengths[order], kind="stable")]
        short = order[lengths[order] < 2.2 * 16000]
        self.short = short[np.argsort(lengths[short], kind="stable")]
        self.hours = sum(lengths[i] for i in self.keep) / 57.6e6

    def add(self, prefix):
        """More speech that was made while the training ran (unpack.collect)."""
        more = json.load(open(prefix + ".json"))
        self.flat = torch.cat([self.flat, torch.from_numpy(np.load(prefix + ".npy")).to(self.device)])
        self.arrange({k: list(self.index[k]) + more[k] for k in more})

    def draw(self, size, join):
        """A batch of similar length: samples, lengths, labels. Some are two utterances with a pause between."""
        at = int(self.rng.integers(0, max(1, len(self.order) - size)))
        near = self.order[max(0, at - 600):at + size + 600]
        ids = self.rng.choice(near, size, replace=False)
        second = np.full(size, -1)
        if join:
            for i in np.nonzero((self.n[ids] < 2.2 * 16000) & (self.rng.random(size) < 0.2))[0]:
                second[i] = self.rng.choice(self.short)
        has = second >= 0
        n1 = self.n[ids]
        n2 = np.where(has, self.n[second], 0)
        gap = np.where(has, self.rng.integers(0, 11200, size) - 3200, 0)      # the two may touch: each has 0.1 s of room
        gap = np.where(has, np.maximum(gap, -3000), 0)
        total = n1 + np.where(has, gap, 0) + n2
        t = lambda a: torch.tensor(np.asarray(a), device=self.device)[:, None]
        at = torch.arange(int(total.max()), device=self.device)[None]
        o1, o2 = self.start[torch.tensor(ids, device=self.device)][:, None], self.start[torch.tensor(np.maximum(second, 0), device=self.device)][:, None]
        last = len(self.flat) - 1
        one = self.flat[(o1 + at).clamp(max=last)].float() * (at < t(n1))
        shifted = at - t(n1 + gap)
        two = self.flat[(o2 + shifted).clamp(0, last)].float() * ((shifted >= 0) & (shifted < t(n2)) & t(has))
        labels = [self.labels[i] + (self.labels[j] if j >= 0 else []) for i, j in zip(ids, second)]
        return (one + two) / 32768, t(total)[:, 0], labels


class Selection:
    """Phone error rate and whole-utterance exactness on the selection clips, clean and in fixed noise."""

    def __init__(self, directory, device, augment, name="selection", without=None):
        """without: what the names of the voices begin with that are left out."""
        data = np.load(f"{directory}/{name}.npz")
        x, ends = data["x"], np.cumsum(np.r_[0, data["n"]])
        index = json.load(open(f"{directory}/{name}.json"))
        self.items = [(x[ends[i]:ends[i + 1]], e["labels"], e["voice"]) for i, e in enumerate(index) if not (without and e["voice"].startswith(without))]
        self.items.sort(key=lambda i: len(i[0]))
        self.device, self.augment = device, augment

    def room(self, x, generator):
        """A tail of 0.7 s, 3 dB below the direct sound."""
        n = 11200
        tail = torch.randn(len(x), n, device=self.device, generator=generator) * torch.exp(-6.9 * torch.arange(n, device=self.device)[None] / n)
        response = tail / tail.pow(2).sum(1, keepdim=True).sqrt() * 10 ** (-3 / 20)
        response[:, 0] = 1
        size = 1 << (x.shape[1] + n).bit_length()
        return torch.fft.irfft(torch.fft.rfft(x, size) * torch.fft.rfft(response, size), size)[:, :x.shape[1]]

    @torch.no_grad()
    def score(self, net, snr):
        generator = torch.Generator(device=self.device)
        generator.manual_seed(5)
        errors = total = exact = 0
        self.rows = []                                       # (voice, phones, errors) of each clip of the last call
        for i in range(0, len(self.items), 128):
            batch = self.items[i:i + 128]
            length = max(len(x) for x, *_ in batch)
            length += -length % 320
            x = torch.zeros(len(batch), length, device=self.device)
            n = torch.tensor([len(b[0]) for b in batch], device=self.device)
            for j, (samples, *_) in enumerate(batch):
                x[j, :len(samples)] = torch.from_numpy(np.ascontiguousarray(samples)).to(self.device).float() / 32768
            if snr == "room":
                x = self.room(x, generator)
            if snr == "band":
                spectrum = torch.fft.rfft(x)
                f = torch.linspace(0, 8000, spectrum.shape[1], device=self.device)
                x = torch.fft.irfft(spectrum * (f < 3900), x.shape[1])
            elif snr is not None:
                level = (x.pow(2).sum(1, keepdim=True) / n[:, None]).sqrt().clamp(min=1e-4)
                white = torch.randn(x.shape, device=self.device, generator=generator)
                babble = sum(torch.roll(x, (k, k * 7919), (0, 1)) / level for k in (1, 2, 3)) / 1.7
                x = x + (white + babble) * level * 10 ** (-(10 if snr == "room" else snr) / 20) / 1.4
            mel, frames = self.augment.log_mel(x, n)
            logp, frames = net(mel, frames)
            best, frames = logp.argmax(-1).cpu().numpy(), frames.cpu().numpy()
            for j, (_, label, voice) in enumerate(batch):
                path = best[j][:frames[j]]
                heard = [int(k) for q, k in enumerate(path) if k and (q == 0 or path[q - 1] != k)]
                d = distance(label, heard)
                errors, total, exact = errors + d, total + len(label), exact + (d == 0)
                self.rows.append((voice, len(label), d))
        return 100 * errors / total, 100 * exact / len(self.items)


def agreement(logp, frames, lengths):
    """How unlike the two copies of each utterance were heard: both directions of the divergence, frame by frame, each
    copy taught by the other; a phone of the label, as the main loss counts."""
    a, b = logp.chunk(2)
    inside = torch.arange(a.shape[1], device=a.device)[None] < frames[:len(a), None]
    apart = F.kl_div(a, b.detach(), log_target=True, reduction="none") + F.kl_div(b, a.detach(), log_target=True, reduction="none")
    return (0.5 * (apart.sum(-1) * inside).sum(1) / lengths[:len(a)]).mean()


def distance(a, b):
    row = list(range(len(b) + 1))
    for i in range(1, len(a) + 1):
        before, row[0] = row[:], i
        for j in range(1, len(b) + 1):
            row[j] = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (a[i - 1] != b[j - 1]))
    return row[-1]


def main():
    p = argparse.ArgumentParser()
    p.add_argument("name")
    p.add_argument("--data", required=True)
    p.add_argument("--out", required=True)
    p.add_argument("--start", required=True)
    p.add_argument("--seconds", type=float, required=True)
    p.add_argument("--without", default="", help="augmentations to leave out, comma separated")
    p.add_argument("--sources", default="kok,es,fl,pip,pico", help="kinds of speech to train on")
    p.add_argument("--rate", type=float, default=2.5e-4)
    p.add_argument("--batch", type=int, default=128)
    p.add_argument("--average", type=float, default=0.9993)
    p.add_argument("--dropout", type=float, default=0.06)
    p.add_argument("--neural", type=int, default=3, help="how often the many-voice neural speech is drawn")
    p.add_argument("--human", type=int, default=1)
    p.add_argument("--rooms", action="store_true", help="more reverberation and machines")
    p.add_argument("--people", type=float, default=0, help="part of the draws that is people's recordings (source ppl)")
    p.add_argument("--left-out", type=int, help="fold of the people whose recordings are not heard")
    p.add_argument("--narrow", type=float, default=0, help="part of everything that ends at 4 kHz")
    p.add_argument("--phone", type=float, default=0, help="part of everything that went through a coder of 8 kHz")
    p.add_argument("--loud", type=float, default=0, help="part of everything that is said with a raised voice")
    p.add_argument("--decay", type=float, default=1, help="rate of a layer, of that of the layer above")
    p.add_argument("--save", type=float, default=0, help="seconds after which the weights so far are written again")
    p.add_argument("--agree", type=float, default=0, help="weight of hearing two differently spoilt copies alike; half the batch is then drawn")
    p.add_argument("--more", default="", help="prefix of more speech, looked for from --more-after on")
    p.add_argument("--more-after", type=float, default=0.55, help="part of the run")
    p.add_argument("--select", default="", help="'room' chooses the checkpoint in reverberation as well")
    p.add_argument("--no-digits", action="store_true", help="the digit speakers in the selection set do not choose")
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--memory", type=float, default=1.0, help="part of the GPU's memory that this run may keep")
    p.add_argument("--device", default="cuda")
    p.add_argument("--check", type=float, default=0.5, help="part of the run after which the score is taken, and from then on every tenth")
    p.add_argument("--steps", type=int, default=10 ** 9)
    a = p.parse_args()
    torch.manual_seed(a.seed)
    random.seed(a.seed)
    rng = np.random.default_rng(a.seed)
    device = a.device
    if device == "cuda":
        torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
        torch.cuda.set_per_process_memory_fraction(a.memory)
    began = time.time()
    filters = torch.from_numpy(np.load(f"{a.data}/filters.npy"))
    without = set(filter(None, a.without.split(",")))
    recorded = f"{a.data}/noises.npy"
    augment = Augment(device, filters, without, a.rooms, a.narrow, a.loud,
                      torch.from_numpy(np.load(recorded)) if a.people and os.path.exists(recorded) else None, a.phone)
    conditions = SELECTION_NOISE + (("room",) if a.select in ("room", "people") else ())
    speech = Speech(a.data, device, set(a.sources.split(",")), {"kok": a.neural, "fsdd": a.human}, rng, a.people, a.left_out)
    selection = Selection(a.data, device, augment, without=DIGIT_SPEAKERS if a.no_digits else None)
    people = Selection(a.data, device, augment, "people") if a.select == "people" else None
    torch.manual_seed(0)                                     # the same first head for all runs, so that they can be averaged
    first = dict(np.load(a.start))
    net = Encoder.like(first).to(device)
    fresh = net.load(first)
    torch.manual_seed(a.seed)
    heard = {s: sum(speech.index["source"][i] == s for i in speech.keep) for s in sorted(set(speech.index["source"]))}
    print(f"{a.name}: {speech.hours:.2f} h, {len(speech.keep)} utterances, new: {fresh}, without {sorted(without)}, {heard}", flush=True)
    mean = copy.deepcopy(net).eval()
    mean_p, net_p = list(mean.parameters()), list(net.parameters())
    top, layers = net.depth("head"), {}
    for n, q in net.named_parameters():
        rate = a.rate * a.decay ** (top - net.depth(n)) * (3 if fresh and n.startswith("head") else 1)
        layers.setdefault(rate, []).append(q)
    opt = torch.optim.AdamW([dict(params=q, lr=rate) for rate, q in layers.items()], weight_decay=0.01, betas=(0.9, 0.98), fused=device == "cuda")
    base = [g["lr"] for g in opt.param_groups]
    began_training, step, losses, log, best = time.time(), 0, [], [], (1e9, None, 0)
    next_check = a.check
    net.train()

    def check():
        nonlocal best
        scores = [selection.score(mean, snr) for snr in conditions]
        scores += [people.score(mean, snr) for snr in PEOPLE_NOISE] if people else []
        total = sum(s[0] for s in scores)
        log.append(dict(step=step, seconds=round(time.time() - began_training), loss=float(np.mean(losses[-20:])) if losses else None,
                        per=[round(s[0], 2) for s in scores], exact=[round(s[1], 1) for s in scores], total=round(total, 3)))
        if total < best[0]:
            best = (total, mean.arrays(), step)
        print(a.name, log[-1], flush=True)

    saved = time.time()
    while True:
        done = max((time.time() - began_training) / a.seconds, step / a.steps)
        if done >= 1:
            break
        if a.more and done > a.more_after and step % 50 == 0 and os.path.exists(a.more + ".json"):
            speech.add(a.more)
            a.more = ""
            print(f"{a.name}: {speech.hours:.2f} h, {len(speech.keep)} utterances from step {step} on", flush=True)
        factor = min(1, step / 400) * (0.5 * (1 + math.cos(math.pi * done)) * 0.99 + 0.01)
        for g, b in zip(opt.param_groups, base):
            g["lr"] = b * factor
        with torch.no_grad():
            x, n, labels = speech.draw(a.batch // 2 if a.agree else a.batch, augment.has("join"))
            mel, frames = augment(x, n, twice=a.agree > 0)
            labels = labels * 2 if a.agree else labels
        target = torch.tensor([q for l in labels for q in l], device=device)
        lengths = torch.tensor([len(l) for l in labels], device=device)
        with torch.autocast(device, dtype=torch.bfloat16):
            logp, frames = net(mel, frames, a.dropout)
        loss = F.ctc_loss(logp.transpose(0, 1), target, frames, lengths, zero_infinity=True)
        if a.agree:
            loss = loss + a.agree * agreement(logp, frames, lengths)
        opt.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        opt.step()
        step += 1
        keep = min(a.average, (1 + step) / (10 + step))
        with torch.no_grad():
            torch._foreach_mul_(mean_p, keep)
            torch._foreach_add_(mean_p, net_p, alpha=1 - keep)
        if step % 20 == 0:
            losses.append(loss.item())
        if a.people and step % 1000 == 0:
            speech.arrange(speech.index)                     # other recordings of people
        if a.save and time.time() - saved > a.save:
            saved = time.time()
            np.savez(f"{a.out}/{a.name}.so-far.part.npz", **{k: v.astype(np.float16) for k, v in mean.arrays().items()})
            os.replace(f"{a.out}/{a.name}.so-far.part.npz", f"{a.out}/{a.name}.so-far.npz")
        if step in (20, 120):
            print(a.name, "step", step, "after", round(time.time() - began_training, 1), "s", flush=True)
        if done > next_check:
            check()
            next_check += 0.1
    check()
    np.savez(f"{a.out}/{a.name}.npz", **best[1])
    json.dump(dict(name=a.name, arguments=vars(a), hours=speech.hours, steps=step, best_step=best[2], best=best[0], log=log,
                   seconds=round(time.time() - began)), open(f"{a.out}/{a.name}.json", "w"), indent=1)
    print(f"{a.name}: {step} steps, best {best[0]:.3f} at {best[2]}", flush=True)


if __name__ == "__main__":
    main()

"""The encoder of Whisper (tiny.en, or base) with a phone head: features [batch, 80, T] -> log probabilities."""
import math

import torch
import torch.nn as nn
import torch.nn.functional as F

PHONES = 40


class Encoder(nn.Module):
    def __init__(self, width=384, heads=6, layers=4):
        super().__init__()
        self.heads = heads
        step = math.log(10000) / (width // 2 - 1)
        angle = torch.arange(1500)[:, None] * torch.exp(-step * torch.arange(width // 2))[None]
        self.register_buffer("pos", torch.cat([angle.sin(), angle.cos()], 1))
        self.c1 = nn.Conv1d(80, width, 3, padding=1)
        self.c2 = nn.Conv1d(width, width, 3, stride=2, padding=1)
        repeat = lambda make: nn.ModuleList(make() for _ in range(layers))
        self.ln1, self.ln2 = repeat(lambda: nn.LayerNorm(width)), repeat(lambda: nn.LayerNorm(width))
        self.qkv, self.o = repeat(lambda: nn.Linear(width, 3 * width)), repeat(lambda: nn.Linear(width, width))
        self.f1, self.f2 = repeat(lambda: nn.Linear(width, 4 * width)), repeat(lambda: nn.Linear(4 * width, width))
        self.lnf, self.head = nn.LayerNorm(width), nn.Linear(width, PHONES)

    @classmethod
    def like(cls, arrays):
        """A network of the size of these weights: 64 numbers a head, as Whisper has it."""
        width = len(arrays["lnf.weight"])
        return cls(width, width // 64, sum(k.startswith("qkv.") and k.endswith(".weight") for k in arrays))

    def depth(self, name):
        """0 for what is next to the sound, up to layers + 1 for the head."""
        if name.startswith("c"):
            return 0
        return len(self.qkv) + 1 if name.startswith(("lnf", "head")) else int(name.split(".")[1]) + 1

    def forward(self, mel, frames, dropout=0.0):
        drop = lambda x: F.dropout(x, dropout, self.training)
        h = F.gelu(self.c1(mel))
        h = F.gelu(self.c2(h)).transpose(1, 2)
        frames = (frames + 1) // 2
        h = drop(h + self.pos[:h.shape[1]])
        mask = (torch.arange(h.shape[1], device=h.device)[None] < frames[:, None])[:, None, None]
        for ln1, qkv, o, ln2, f1, f2 in zip(self.ln1, self.qkv, self.o, self.ln2, self.f1, self.f2):
            q, k, v = (z.unflatten(-1, (self.heads, -1)).transpose(1, 2) for z in qkv(ln1(h)).chunk(3, -1))
            h = h + drop(o(F.scaled_dot_product_attention(q, k, v, attn_mask=mask).transpose(1, 2).flatten(2)))
            h = h + drop(f2(F.gelu(f1(ln2(h)))))
        return self.head(self.lnf(h)).float().log_softmax(-1), frames

    def load(self, arrays):
        """Take what is there from a dict of numpy arrays; returns the names that keep their first values."""
        state = {k: torch.tensor(arrays[k].astype("float32")) for k in arrays if k != "pos"}
        self.load_state_dict(state, strict=False)
        return [k for k in self.state_dict() if k not in state and k != "pos"]

    def arrays(self):
        return {k: v.detach().float().cpu().numpy() for k, v in self.state_dict().items() if k != "pos"}

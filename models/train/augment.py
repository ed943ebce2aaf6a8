"""Everything that happens to speech between a mouth and a recogniser, on the GPU, a batch at a time.

Each effect has a name; `Augment(without={...})` leaves effects out, which is how their worth is measured.
"""
import math
import random

import torch
import torch.nn.functional as F

RATE = 16000
EFFECTS = ("rate", "tempo", "warp", "join", "reverb", "noise", "machine", "channel", "mask")


class Augment:
    def __init__(self, device, filters, without=(), rooms=False, narrow=0.0, loud=0.0, noises=None, phone=0.0):
        """rooms: longer, more frequent reverberation that darkens as it dies, of the noise too at times, and louder machines.
        narrow: part of all speech that ends at 4 kHz or below, as a headset in call mode does. loud: part of it raised as
        against a din. noises: recorded ones, [count, samples], each of unit level (people.py). phone: part of it that went through a
        coder of 8 kHz, and part that is cut close to its words."""
        self.device, self.without, self.rooms = device, set(without), rooms
        self.narrow, self.loud, self.phone = narrow, loud, phone
        self.recorded = None if noises is None else noises.to(device)
        self.window = torch.hann_window(400, device=device)
        self.filters = filters.to(device)
        # The mel filters applied to a spectrum whose frequencies are scaled: a longer or shorter throat.
        self.scales = torch.linspace(0.85, 1.18, 23)
        banks = []
        for scale in self.scales:
            source = torch.arange(201) / scale
            low = source.floor().long()
            part = source - low
            move = torch.zeros(201, 201)
            inside = low < 200
            rows = torch.arange(201)[inside]
            move[rows, low[inside]] += 1 - part[inside]
            move[rows, low[inside] + 1] += part[inside]
            banks.append(filters.cpu() @ move)
        self.banks = torch.stack(banks).to(device)

    def has(self, effect):
        return effect not in self.without

    def uniform(self, *shape):
        return torch.rand(*shape, device=self.device)

    # ------------------------------------------------------------------------------------ noises
    def coloured(self, batch, length):
        spectrum = torch.fft.rfft(torch.randn(batch, length, device=self.device))
        f = torch.arange(spectrum.shape[1], device=self.device).clamp(min=1).float()
        x = torch.fft.irfft(spectrum * f[None] ** (-self.uniform(batch, 1) * 1.2), length)
        return x / x.std(1, keepdim=True)

    def talkers(self, speech, count):
        total = 0
        for _ in range(count):
            order = torch.randperm(len(speech), device=self.device)
            shift = random.randint(0, speech.shape[1] - 1)
            total = total + torch.roll(speech[order], shift, 1) * self.uniform(len(speech), 1).clamp(min=0.3)
        return total / total.std(1, keepdim=True).clamp(min=1e-4)

    def mains(self, batch, time):
        f = torch.where(self.uniform(batch, 1) < 0.85, 50.0, 60.0)
        x = sum(torch.sin(2 * math.pi * f * k * time + random.random() * 6) * self.uniform(batch, 1) / k ** 0.7
                for k in (1, 2, 3, 4, 5, 7, 9, 11))
        return x / x.std(1, keepdim=True).clamp(min=1e-4)

    def knocks(self, batch, time, length):
        x = torch.zeros(batch, length, device=self.device)
        for _ in range(3):
            since = time - self.uniform(batch, 1) * length / RATE
            decay = torch.exp(-since.clamp(min=0) / (self.uniform(batch, 1) * 0.1 + 0.008))
            x = x + torch.where(since >= 0, decay, torch.zeros_like(decay)) * (self.uniform(batch, 1) < 0.6)
        x = x * self.coloured(batch, length)
        return x / x.abs().amax(1, keepdim=True).clamp(min=1e-4)

    def machine(self, batch, time, length):
        """Rotating machinery: noise that swells with the turns, and a saw-tooth whine that drifts."""
        turns = self.uniform(batch, 1) * 60 + 8
        depth = self.uniform(batch, 1) * 3
        rough = self.coloured(batch, length) * torch.exp(depth * torch.sin(2 * math.pi * turns * time))
        drift = 1 + 0.05 * torch.sin(2 * math.pi * (self.uniform(batch, 1) * 2 + 0.1) * time + self.uniform(batch, 1) * 6)
        phase = (self.uniform(batch, 1) * 500 + 70) * torch.cumsum(drift, 1) / RATE
        whine = 2 * (phase % 1) - 1
        x = rough / rough.std(1, keepdim=True).clamp(min=1e-4) + whine * self.uniform(batch, 1) * 2
        return x / x.std(1, keepdim=True).clamp(min=1e-4)

    def recording(self, batch, length):
        """A recorded noise each, repeated from anywhere in it, at times backwards."""
        x = self.recorded[torch.randint(0, len(self.recorded), (batch,), device=self.device)]
        x = torch.where(self.uniform(batch, 1) < 0.5, x, x.flip(1))
        at = torch.arange(length, device=self.device)[None] + torch.randint(0, x.shape[1], (batch, 1), device=self.device)
        return torch.gather(x, 1, at % x.shape[1])

    # ------------------------------------------------------------------------------------- stages
    def raise_voice(self, y, raised, length):
        """Speech against a din: the tilt of the spectrum flattened from 500 Hz to 4 kHz, by 2 to 6 dB an octave."""
        spectrum = torch.fft.rfft(y)
        f = torch.linspace(0, 8000, spectrum.shape[1], device=self.device)[None]
        tilt = (self.uniform(len(y), 1) * 4 + 2) * torch.log2(f.clamp(500, 4000) / 500)
        louder = torch.fft.irfft(spectrum * 10 ** (tilt / 20), length)
        louder = louder * (y.pow(2).sum(1, keepdim=True) / louder.pow(2).sum(1, keepdim=True).clamp(min=1e-9)).sqrt()
        return torch.where(raised, louder, y)

    def place(self, speech, n, raised=None):
        """Change the rate (pitch, formants and tempo together), and put room before and after the words."""
        batch = len(speech)
        rate = self.uniform(batch, 1) * 0.37 + 0.83 if self.has("rate") else torch.ones(batch, 1, device=self.device)
        if raised is not None:                               # a raised voice is a higher one
            rate = torch.where(raised, self.uniform(batch, 1) * 0.17 + 1.03, rate)
        out = (n / rate[:, 0]).long()
        lead = torch.randint(800, 9600, (batch,), device=self.device)
        tail = torch.randint(1600, 9600, (batch,), device=self.device)
        if self.phone:                                       # the speech has 0.1 s of its own; what is drawn is beyond that
            close = self.uniform(batch) < 0.6 * self.phone
            lead, tail = torch.where(close, lead // 16, lead), torch.where(close, tail // 16, tail)
        total = out + lead + tail
        length = int(total.max())
        length += -length % 8000
        at = (torch.arange(length, device=self.device)[None] - lead[:, None]) * rate
        inside = (at >= 0) & (at < n[:, None] - 1)
        low = at.clamp(0, speech.shape[1] - 2).floor()
        part = at.clamp(0, speech.shape[1] - 2) - low
        low = low.long()
        y = torch.gather(speech, 1, low) * (1 - part) + torch.gather(speech, 1, low + 1) * part
        return y * inside, total, length

    def reverberate(self, y, length):
        batch, n = len(y), 9600
        t = torch.arange(n, device=self.device)[None] / RATE
        t60 = self.uniform(batch, 1) * 0.8 + 0.08
        response = torch.randn(batch, n, device=self.device) * torch.exp(-6.9 * t / t60)
        response = response / response.pow(2).sum(1, keepdim=True).sqrt() * 10 ** (-(self.uniform(batch, 1) * 14 - 2) / 20)
        response[:, 0] = 1
        plain = torch.zeros(n, device=self.device)
        plain[0] = 1
        response = torch.where(self.uniform(batch, 1) < 0.5, response, plain[None])
        size = 1 << (length + n).bit_length()
        return torch.fft.irfft(torch.fft.rfft(y, size) * torch.fft.rfft(response, size), size)[:, :length]

    def reverberate_more(self, y, length):
        """Up to 1.2 s of tail; above a crossover it dies sooner."""
        batch, n = len(y), 14400
        t = torch.arange(n, device=self.device)[None] / RATE
        t60 = self.uniform(batch, 1) * 1.05 + 0.15
        f = torch.linspace(0, 8000, n // 2 + 1, device=self.device)[None]
        bright = torch.sigmoid((f - (self.uniform(batch, 1) * 3500 + 700)) / 300)
        tail = lambda decay: torch.fft.rfft(torch.randn(batch, n, device=self.device) * torch.exp(-6.9 * t / decay))
        response = torch.fft.irfft(tail(t60) * (1 - bright) + tail(t60 * (self.uniform(batch, 1) * 0.6 + 0.3)) * bright, n)
        response = response / response.pow(2).sum(1, keepdim=True).sqrt() * 10 ** (-(self.uniform(batch, 1) * 14 - 3) / 20)
        response[:, 0] = 1
        plain = torch.zeros(n, device=self.device)
        plain[0] = 1
        response = torch.where(self.uniform(batch, 1) < 0.6, response, plain[None])
        size = 1 << (length + n).bit_length()
        return torch.fft.irfft(torch.fft.rfft(y, size) * torch.fft.rfft(response, size), size)[:, :length]

    def add_noise(self, y, dry, rms, length):
        batch = len(y)
        time = torch.arange(length, device=self.device)[None] / RATE
        hum = self.mains(batch, time)
        likely = torch.tensor([0.75, 0.5, 0.12], device=self.device)
        mix = self.uniform(batch, 3) ** 2 * (self.uniform(batch, 3) < likely)
        babble_only = self.uniform(batch, 1) < (0.27 if self.rooms else 0.2)
        mix = torch.where(babble_only, torch.tensor([0.15, 1.0, 0.0], device=self.device)[None], mix)
        noise = (mix[:, :1] * self.coloured(batch, length) + mix[:, 1:2] * self.talkers(dry, random.choice([2, 3, 4, 6, 8]))
                 + mix[:, 2:] * hum)
        if self.has("machine"):
            loud = self.uniform(batch, 1) < (0.3 if self.rooms else 0.22)
            machine = self.machine(batch, time, length)
            if self.rooms:                                   # with the hum of the same plant
                machine = machine + hum * self.uniform(batch, 1) * (self.uniform(batch, 1) < 0.5)
            noise = torch.where(loud, machine + 0.2 * noise, noise)
        if self.recorded is not None:
            noise = torch.where(self.uniform(batch, 1) < 0.15, self.recording(batch, length) * noise.std(1, keepdim=True), noise)
        noise = noise / noise.std(1, keepdim=True).clamp(min=1e-4)
        snr = self.uniform(batch, 1) * 32 - 2
        y = y + torch.where(self.uniform(batch, 1) < 0.85, rms * 10 ** (-snr / 20), rms * 1e-3) * noise
        y = y + (self.uniform(batch, 1) < 0.12) * self.talkers(dry, 1) * rms * 10 ** (-(self.uniform(batch, 1) * 20 + 5) / 20)
        y = y + (self.uniform(batch, 1) < 0.15) * hum * rms * 10 ** ((self.uniform(batch, 1) * 26 - 20) / 20)
        knocks = self.knocks(batch, time, length)
        return y + (self.uniform(batch, 1) < 0.15) * knocks * rms * 10 ** ((self.uniform(batch, 1) * 30 - 12) / 20)

    def channel(self, y, length):
        """Telephone and headset bands, spectral tilt, clipping, 8-bit companding, lost packets, level."""
        batch = len(y)
        spectrum = torch.fft.rfft(y)
        f = torch.linspace(0, 8000, spectrum.shape[1], device=self.device)[None]
        draw = self.uniform(batch, 1)
        telephone, narrow = (draw < 0.08, draw < 0.18) if self.narrow else (draw < 0.18, draw < 0.40)
        open_ = torch.full((batch, 1), 9000.0, device=self.device)
        upper = torch.where(telephone, 3300 + self.uniform(batch, 1) * 500,
                            torch.where(narrow, self.uniform(batch, 1) * 3500 + 3400, open_))
        if self.narrow:                                      # sharp, and nothing else taken away
            call = self.uniform(batch, 1) < self.narrow
            upper = torch.where(call, 3300 + self.uniform(batch, 1) * 680, upper)
            telephone = telephone | call & (self.uniform(batch, 1) < 0.25)
        lower = torch.where(telephone, 200 + self.uniform(batch, 1) * 150,
                            torch.where(self.uniform(batch, 1) < 0.3, self.uniform(batch, 1) * 250, open_ * 0 - 500))
        tilt = torch.randn(batch, 1, device=self.device) * 2.5 * torch.log2(f.clamp(min=60) / 1000)
        width = torch.where(telephone | call if self.narrow else telephone, 30.0, 100.0)
        y = torch.fft.irfft(spectrum * torch.sigmoid((upper - f) / width) * torch.sigmoid((f - lower) / 20) * 10 ** (tilt / 20), length)
        y = y / y.abs().amax(1, keepdim=True).clamp(min=1e-4)
        over = 10 ** (self.uniform(batch, 1) * 22 / 20)
        y = torch.where(self.uniform(batch, 1) < 0.12, (y * over).clamp(-1, 1), y)
        small = torch.sign(y) * torch.log1p(255 * y.abs()) / math.log(256)
        small = torch.round(small * 127) / 127
        small = torch.sign(small) * (256 ** small.abs() - 1) / 255
        y = torch.where(self.uniform(batch, 1) < 0.1, small, y)
        if random.random() < 0.3:
            start = torch.randint(0, length, (batch, 1), device=self.device)
            gap = torch.randint(80, 500, (batch, 1), device=self.device)
            at = torch.arange(length, device=self.device)[None]
            y = y * ~((at >= start) & (at < start + gap) & (self.uniform(batch, 1) < 0.4))
        return y * 10 ** (-(self.uniform(batch, 1) * 32) / 20)

    def coder(self, y, length):
        """What a line of 8 kHz leaves: nothing above 3.4 to 3.95 kHz, at times nothing below 300 Hz, 8 bits by the mu or the A law at any level,
        or the noise of a coder, which follows the speech. All of it below 4 kHz."""
        batch = len(y)
        through = self.uniform(batch, 1) < self.phone
        spectrum = torch.fft.rfft(y)
        f = torch.linspace(0, 8000, spectrum.shape[1], device=self.device)[None]
        upper = 3400 + self.uniform(batch, 1) * 550
        lower = torch.where(self.uniform(batch, 1) < 0.4, 150 + self.uniform(batch, 1) * 200, torch.full((batch, 1), -500.0, device=self.device))
        slow = torch.fft.irfft(spectrum * torch.sigmoid((upper - f) / 30) * torch.sigmoid((f - lower) / 20), length)[:, ::2]
        slow = slow / slow.abs().amax(1, keepdim=True).clamp(min=1e-4) * 10 ** (-(self.uniform(batch, 1) * 40) / 20)
        size = slow.abs()
        mu = (torch.round(torch.log1p(255 * size) / math.log(256) * 127) / 127 * math.log(256)).expm1() / 255
        law, knee = 87.6, 1 + math.log(87.6)
        a = torch.round(torch.where(size < 1 / law, law * size, 1 + torch.log((law * size).clamp(min=1))) / knee * 127) / 127 * knee
        a = torch.where(a < 1, a / law, torch.exp(a - 1) / law)
        around = F.avg_pool1d(size[:, None], 81, 1, 40)[:, 0]
        noisy = slow + torch.randn_like(slow) * around * 10 ** (-(self.uniform(batch, 1) * 18 + 10) / 20)
        draw = self.uniform(batch, 1)
        coded = torch.where(draw < 0.35, torch.sign(slow) * mu, torch.where(draw < 0.6, torch.sign(slow) * a, torch.where(draw < 0.8, noisy, slow)))
        back = 2 * torch.fft.irfft(F.pad(torch.fft.rfft(coded), (0, length // 2 + 1 - (coded.shape[1] // 2 + 1))), length)
        return torch.where(through, back, y)

    def log_mel(self, x, n, training=False):
        """The features of the README, for a batch; n are the true lengths in samples."""
        power = torch.stft(x, 400, 160, window=self.window, return_complex=True)[..., :-1].abs() ** 2
        if training and self.has("warp"):
            pick = torch.randint(0, len(self.scales), (len(x),), device=self.device)
            pick = torch.where(self.uniform(len(x)) < 0.25, torch.full_like(pick, 10), pick)
            mel = self.banks[pick] @ power
            mel = torch.maximum(mel, mel.amax((1, 2), keepdim=True) * 1e-9 * self.uniform(len(x), 1, 1))
        else:
            mel = self.filters @ power
        mel = mel.clamp(min=1e-10).log10()
        frames = (n // 160).clamp(max=mel.shape[-1])
        inside = torch.arange(mel.shape[-1], device=self.device)[None] < frames[:, None]
        top = mel.masked_fill(~inside[:, None], -99).amax((1, 2), keepdim=True)
        return (torch.maximum(mel, top - 8) + 4) / 4, frames

    def stretch(self, mel, frames, twice=False):
        """Change the tempo alone, an utterance at a time (the same for both copies)."""
        count = len(mel) // 2 if twice else len(mel)
        factor = self.uniform(count) * 0.34 + 0.84
        factor = torch.where(self.uniform(count) < 0.35, torch.ones_like(factor), factor)
        factor = factor.repeat(2) if twice else factor
        out = (frames / factor).long()
        length = int(out.max())
        length += -length % 50                               # few lengths: the convolutions are planned anew for each
        at = (torch.arange(length, device=self.device)[None] * factor[:, None]).clamp(max=mel.shape[2] - 2)
        low = at.floor()
        part = (at - low)[:, None]
        low = low.long()[:, None].expand(-1, mel.shape[1], -1)
        return torch.gather(mel, 2, low) * (1 - part) + torch.gather(mel, 2, low + 1) * part, out

    def mask(self, mel, times):
        for i in range(times):
            if i < 2:
                width = random.randint(0, 16)
                at = random.randint(0, 80 - width)
                mel[:, at:at + width] = mel.mean()
            width = random.randint(0, 20)
            at = random.randint(0, max(1, mel.shape[2] - width))
            mel[:, :, at:at + width] = mel.mean()

    def __call__(self, speech, n, twice=False):
        """Samples [batch, length] and lengths -> features and their lengths, ready to train on.

        twice: every utterance comes back in two copies (the second half of the batch) of the same tempo, so frame by
        frame they say the same, in unlike rooms, noises, channels and masks."""
        raised = self.uniform(len(speech), 1) < self.loud if self.loud else None
        y, total, length = self.place(speech, n, raised)
        if raised is not None:
            y = self.raise_voice(y, raised, length)
        if twice:
            y, total, n = torch.cat([y, y]), total.repeat(2), n.repeat(2)
        rms = (y.pow(2).sum(1) / n).sqrt().clamp(min=1e-5)[:, None]
        dry = y
        room = self.reverberate_more if self.rooms else self.reverberate
        noise_first = self.rooms and random.random() < 0.3   # the noise sounds in the room as well
        if self.has("noise") and noise_first:
            y = self.add_noise(y, dry, rms, length)
        if self.has("reverb"):
            y = room(y, length)
        if self.has("noise") and not noise_first:
            y = self.add_noise(y, dry, rms, length)
        if self.has("channel"):
            y = self.channel(y, length)
            if self.phone:
                y = self.coder(y, length)
        mel, frames = self.log_mel(y, total, training=True)
        if self.has("tempo"):
            mel, frames = self.stretch(mel, frames, twice)
        if self.has("mask"):
            for part in mel.chunk(2) if twice else (mel,):
                self.mask(part, 4 if twice else 2)
        return mel, frames

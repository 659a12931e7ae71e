"""Two-track masters whose making is known, for the test of what `inspect` says about them.

Usage: two-track-mixes.py SET OUT_FOLDER [CASE...]   writes CASE.f32 (interleaved stereo, 48 kHz) and cases.json.
Music: Debian's singularity-music; voices: asterisk prompts and espeak-ng (set "tune"), recorded readers of
pocketsphinx-testdata (set "held"); effects, applause, rain, crowd and hiss by NumPy. SciPy does the filters:
none of the arithmetic is the product's own.
"""
import glob
import json
import os
import subprocess
import sys

import numpy as np
from scipy import signal

RATE = 48000
SECONDS = 25
N = RATE * SECONDS
K = np.sqrt(0.5)
MUSIC = '/usr/share/games/singularity/music/'
SETS = {
    'tune': dict(
        seed=20240611,
        music=['A New Journey', 'Aberrations', 'Awakening', 'Coherence', 'Enemy Unknown', 'Nebula'],
        at=[40, 95, 150],
        claps=(120, 700, 2500, 23),
        levels=(0, -3, -6, -9),
        fx=(250, 900, 2500),
    ),
    'held': dict(
        seed=777,
        music=['Advanced Simulacra', 'By-Product', 'Deprecation', 'Inevitable', 'Media Threat', 'Orbital Elevator',
               'Through Space'],
        at=[61, 120, 184],
        claps=(45, 900, 3200, 40),
        levels=(0, -3, -6),
        fx=(180, 640, 3900),
    ),
}


def db(x):
    return 10 ** (x / 20)


def rms(x):
    return np.sqrt(np.mean(np.square(x)))


def decoded(path, rate, channels, seconds=None, at=0):
    cut = ['-ss', str(at)] + (['-t', str(seconds)] if seconds else [])
    raw = subprocess.run(['ffmpeg', '-v', 'error', *cut, '-i', path, '-ac', str(channels), '-ar', str(rate),
                          '-f', 'f32le', '-'], check=True, capture_output=True).stdout
    return np.frombuffer(raw, '<f4').astype(np.float64).reshape(-1, channels).T


def fitted(x, n=N):
    return np.concatenate([x, np.zeros((*x.shape[:-1], n))], axis=-1)[..., :n]


def pan(x, degrees):
    g = np.tan(np.radians(degrees)) / np.tan(np.radians(30))
    a, b = (1 + g) / 2, (1 - g) / 2
    return np.array([a, b])[:, None] / np.hypot(a, b) * x


def delayed(x, seconds):
    """A delay of any size: by the phase of the whole (padded) signal's spectrum; `seconds` may be a curve."""
    if np.ndim(seconds):
        at = np.arange(len(x)) - seconds * RATE
        wide = signal.resample_poly(x, 16, 1)
        return np.interp(at * 16, np.arange(len(wide)), wide)
    size = 1 << int(np.ceil(np.log2(len(x) + 4096)))
    f = np.fft.rfftfreq(size, 1 / RATE)
    return np.fft.irfft(np.fft.rfft(x, size) * np.exp(-2j * np.pi * f * seconds), size)[: len(x)]


def quarter_turn(x):
    """90 degrees by a linear-phase FIR of 4095 taps (Hilbert), its delay taken off."""
    n = np.arange(-2047, 2048)
    taps = np.where(n % 2 != 0, 2 / (np.pi * np.where(n == 0, 1, n)), 0) * signal.windows.kaiser(4095, 6)
    return signal.oaconvolve(x, -taps)[2047: 2047 + len(x)]


def lt_rt(fronts, centre, ls, rs, side=False):
    """ATSC A/52 section 7.8.2 (Lt/Rt); `side` weighs the surrounds by sqrt(2/3), sqrt(1/3) instead of equally."""
    if side:
        a, b = np.sqrt(2 / 3), np.sqrt(1 / 3)
        return np.array([fronts[0] + K * centre - quarter_turn(a * ls + b * rs),
                         fronts[1] + K * centre + quarter_turn(b * ls + a * rs)])
    s = K * quarter_turn(ls + rs)
    return np.array([fronts[0] + K * centre - s, fronts[1] + K * centre + s])


class Stems:
    def __init__(self, name):
        self.name = name
        self.recipe = SETS[name]
        self.random = np.random.default_rng(self.recipe['seed'])
        self._music = {}
        self._voices = {}
        self._dialogues = {}
        self._rooms = {}
        self._fulls = {}
        self._pink = None

    def normal(self, n=N):
        return self.random.standard_normal(n)

    def music(self, index, n=N):
        """A stereo excerpt with RMS 0.05 in the louder channel."""
        key = (index, n)
        if key not in self._music:
            names, starts = self.recipe['music'], self.recipe['at']
            path = MUSIC + names[index % len(names)] + '.ogg'
            x = fitted(decoded(path, RATE, 2, n / RATE, starts[index // len(names) % len(starts)]), n)
            self._music[key] = x * 0.05 / max(rms(x[0]), rms(x[1]))
        return self._music[key]

    def lines(self, reader=0):
        if reader not in self._voices:
            self._voices[reader] = [x / rms(x[np.abs(x) > 0.05 * np.abs(x).max()]) * 0.1 for x in self.spoken(reader)]
        return self._voices[reader]

    def spoken(self, reader):
        if self.name == 'held':
            folder = '/usr/share/pocketsphinx/test/data/' + ['librivox', 'cards'][reader % 2]
            return [decoded(path, RATE, 1)[0] for path in sorted(glob.glob(folder + '/*.wav'))]
        if reader % 2:
            folder = '/usr/share/asterisk/sounds/en_US_f_Allison/'
            return [decoded(folder + name + '.wav', RATE, 1)[0]
                    for name in ('demo-congrats', 'demo-abouttotry', 'vm-options', 'demo-moreinfo', 'vm-msginstruct')]
        texts = ['The tide turned before we reached the lock, and nobody had closed the gate.',
                 'Then who was on the quay last night, and why is the lamp still burning?',
                 'Leave the rope where it is. We will need every yard of it by morning.',
                 'Listen, that is the bell from the outer buoy, it should not be ringing at all.']
        found = []
        for text, voice in zip(texts, ['en-us+m3', 'en-us+f2', 'en-gb+m7', 'en-us+f4']):
            wav = subprocess.run(['espeak-ng', '-v', voice, '-s', '150', '--stdout', text], check=True,
                                 capture_output=True).stdout
            samples = np.frombuffer(wav[44:], '<i2') / 32768
            found.append(signal.resample_poly(samples, 320, 147))
        return found

    def dialogue(self, reader=0, n=N, gap=0.7, first=0):
        key = (reader % 2, n, gap, first)
        if key not in self._dialogues:
            out = np.zeros(n)
            at, index = int(0.4 * RATE), first
            lines = self.lines(reader % 2)
            while at < n:
                line = lines[index % len(lines)]
                out[at: at + len(line)] += line[: n - at]
                at += len(line) + int(gap * RATE)
                index += 1
            self._dialogues[key] = out
        return self._dialogues[key]

    def dubbed(self, n=N, gap=1.2):
        """The same scene in two languages: lines begin together, and are as long as they are."""
        out = np.zeros((2, n))
        at, index = int(0.4 * RATE), 0
        while at < n:
            pair = [self.lines(reader)[index % len(self.lines(reader))][: 5 * RATE] for reader in (0, 1)]
            for track, line in zip(out, pair):
                track[at: at + len(line)] += line[: n - at]
            at += max(map(len, pair)) + int(gap * RATE)
            index += 1
        return out

    def room(self, x, t60=0.5, below=16):
        key = (id(x), t60, below)
        if key in self._rooms:
            return self._rooms[key][1]
        t = np.arange(int(1.2 * t60 * RATE)) / RATE
        out = []
        for _ in range(2):
            tail = signal.lfilter([0.54], [1, -0.46], self.normal(len(t)) * 10 ** (-3 * t / t60))
            out.append(signal.oaconvolve(x, tail / np.sqrt(np.sum(tail ** 2)))[: len(x)])
        out = np.array(out)
        # The sound is kept with its room, so that its identity stays its own.
        self._rooms[key] = x, out * db(-below) * rms(x) * K / rms(out)
        return self._rooms[key][1]

    def pink(self, n=N):
        """RMS 1; every call cuts another piece of one long noise, so that two pieces share nothing at any short lag."""
        if self._pink is None:
            size = 1 << 22
            spectrum = np.fft.rfft(self.normal(size))
            x = np.fft.irfft(spectrum / np.sqrt(np.maximum(np.fft.rfftfreq(size, 1 / RATE), 20)), size)
            self._pink = x / rms(x)
        return np.roll(self._pink, -int(self.random.integers(0, len(self._pink))))[:n]

    def bed(self, n=N):
        return 0.02 * np.array([self.pink(n), self.pink(n)])

    def effects(self, n=N):
        """Hits on alternating hard sides, every 0.9 s."""
        out = np.zeros((2, n))
        for index in range(int((n / RATE - 1.3) / 0.9)):
            f0 = self.recipe['fx'][index % 3]
            sos = signal.butter(2, [f0 / 2, 3 * f0], 'bandpass', fs=RATE, output='sos')
            decay = 0.18 if index % 3 == 0 else 0.05
            hit = signal.sosfilt(sos, self.normal(RATE // 2)) * np.exp(-np.arange(RATE // 2) / (decay * RATE))
            at = int((0.7 + 0.9 * index) * RATE)
            out[index % 2, at: at + RATE // 2] += 0.5 * hit / np.abs(hit).max()
        return out

    def applause(self, n=N, density=1.0):
        rate, low, high, latest = self.recipe['claps']
        out = np.zeros((2, n))
        for _ in range(int(rate * density * n / RATE)):
            f = self.random.uniform(low, high)
            size = int(self.random.uniform(0.004, 0.018) * RATE)
            sos = signal.butter(2, [0.6 * f, 1.8 * f], 'bandpass', fs=RATE, output='sos')
            clap = signal.sosfilt(sos, self.normal(size)) * np.exp(-5 * np.arange(size) / size)
            pair = pan(clap, self.random.uniform(-30, 30)) * self.random.lognormal(0, 0.6)
            late = int(self.random.integers(0, latest + 1))
            side = int(self.random.integers(0, 2))
            at = int(self.random.integers(0, n - size - latest - 2))
            out[side, at + late: at + late + size] += pair[side]
            out[1 - side, at: at + size] += pair[1 - side]
        return 0.05 * out / rms(out)

    def rain(self, n=N):
        """Drops everywhere (0.3 .. 2 ms, 1 .. 9 kHz) over a diffuse wash, as a spaced pair of microphones hears them."""
        out = 0.3 * np.array([self.pink(n), self.pink(n)])
        at = self.random.integers(0, n - 400, 900 * n // RATE)
        for start in at:
            size = int(self.random.uniform(30, 200))
            f = self.random.uniform(1000, 9000)
            drop = np.sin(2 * np.pi * f / RATE * np.arange(size)) * np.exp(-6 * np.arange(size) / size)
            pair = pan(drop, self.random.uniform(-30, 30)) * self.random.lognormal(0, 0.8)
            late = int(self.random.integers(0, 40))
            side = int(self.random.integers(0, 2))
            out[side, start + late: start + late + size] += pair[side][: n - start - late]
            out[1 - side, start: start + size] += pair[1 - side]
        return 0.05 * out / rms(out)

    def crowd(self, n=N):
        """Two dozen voices at different places, times and distances, each with a delay between the microphones."""
        out = np.zeros((2, n))
        for index in range(24):
            voice = np.roll(self.dialogue(index % 2, n, gap=0.1, first=index), int(self.random.integers(0, n)))
            late = int(self.random.integers(-40, 41))
            pair = pan(voice, self.random.uniform(-30, 30)) * self.random.lognormal(0, 0.5)
            out += np.array([pair[0], np.roll(pair[1], late)]) + self.room(voice, 1.1, 4)
        return 0.05 * out / rms(out)

    def spoken_mix(self, reader=0, n=N):
        dry = self.dialogue(reader, n)
        return pan(dry, 0) + self.room(dry)

    def full(self, index=0, n=N):
        if (index, n) not in self._fulls:
            g = np.tan(np.radians(30 * np.cos(2 * np.pi * np.arange(n) / RATE / 8))) / np.tan(np.radians(30))
            moved = np.array([1 + g, 1 - g]) / np.hypot(1 + g, 1 - g) * db(-9) * 0.05 * self.pink(n)
            self._fulls[index, n] = (self.spoken_mix(index, n) + db(-6) * self.effects(n) + db(-6) * self.bed(n) + moved
                                     + db(-4) * self.music(index, n))
        return self._fulls[index, n]


def with_hiss(s, x, level_dbfs):
    return x + db(level_dbfs) * np.array([s.normal(x.shape[1]), s.normal(x.shape[1])])


def matrixed(s, fronts, dialogue, surrounds, level=0.0, side=False):
    return lt_rt(fronts, dialogue / K * K, db(level) * surrounds[0], db(level) * surrounds[1], side)


def ltc(n, fps, first, drop=False, level=0.2, rise_seconds=25e-6, lead_bits=30):
    """SMPTE ST 12-1 linear timecode: 80 bits a frame, biphase mark, user bits zero; starts amid the label before."""
    bits_out = [label_bits((*first[:3], first[3] - 1), drop)[-lead_bits:]]
    h, m, sec, f = first
    for _ in range(int(n / RATE * fps) + 2):
        bits_out.append(label_bits((h, m, sec, f), drop))
        f += 1
        if f == round(fps):
            f, sec = 0, sec + 1
            if sec == 60:
                sec, m = 0, m + 1
                if drop and m % 10:
                    f = 2
                if m == 60:
                    m, h = 0, (h + 1) % 24
    flips, t, period = [], 0.0, RATE / (fps * 80)
    for bit in np.concatenate(bits_out):
        flips.append(t)
        if bit:
            flips.append(t + period / 2)
        t += period
    index = np.searchsorted(np.array(flips), np.arange(n), side='right')
    slope = np.ones(max(1, int(rise_seconds * RATE)))
    return level * signal.oaconvolve(np.where(index % 2 == 1, 1.0, -1.0), slope / len(slope))[:n]


def label_bits(label, drop):
    h, m, sec, f = label
    bits = np.zeros(80, int)
    fields = [(0, 4, f % 10), (8, 2, f // 10), (16, 4, sec % 10), (24, 3, sec // 10), (32, 4, m % 10), (40, 3, m // 10),
              (48, 4, h % 10), (56, 2, h // 10)]
    for at, count, value in fields:
        bits[at: at + count] = [value >> i & 1 for i in range(count)]
    bits[10] = int(drop)
    bits[64:80] = [0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 1]
    return bits


def plain(cases, s):
    put = lambda name, x, **more: cases.__setitem__(name, (x, dict(kind='plain-stereo', **more)))
    put('plain dialogue + bed', lambda: s.spoken_mix() + s.bed())
    put('plain dialogue + music', lambda: s.spoken_mix() + s.music(0))
    put('plain dialogue + effects', lambda: pan(s.dialogue(), 0) + s.effects() + db(-6) * s.bed())
    put('plain music a', lambda: s.music(1))
    put('plain music b', lambda: s.music(3))
    put('plain full', lambda: s.full(2))
    put('plain applause', lambda: s.applause() + db(-10) * s.bed())
    put('plain applause thin', lambda: s.applause(density=0.25) + db(-20) * s.bed())
    put('plain applause + speech', lambda: s.applause() + s.spoken_mix())
    put('plain bed only', lambda: s.bed())
    put('plain rain', lambda: s.rain())
    put('plain crowd', lambda: s.crowd())
    widen = lambda x: np.array([1.5 * x[0] - 0.5 * x[1], 1.5 * x[1] - 0.5 * x[0]])
    put('plain music widened 6 dB', lambda: widen(s.music(2)))
    put('plain full widened 6 dB', lambda: widen(s.full(3)))

    def spaced():
        near, far = s.dialogue(1, gap=2.5), np.roll(s.dialogue(0, gap=3.1), 3 * RATE)
        return (np.array([near, 0.8 * delayed(near, 90e-6)]) + np.array([0.7 * delayed(far, 160e-6), far])
                + s.room(near + far, 0.4, 10) + db(-14) * s.bed())
    put('plain, two voices of a spaced pair', spaced)


def same_on_both(cases, s):
    def mono():
        x = s.dialogue() + K * s.music(0).sum(0)
        return np.array([x, x])

    def uneven():
        return with_hiss(s, mono() * np.array([[db(1)], [1]]), -80)
    put = lambda name, kind, x, **more: cases.__setitem__(name, (x, dict(kind=kind, **more)))
    flip = np.array([[1], [-1]])
    put('dual mono', 'dual-mono', mono)
    put('dual mono 1 dB, hiss', 'dual-mono', uneven, level=1)
    put('dual mono hiss -62', 'dual-mono', lambda: with_hiss(s, np.array([s.dialogue()] * 2), -62))
    put('mono inverted', 'polarity-inverted', lambda: mono() * flip)
    put('full inverted', 'polarity-inverted', lambda: s.full(0) * flip)
    put('music inverted', 'polarity-inverted', lambda: s.music(1) * flip)
    put('dialogue + music inverted', 'polarity-inverted', lambda: (s.spoken_mix(1) + s.music(4)) * flip)
    put('dialogue + bed inverted', 'polarity-inverted', lambda: (s.spoken_mix(1) + s.bed()) * flip)


def offsets(cases, s):
    def late(x, frames, sign=1):
        return np.array([x[0], sign * delayed(x[1], frames / RATE)])
    put = lambda name, x, lag, **more: cases.__setitem__(name, (x, dict(kind='time-offset', lag=lag, **more)))
    for frames in (3, 24, 480, 1920):
        put(f'full offset {frames}', lambda frames=frames: late(s.full(frames % 3), frames), frames)
        put(f'music offset {frames}', lambda frames=frames: late(s.music(frames % 5), frames), frames)
    put('dialogue + bed offset 24', lambda: late(s.spoken_mix() + s.bed(), 24), 24)
    put('music offset -37.4', lambda: late(s.music(2), -37.4), -37.4)
    put('dual mono offset 7.25', lambda: late(np.array([s.dialogue()] * 2) + s.music(0).sum(0), 7.25), 7.25)
    put('dual mono offset 100 inverted', lambda: late(np.array([s.dialogue()] * 2), 100, -1), 100, inverted=True)


def matrices(cases, s):
    put = lambda name, x, kind='matrix-encoded', **more: cases.__setitem__(name, (x, dict(kind=kind, **more)))
    quiet = np.zeros((2, N))
    speech = lambda reader=0: s.dialogue(reader)
    for level in s.recipe['levels']:
        put(f'Lt/Rt full, bed in S {level} dB',
            lambda level=level: matrixed(s, db(-6) * s.effects() + db(-4) * s.music(0), speech(),
                                         np.sqrt(2) * s.bed() + s.room(speech()), level))
        put(f'Lt/Rt dialogue + music, music in S {level} dB',
            lambda level=level: matrixed(s, db(-6) * s.music(1), speech(), db(-6) * s.music(4), level))
        put(f'Lt/Rt music, other music in S {level} dB',
            lambda level=level: matrixed(s, s.music(3), np.zeros(N), s.music(1), level - 3))
        put(f'Lt/Rt full, bed alone in S {level} dB',
            lambda level=level: matrixed(s, db(-6) * s.effects() + db(-4) * s.music(2), speech(), db(-6) * s.bed(),
                                         level))
        put(f'Lt/Rt dialogue + bed, noise in S {level} dB',
            lambda level=level: matrixed(s, s.bed(), speech(1), s.bed(), level))
    put('Lt/Rt effects, applause in S', lambda: matrixed(s, s.effects(), speech(), s.applause()))
    put('Lt/Rt music, side law', lambda: matrixed(s, s.music(2), np.zeros(N), s.music(0), -5, True))

    def event():
        s_ = np.zeros((2, N))
        s_[:, 9 * RATE: int(10.5 * RATE)] = 3 * s.pink(int(1.5 * RATE)) * 0.05
        return matrixed(s, db(-6) * s.effects() + db(-6) * s.bed() + db(-4) * s.music(2), speech(), s_)
    put('Lt/Rt full, one event of 1.5 s in S', event)
    put('Lt/Rt, silent surrounds', lambda: matrixed(s, s.music(0), speech(), quiet), 'plain-stereo')


def tracks(cases, s):
    put = lambda name, kind, x, **more: cases.__setitem__(name, (x, dict(kind=kind, **more)))
    put('silent', 'silent', lambda: 1e-6 * np.array([s.normal(), s.normal()]))
    put('left only', 'one-sided', lambda: np.array([s.dialogue(), np.zeros(N)]), side='left')
    put('right only over hiss', 'one-sided', lambda: with_hiss(s, np.array([np.zeros(N), s.dialogue()]), -75), side='right')
    mne = lambda i=0: K * s.music(i).sum(0) + 0.01 * s.pink()

    def split(hiss=None, gain=1.0):
        m = mne(0)
        x = np.array([s.dialogue(gap=1.2) + m, gain * m])
        return x if hiss is None else with_hiss(s, x, hiss)
    put('split track', 'split-track', split, side='left')
    put('split track, hiss -65, M&E -2 dB', 'split-track', lambda: split(-65, db(-2)), side='left')

    def split_right():
        m = mne(3)
        return np.array([m, m + s.dialogue(1, gap=1.2)])
    put('split track, mix on the right', 'split-track', split_right, side='right')

    def languages():
        return s.dubbed() + mne(1)
    put('two languages', 'two-languages', languages)
    put('two languages, hiss', 'two-languages', lambda: with_hiss(s, languages(), -66))
    tone = lambda: 0.1 * np.sin(2 * np.pi * 1000 * np.arange(N) / RATE)
    put('tone on the right', 'tone-on-a-track', lambda: np.array([s.dialogue(), tone()]), side='right')
    put('tone on the left, right silent', 'tone-on-a-track', lambda: np.array([tone(), np.zeros(N)]), side='left')
    put('timecode 25 on the right', 'timecode-on-a-track',
        lambda: np.array([s.dialogue(), ltc(N, 25, (10, 0, 0, 3))]), side='right', rate='25', first='10:00:00:03', firstFrame=720)
    put('timecode 29.97 drop on the left', 'timecode-on-a-track',
        lambda: np.array([ltc(N, 30 / 1.001, (0, 59, 50, 7), True), K * s.music(0).sum(0)]),
        side='left', rate='29.97 drop', first='00:59:50;07', firstFrame=601)


def along_time(cases, s):
    put = lambda name, stretches, x, kind='mixed': cases.__setitem__(name, (x, dict(kind=kind, stretches=stretches)))
    whole = 54 * RATE

    def mono(n):
        x = s.dialogue(0, n) + 0.005 * s.pink(n)
        return np.array([x, x])
    put('mono dialogue, stereo titles', [('dual-mono', 0, 31), ('plain-stereo', 31, 54)],
        lambda: np.concatenate([mono(31 * RATE), s.music(1, 23 * RATE)], 1))
    put('stereo titles, mono dialogue', [('plain-stereo', 0, 20.3), ('dual-mono', 20.3, 54)],
        lambda: np.concatenate([s.music(2, int(20.3 * RATE)), mono(whole - int(20.3 * RATE))], 1))

    def flipped():
        x = s.full(1, whole).copy()
        x[1, 27 * RATE:] *= -1
        return x
    put('half the file inverted', [('plain-stereo', 0, 27), ('polarity-inverted', 27, 54)], flipped)

    def reel():
        x = s.full(2, whole).copy()
        x[1, 18 * RATE: 36 * RATE] *= -1
        return x
    put('one reel flipped', [('plain-stereo', 0, 18), ('polarity-inverted', 18, 36), ('plain-stereo', 36, 54)], reel)

    def lost():
        x = s.full(0, whole).copy()
        x[1, 12 * RATE: 40 * RATE] = 0
        return x
    put('right channel lost', [('plain-stereo', 0, 12), ('one-sided', 12, 40), ('plain-stereo', 40, 54)], lost)

    def drop_late():
        x = s.full(1, whole).copy()
        x[1, 27 * RATE:] = delayed(x[1], 480 / RATE)[27 * RATE:]
        return x
    put('late from the middle on', [('plain-stereo', 0, 27), ('time-offset', 27, 54)], drop_late)

    def pauses():
        x = s.full(1, whole).copy()
        x[:, 20 * RATE: int(22.5 * RATE)] = 0
        return x
    put('a pause in plain stereo', [('plain-stereo', 0, 54)], pauses, 'plain-stereo')


def azimuth(cases, s):
    put = lambda name, truth, x, kind: cases.__setitem__(name, (x, dict(kind=kind, azimuth=truth)))
    shift = lambda x, seconds: np.array([x[0], delayed(x[1], seconds)])
    pair = lambda x: np.array([x, x])
    drift = lambda n: 40e-6 * np.arange(n) / n
    put('azimuth 10 us, mono', [10, 10], lambda: with_hiss(s, shift(pair(s.dialogue() + K * s.music(0).sum(0)), 10e-6), -70),
        'dual-mono')
    put('azimuth -10 us, stereo', [-10, -10], lambda: with_hiss(s, shift(s.spoken_mix() + s.music(0), -10e-6), -70), 'plain-stereo')
    put('azimuth 10 us, full', [10, 10], lambda: shift(s.full(2), 10e-6), 'plain-stereo')
    put('azimuth 10 us, music', [10, 10], lambda: shift(s.music(3), 10e-6), 'plain-stereo')
    put('azimuth 30 us, speech', [30, 30], lambda: with_hiss(s, shift(pair(s.dialogue()), 30e-6), -62), 'dual-mono')
    put('azimuth 0 to 40 us, mono', [0, 40],
        lambda: with_hiss(s, shift(pair(s.dialogue() + K * s.music(1).sum(0)), drift(N)), -70), 'dual-mono')
    put('azimuth 0 to 40 us, stereo', [0, 40], lambda: shift(s.spoken_mix(1) + s.music(1), drift(N)), 'plain-stereo')


def main():
    name, out, wanted = sys.argv[1], sys.argv[2], sys.argv[3:]
    os.makedirs(out, exist_ok=True)
    s = Stems(name)
    cases = {}
    for group in (plain, same_on_both, offsets, matrices, tracks, along_time, azimuth):
        group(cases, s)
    truths = {}
    for case, (make, truth) in cases.items():
        if wanted and case not in wanted:
            continue
        x = np.asarray(make())
        file = f'{len(truths)}.f32'
        x.T.astype('<f4').tofile(os.path.join(out, file))
        truths[case] = dict(truth, file=file)
    with open(os.path.join(out, 'cases.json'), 'w') as f:
        json.dump(truths, f)


if __name__ == '__main__':
    main()

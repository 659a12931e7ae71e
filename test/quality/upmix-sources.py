"""Two-track masters with planted delays, hiss, rain and bass, for the test of what the upmix does with them.

Usage: upmix-sources.py make OUT_FOLDER       writes NAME.f32 (interleaved stereo); the rate stands in RATES.
       upmix-sources.py bands FILE RATE LO HI [FROM TO]   mean square in dB of a mono f32 file between LO and HI Hz
       upmix-sources.py thirds FILE RATE      mean squares in dB of the third-octave bands from 20 to 200 Hz
Voices: acted lines of fillets-ng-data-cs; music: singularity-music. NumPy and SciPy delay and filter.
"""
import glob
import json
import subprocess
import sys

import numpy as np
from scipy import signal

RATE = 48000
SECONDS = 12
N = RATE * SECONDS


def decoded(path, channels, seconds, at=0):
    raw = subprocess.run(['ffmpeg', '-v', 'error', '-ss', str(at), '-t', str(seconds), '-i', path, '-ac', str(channels),
                          '-ar', str(RATE), '-f', 'f32le', '-'], check=True, capture_output=True).stdout
    return np.frombuffer(raw, '<f4').astype(float).reshape(-1, channels).T


def delayed(x, seconds, rate=RATE):
    """By the phase of the whole padded spectrum; a curve of delays by SciPy's 16-fold interpolation."""
    if np.ndim(seconds):
        wide = signal.resample_poly(x, 16, 1)
        return np.interp((np.arange(len(x)) - seconds * rate) * 16, np.arange(len(wide)), wide)
    size = 1 << int(np.ceil(np.log2(len(x) + 4096)))
    f = np.fft.rfftfreq(size, 1 / rate)
    return np.fft.irfft(np.fft.rfft(x, size) * np.exp(-2j * np.pi * f * seconds), size)[: len(x)]


def level(x, db):
    return x / np.sqrt(np.mean(x**2)) * 10 ** (db / 20)


def make(folder):
    rng = np.random.default_rng(91)
    lines = sorted(glob.glob('/usr/share/games/fillets-ng/sound/gods/cs/*.ogg'))[1:12]
    voice = np.concatenate([np.append(decoded(path, 1, 30)[0], np.zeros(RATE * 7 // 10)) for path in lines])
    voice = level(np.resize(voice, N), -23)
    tracks = sorted(glob.glob('/usr/share/games/singularity/music/*.ogg'))
    music = [decoded(path, 2, SECONDS, 50) for path in (tracks[1], tracks[5], tracks[8])]
    bed = level(music[0], -31)
    tail = 10 ** (-3 * np.arange(RATE // 2) / (RATE // 2))
    room = np.array([signal.fftconvolve(voice, rng.standard_normal(len(tail)) * tail)[:N] for _ in range(2)])
    hiss = level(rng.standard_normal((2, N)), -60)
    b, a = signal.butter(1, [500, 9000], 'band', fs=RATE)
    drops = np.zeros((2, N))
    for _ in range(SECONDS * 200):
        at = rng.integers(0, N - 200)
        drops[rng.integers(0, 2), at:at + 200] += rng.standard_normal(200) * np.exp(-np.arange(200) / 40)
    rain = level(signal.lfilter(b, a, rng.standard_normal((2, N))), 0) + level(drops, 0)
    half = np.arange(N) >= N / 2
    speech = np.array([voice, voice])
    drift = np.linspace(0, 40e-6, N)
    made = {
        'speech': speech,
        'speech-20us': np.array([voice, delayed(voice, 20e-6)]),
        'speech-drift': np.array([voice, delayed(voice, drift)]),
        'mix': speech + bed,
        'mix-20us': np.array([voice + bed[0], delayed(voice + bed[1], 20e-6)]),
        'mix-drift': np.array([voice + bed[0], delayed(voice + bed[1], drift)]),
        'hiss': hiss,
        'speech-hiss': speech + hiss,
        'room-hiss': speech + level(room, -39) + hiss,
        'bass': np.array([signal.lfilter(*signal.butter(2, [30, 150], 'band', fs=RATE), rng.standard_normal(N))] * 2),
    }
    for name, db, where in (('rain-40', -40, 1), ('rain-52', -52, 1), ('rain-late', -52, half)):
        made[name] = level(rain, db) * where
        made[f'speech-{name}'] = speech + made[name]
    for number, each in enumerate(music):
        made[f'music-{number}'] = each
    rates = dict.fromkeys(made, RATE)
    for rate in (44100, 88200, 96000):
        up = np.gcd(rate, RATE)
        there = signal.resample_poly(voice, rate // up, RATE // up)
        made[f'speech@{rate}'] = np.array([there, there])
        made[f'speech-20us@{rate}'] = np.array([there, delayed(there, 20e-6, rate)])
        rates[f'speech@{rate}'] = rates[f'speech-20us@{rate}'] = rate
    for name, both in made.items():
        both.T.astype('<f4').tofile(f'{folder}/{name}.f32')
    # Where the voice sounds, and where it does not for a quarter of a second around: 50 ms steps.
    power = np.mean(voice.reshape(-1, RATE // 20) ** 2, axis=1)
    wide = np.convolve(power > 1e-6, np.ones(11), 'same') > 0
    json.dump({'rates': rates, 'speaks': (power > 1e-4).tolist(), 'rests': (~wide).tolist()},
              open(f'{folder}/made.json', 'w'))


def powers(path, rate):
    x = np.fromfile(path, '<f4').astype(float)
    return np.fft.rfftfreq(len(x), 1 / rate), 2 * np.abs(np.fft.rfft(x)) ** 2 / len(x) ** 2


def between(f, p, low, high):
    return 10 * np.log10(np.sum(p[(f >= low) & (f < high)]) + 1e-30)


if sys.argv[1] == 'make':
    make(sys.argv[2])
elif sys.argv[1] == 'bands':
    print(between(*powers(sys.argv[2], float(sys.argv[3])), float(sys.argv[4]), float(sys.argv[5])))
else:
    f, p = powers(sys.argv[2], float(sys.argv[3]))
    centres = 1000 * 2.0 ** (np.arange(-17, -6) / 3)
    print(json.dumps([between(f, p, c * 2 ** (-1 / 6), c * 2 ** (1 / 6)) for c in centres]))

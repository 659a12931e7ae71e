"""The low end before and after, in float64 SciPy and apart from the product.
Usage: low-end-oracle.py BEFORE AFTER CROSSOVER_HZ FIRST_SECOND END_SECOND
Raw interleaved s24le 5.1 at 48 kHz; prints one JSON object."""
import json
import sys

import numpy as np
from scipy.signal import butter, sosfiltfilt

RATE = 48000


def channels(path):
    b = np.fromfile(path, np.uint8).reshape(-1, 3).astype(np.int32)
    return ((b[:, 0] | b[:, 1] << 8 | b[:, 2] << 16) << 8 >> 8).astype(np.float64).reshape(-1, 6) / 2**23


def low_levels(x, hz):
    """Mean square below the crossover, all channels but the LFE, over 300 ms around each 100 ms, in dB."""
    low = sosfiltfilt(butter(2, hz, fs=RATE, output='sos'), x[:, [0, 1, 2, 4, 5]], axis=0)
    power = (low**2).sum(1).reshape(-1, RATE // 10).mean(1)
    return 10 * np.log10(np.convolve(power, np.ones(3) / 3, 'same'))


def thirds(x):
    """Power in each third of an octave from 200 Hz to 16 kHz, of one channel."""
    power = np.abs(np.fft.rfft(x * np.hanning(len(x)))) ** 2
    hertz = np.arange(len(power)) * RATE / len(x)
    edges = 200 * 2 ** (np.arange(20) / 3)
    return np.array([power[(hertz >= a) & (hertz < b)].sum() for a, b in zip(edges, edges[1:])])


before_path, after_path, hz, first, end = sys.argv[1], sys.argv[2], *map(float, sys.argv[3:])
before, after = channels(before_path), channels(after_path)
was, is_now = low_levels(before, hz), low_levels(after, hz)
line = np.sort(was)[int(0.95 * (len(was) - 1))] + 3
inside = slice(int(first * RATE), int(end * RATE))
settled = slice(int(first * 10) + 2, int(end * 10) - 2)
clicks = sosfiltfilt(butter(4, 200, 'highpass', fs=RATE, output='sos'), np.stack([before[:, 0], after[:, 0]], 1), axis=0)
peaks = np.abs(clicks[inside]).max(0)
quiet = np.ones(len(before), bool)
quiet[int((first - 1.8) * RATE) : int((end + 1.8) * RATE)] = False
mains = [0, 1, 2, 4, 5]
change = max(np.abs(10 * np.log10(thirds(after[inside, c]) / thirds(before[inside, c]))).max() for c in mains)
fold = lambda x: x[:, [0, 1]] + np.sqrt(0.5) * x[:, [2]] + np.sqrt(0.5) * x[:, [4, 5]]
print(json.dumps({
    'overBeforeDb': float((was[settled] - line).max()),
    'overAfterDb': float((is_now[settled] - line).max()),
    'underAfterDb': float((is_now[settled] - line).min()),
    'changeAbove200Db': float(change),
    'clickChangeDb': float(20 * np.log10(peaks[1] / peaks[0])),
    'changedOutside': int(np.count_nonzero(before[quiet] != after[quiet])),
    'lfeChanged': int(np.count_nonzero(before[:, 3] != after[:, 3])),
}))

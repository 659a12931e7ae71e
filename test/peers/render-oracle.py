"""Outside checks of rendered words in float64 NumPy and SciPy, written from the definitions and apart from the product.
Usage: render-oracle.py words SIX TWO BITS | distortion FILE HZ | sidebands FILE HZ
Words are raw interleaved little-endian PCM, the tone is raw float64; prints one JSON object."""
import json
import sys

import numpy as np
from scipy.signal import firwin, resample_poly


def words(path, channels, bits):
    raw = np.fromfile(path, np.uint8)
    if bits == 16:
        return raw.view('<i2').astype(np.float64).reshape(-1, channels)
    b = raw.reshape(-1, 3).astype(np.int32)
    return ((b[:, 0] | b[:, 1] << 8 | b[:, 2] << 16) << 8 >> 8).astype(np.float64).reshape(-1, channels)


def peak_dbtp(x):
    """Sixteen-fold by SciPy's polyphase resampler with its own Kaiser design, 96 taps a phase."""
    taps = firwin(2 * 48 * 16 + 1, 1 / 16, window=('kaiser', 6.0))
    loudest = max(np.abs(resample_poly(column, 16, 1, window=taps)).max() for column in x.T)
    return 20 * np.log10(max(loudest, np.abs(x).max()))


def rendered(six, two, bits):
    """True peaks of both, and Lo/Ro of the 5.1 words (ITU-R BS.775-4 Table 2, k = sqrt(1/2)), summed and rounded in
    two ways, against the words of the stereo."""
    x, y = words(six, 6, int(bits)), words(two, 2, int(bits))
    lo_ro = x[:, [0, 1]] + np.sqrt(0.5) * x[:, [2]] + np.sqrt(0.5) * x[:, [4, 5]]
    lo_ro_otherwise = x[:, [0, 1]] + np.sqrt(0.5) * (x[:, [2]] + x[:, [4, 5]])
    full_scale = 2.0 ** (int(bits) - 1)
    return {'six': peak_dbtp(x / full_scale), 'two': peak_dbtp(y / full_scale),
            'differing': int(np.count_nonzero(np.floor(lo_ro + 0.5) != y)),
            'differingByRint': int(np.count_nonzero(np.rint(lo_ro_otherwise) != y))}


def distortion(path, hertz):
    """What is not the tone, over the tone, of one steady second at 48 kHz: THD+N by least squares."""
    y = np.fromfile(path, '<f8')
    t = np.arange(len(y)) / 48000
    basis = np.stack([np.sin(2 * np.pi * float(hertz) * t), np.cos(2 * np.pi * float(hertz) * t), np.ones(len(t))], 1)
    fit, *_ = np.linalg.lstsq(basis, y, rcond=None)
    rest, tone = y - basis @ fit, basis[:, :2] @ fit[:2]
    return {'thdDb': 10 * np.log10((rest @ rest) / (tone @ tone)),
            'levelDb': 20 * np.log10(np.hypot(fit[0], fit[1]))}


def sidebands(path, hertz):
    """The strongest line within 100 Hz of a tone whose gain moves, over the tone: Blackman-Harris, so that leakage stays
    below -90 dB beyond four bins."""
    y = np.fromfile(path, '<f8')
    n = np.arange(len(y))
    a = [0.35875, 0.48829, 0.14128, 0.01168]
    window = sum((-1) ** k * a[k] * np.cos(2 * np.pi * k * n / len(y)) for k in range(4))
    lines = np.abs(np.fft.rfft(y * window))
    bins = np.arange(len(lines)) * 48000 / len(y)
    away = np.abs(bins - float(hertz))
    carrier = lines[away < 0.4].max()
    return {'strongestDbc': 20 * np.log10(lines[(away > 0.4) & (away < 100)].max() / carrier)}


print(json.dumps({'words': rendered, 'distortion': distortion, 'sidebands': sidebands}[sys.argv[1]](*sys.argv[2:])))

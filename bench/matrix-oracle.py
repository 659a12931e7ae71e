"""What any decoder of Lt/Rt with our re-encode lock could reach, and what any function of a tile's powers could.

Usage: python3 bench/matrix-oracle.py        prints the tables of docs/lt-rt-quality.md

L' = Lt - k C + k S and R' = Rt - k C - k S follow from C and S, and with sources at L, R, C and S alone the errors of the
fronts are sum and difference of those of C and S: the weights that send the least energy astray are two Wiener filters.
"""
import importlib.util
import os

import numpy as np
from scipy.ndimage import uniform_filter1d

_spec = importlib.util.spec_from_file_location(
    'matrix_mixes',
    os.path.join(os.path.dirname(os.path.abspath(__file__)), '..', 'test', 'quality', 'matrix-mixes.py'))
mixes = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(mixes)

K = np.sqrt(0.5)
SECONDS = 12
TRANSFORM, HOP = 4096, 1024
WINDOW = np.sqrt(np.hanning(TRANSFORM + 1)[:-1])
DIRECTIONS = {'L': (1, 0), 'R': (0, 1), 'C': (K, K), 'S': (-K, K)}
MIRRORED = {'L': 'R', 'R': 'L', 'C': 'C', 'S': 'S'}
# Cells of (P_L - P_R), 2 Re X and 2 |Im X|, each over P_L + P_R.
CELLS = (25, 25, 7)
SHOWN = ('four-way', 'c-s-music')
FITTED_ON = ('four-way', 'four-music', 'film', 'show')


def transformed(x):
    x = np.pad(x, TRANSFORM)
    frames = np.lib.stride_tricks.sliding_window_view(x, TRANSFORM)[::HOP]
    return np.fft.rfft(frames * WINDOW)


def in_time(spectrum, length):
    frames = np.fft.irfft(spectrum) * WINDOW
    out = np.zeros(TRANSFORM * 2 + HOP * len(frames))
    for i, frame in enumerate(frames):
        out[i * HOP:i * HOP + TRANSFORM] += frame
    return out[TRANSFORM:TRANSFORM + length] / 2


def averaged(powers, half, bins):
    if half:
        weights = 1 + np.cos(np.pi * np.arange(-half, half + 1) / (half + 1))
        weights /= weights.sum()
        powers = np.apply_along_axis(lambda x: np.convolve(x, weights, 'same'), 0, powers)
    return uniform_filter1d(powers, bins, axis=1) if bins > 1 else powers


class Programme:
    def __init__(self, sources):
        self.parts = {name: np.array(pair) for name, pair in mixes.encoded(sources).items() if name in sources}
        self.tracks = sum(self.parts.values())
        own = {'L': lambda p: p[0], 'R': lambda p: p[1], 'C': lambda p: p[1] / K, 'S': lambda p: p[1] / K}
        self.sources = {name: own[name](pair) for name, pair in self.parts.items()}
        self.spectra = {name: transformed(x) for name, x in self.sources.items()}


def wiener(powers, leak):
    """The weights (of Lt, of Rt) of C and S, from the power of each source."""
    total = lambda i, j: sum(p * DIRECTIONS[name][i] * DIRECTIONS[name][j] for name, p in powers.items())
    left, right, cross = total(0, 0), total(1, 1), total(0, 1)
    more = leak * (left + right) + 1e-14
    left, right = left + more, right + more
    determinant = left * right - cross ** 2
    zero = np.zeros_like(left)
    weights = {}
    for name in 'CS':
        a, b = (powers.get(name, zero) * direction for direction in DIRECTIONS[name])
        weights[name] = ((a * right - b * cross) / determinant, (b * left - a * cross) / determinant)
    return weights


def best_of_tiles(programme, half, bins):
    powers = {name: averaged(abs(x) ** 2, half, bins) for name, x in programme.spectra.items()}
    return wiener(powers, 1e-9)


def cells_of(tracks, half):
    """Which cell of the table each tile belongs to, by what the two tracks alone tell."""
    left, right = (transformed(x) for x in tracks)
    cross = left * right.conj()
    p, q, re, im = (averaged(x, half, 1) for x in (abs(left) ** 2, abs(right) ** 2, cross.real, cross.imag))
    total = p + q + 1e-14
    at = lambda x, low, count: np.clip(((x - low) / (1 - low) * count).astype(int), 0, count - 1)
    first, second, third = at((p - q) / total, -1, CELLS[0]), at(2 * re / total, -1, CELLS[1]), at(
        2 * abs(im) / total, 0, CELLS[2])
    return (first * CELLS[1] + second) * CELLS[2] + third


def fitted_table(programmes, half):
    """The best weights of each cell over some programmes, each also with its sides exchanged."""
    count = int(np.prod(CELLS))
    powers = {name: np.full(count, 1e-20) for name in DIRECTIONS}
    for programme in programmes:
        for tracks, name_of in ((programme.tracks, lambda n: n), (programme.tracks[::-1], MIRRORED.get)):
            cells = cells_of(tracks, half).ravel()
            for name, spectrum in programme.spectra.items():
                powers[name_of(name)] += np.bincount(cells, (abs(spectrum) ** 2).ravel(), count)
    return wiener(powers, 1e-4)


def from_table(programme, table, half):
    cells = cells_of(programme.tracks, half)
    return {name: tuple(weight[cells] for weight in pair) for name, pair in table.items()}


def decoded(tracks, weights):
    left, right = (transformed(x) for x in tracks)
    length = tracks.shape[1]
    c, s = (in_time(weights[name][0] * left + weights[name][1] * right, length) for name in 'CS')
    return {'L': tracks[0] - K * c + K * s, 'R': tracks[1] - K * c - K * s, 'C': c, 'S': s}


def judged(programme, weights):
    """Separation and SI-SDR of each source, as test/testkit/matrix-mixes.ts judges."""
    energy = lambda x: float((x * x).sum())
    db = lambda ratio: 10 * np.log10(ratio)
    whole = decoded(programme.tracks, weights)
    words = []
    for name, source in programme.sources.items():
        sent = decoded(programme.parts[name], weights)
        separation = db(energy(sent[name]) / max(energy(x) for other, x in sent.items() if other != name))
        gain = (whole[name] * source).sum() / energy(source)
        clean = db(gain ** 2 * energy(source) / energy(whole[name] - gain * source))
        words.append(f'{name} {separation:.1f} ({clean:.1f})')
    return ', '.join(words)


def main():
    sets = {name: {title: Programme(sources) for title, sources in mixes.programmes(name, SECONDS)
                   if title in SHOWN + FITTED_ON} for name in ('tune', 'held')}
    for title in SHOWN:
        print(f'\n{title}, held out: separation (clean), dB')
        programme = sets['held'][title]
        for words, half, bins in (('best of each tile', 0, 1), ('of averages over 0.06 s', 1, 1),
                                  ('of averages over 0.15 s', 3, 1), ('of averages over 8 bins', 0, 8),
                                  ('of averages over 0.26 s and 24 bins', 6, 24)):
            print(f'| {words} | {judged(programme, best_of_tiles(programme, half, bins))} |')
        for half, words in ((0, 'a tile'), (3, '0.15 s')):
            table = fitted_table([sets['tune'][each] for each in FITTED_ON], half)
            print(f'| best function of {words} | {judged(programme, from_table(programme, table, half))} |')


if __name__ == '__main__':
    main()

"""Lt/Rt programmes whose four sources are known.

Usage: matrix-mixes.py SET OUT_FOLDER SECONDS [PROGRAMME...]   writes NAME.f32 (planar float32: Lt, Rt, then what L, R, C and S put into
Lt and Rt, two planes each; S is heard as it was encoded, 90 degrees turned) and programmes.json.
The sounds are those of two-track-mixes.py: set "tune" and, other music, other voices, other effects, set "held".
"""
import importlib.util
import json
import os
import sys

import numpy as np

_spec = importlib.util.spec_from_file_location(
    'two_track_mixes', os.path.join(os.path.dirname(os.path.abspath(__file__)), 'two-track-mixes.py'))
two_track = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(two_track)
K, RATE, db, rms, quarter_turn = two_track.K, two_track.RATE, two_track.db, two_track.rms, two_track.quarter_turn


def programmes(name, seconds):
    """(programme, {source: signal}) one at a time."""
    s = two_track.Stems(name)
    n = int(seconds * RATE)
    music = lambda i: s.music(i, n).mean(axis=0) * 0.05 / rms(s.music(i, n).mean(axis=0))
    speech = lambda i=0: s.dialogue(i, n)
    pink = lambda: 0.05 * s.pink(n)
    for x in 'LRCS':
        yield 'only-' + x, {x: speech()}
        yield 'only-music-' + x, {x: music(0)}
    half = np.array([np.cos(np.pi / 8), np.sin(np.pi / 8)])
    yield 'half-left', {'L': half[1] * speech(), 'C': half[0] * speech()}
    yield 'c-s-noise', {'C': speech(), 'S': db(-6) * pink()}
    yield 'c-s-music', {'C': speech(), 'S': music(1)}
    yield 'c-lr-music', {'C': speech(), 'L': music(1), 'R': music(2)}
    yield 'four-way', {'L': music(0), 'R': music(1), 'C': speech(1), 'S': music(2)}
    yield 'four-music', {'L': music(3), 'R': music(1), 'C': music(0), 'S': music(2)}
    yield 'four-noise', {x: pink() for x in 'LRCS'}
    yield 'lr-music', {'L': music(1), 'R': music(0)}
    yield 'lr-noise', {'L': pink(), 'R': pink()}
    yield 'cs-noise', {'C': pink(), 'S': pink()}
    yield 'ls-music', {'L': music(2), 'S': music(0)}
    effects = s.effects(n) * db(-6)
    rain = s.rain(n).sum(axis=0) * 0.7
    yield 'film', {'L': effects[0], 'R': effects[1], 'C': speech(), 'S': rain}
    crowd = s.applause(n).sum(axis=0)
    yield 'show', {'L': music(4), 'R': music(2), 'C': speech(1), 'S': 0.5 * crowd}
    bed = s.bed(n)
    yield 'drama', {'L': bed[0], 'R': bed[1], 'C': speech(), 'S': 0.02 * s.pink(n)}


def encoded(sources):
    """What each of the four puts into Lt and Rt."""
    zero = np.zeros_like(next(iter(sources.values())))
    at = lambda x: sources.get(x, zero)
    s = K * quarter_turn(at('S'))
    return {'L': (at('L'), zero), 'R': (zero, at('R')), 'C': (K * at('C'), K * at('C')), 'S': (-s, s)}


def main(name, folder, seconds, *wanted):
    os.makedirs(folder, exist_ok=True)
    listed = {}
    for programme, sources in programmes(name, float(seconds)):
        if wanted and programme not in wanted:
            continue
        parts = encoded(sources)
        total = sum(np.array(pair) for pair in parts.values())
        planes = np.concatenate([total, *[np.array(parts[x]) for x in 'LRCS']])
        planes.astype('<f4').tofile(os.path.join(folder, programme + '.f32'))
        listed[programme] = [x for x in 'LRCS' if x in sources]
    with open(os.path.join(folder, 'programmes.json'), 'w') as file:
        json.dump(listed, file)


if __name__ == '__main__':
    main(*sys.argv[1:])

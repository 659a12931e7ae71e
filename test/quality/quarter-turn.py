"""The encoder's filter against scipy.signal.hilbert: worst error in dB re the signal, in the middle of band noise."""
import importlib.util
import json
import os

import numpy as np
from scipy import signal

_spec = importlib.util.spec_from_file_location(
    'two_track_mixes', os.path.join(os.path.dirname(os.path.abspath(__file__)), 'two-track-mixes.py'))
two_track = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(two_track)

rate = two_track.RATE
x = np.random.default_rng(5).standard_normal(1 << 17)
x = signal.sosfiltfilt(signal.butter(8, [60, 20000], 'bandpass', fs=rate, output='sos'), x) * signal.windows.tukey(len(x))
turned, wanted = two_track.quarter_turn(x), np.imag(signal.hilbert(x))
inside = slice(4096, -4096)
# Whichever way it turns, it turns all of it: the law's S is heard as it was encoded.
error = min(two_track.rms((turned - sign * wanted)[inside]) for sign in (1, -1))
print(json.dumps({'worst_db': float(20 * np.log10(error / two_track.rms(wanted[inside])))}))

"""Brings raw float64 (stdin) from argv[1] Hz to 16 kHz with SciPy; float64 on stdout."""
import sys
from math import gcd

import numpy as np
from scipy.signal import firwin, resample_poly

rate = int(sys.argv[1])
shared = gcd(rate, 16000)
up, down = 16000 // shared, rate // shared
# Long and steep, so that nothing of the comparison is the oracle's own: stop band below -120 dB from 8 kHz on.
taps = 2 * 200 * max(up, down) + 1
low_pass = firwin(taps, 7700, window=("kaiser", 12.5), fs=up * rate)
signal = np.frombuffer(sys.stdin.buffer.read(), dtype="<f8")
sys.stdout.buffer.write(resample_poly(signal, up, down, window=low_pass).astype("<f8").tobytes())

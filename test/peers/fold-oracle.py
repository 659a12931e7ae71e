"""Folds raw 24-bit 5.1 (stdin) down with NumPy and SciPy; float64 in steps of the word on stdout."""
import sys

import numpy as np
from scipy.signal import hilbert

raw = np.frombuffer(sys.stdin.buffer.read(), dtype=np.uint8).reshape(-1, 6, 3).astype(np.int32)
words = (raw[:, :, 0] | (raw[:, :, 1] << 8) | (raw[:, :, 2] << 16)) << 8 >> 8
K = np.sqrt(0.5)
# Columns L R C LFE Ls Rs: ITU-R BS.775-4 Table 2.
LO_RO = np.array([[1, 0, K, 0, K, 0], [0, 1, K, 0, 0, K]])
MONO = np.array([[K, K, 1, 0, 0.5, 0.5]])

if sys.argv[1] == "lt-rt":
    left, right, centre, _, left_surround, right_surround = words.T.astype(np.float64)
    # The analytic signal's imaginary part lags by 90 degrees; its negative leads.
    turned = -np.imag(hilbert(left_surround + right_surround))
    folded = np.stack([left + K * centre - K * turned, right + K * centre + K * turned], axis=1)
else:
    folded = np.floor(words @ (LO_RO if sys.argv[1] == "lo-ro" else MONO).T + 0.5)
sys.stdout.buffer.write(np.ascontiguousarray(folded, dtype="<f8").tobytes())

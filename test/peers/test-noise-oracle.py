"""What SciPy finds in a second of noise (float32 on stdin, argv: rate): levels in dB, and where they lie."""
import json
import sys

import numpy as np
from scipy import signal

rate = int(sys.argv[1])
noise = np.frombuffer(sys.stdin.buffer.read(), np.float32).astype(float)
repeated = np.tile(noise, 30)
hz, density = signal.welch(repeated, rate, "boxcar", nperseg=rate, noverlap=0, detrend=False)
power = density * (hz[1] - hz[0])


def level(low, high, weight=1.0):
    """Level of a band in dB re the power of a full-scale sine (AES17)."""
    return 10 * np.log10(2 * np.sum((power * weight)[(hz >= low) & (hz < high)]) + 1e-30)


# IEC 61672-1, annex E: the C-weighting.
c_weight = 10 ** (0.062 / 10) * (12194.0**2 * hz**2 / ((hz**2 + 20.6**2) * (hz**2 + 12194.0**2))) ** 2
print(
    json.dumps(
        {
            "rmsDbfs": 10 * np.log10(2 * np.mean(repeated**2)),
            "octaves": {str(low): level(low, 2 * low) for low in (30, 60, 120, 250, 500, 1000, 2000)},
            "peakDbfs": 20 * np.log10(np.abs(noise).max()),
            "cWeightedDb": level(1, rate / 2, c_weight),
        }
    )
)

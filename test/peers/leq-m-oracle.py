"""Leq(m) of raw float64 5.1 in ISO 21727's terms, by the spectrum of the whole signal and the response of the network
of ITU-R BS.468 itself: no filter is run. argv: path, sample rate."""
import sys
import numpy as np
from scipy import signal

path, rate = sys.argv[1], int(sys.argv[2])
planes = np.fromfile(path, dtype="<f8").reshape(-1, 6)
frames = len(planes)

# The network as an analogue transfer function in s = j f (ITU-R BS.468-4 Figure 1a; coefficients from memory).
numerator = [1.246332637532143e-4, 0]
denominator = [
    4.737338981378384e-24,
    1.306612257412824e-19,
    2.043828333606125e-15,
    2.118150887518656e-11,
    1.363894795463638e-7,
    5.559488023498642e-4,
    1,
]
length = 2 * frames
frequencies = np.fft.rfftfreq(length, 1 / rate)
_, response = signal.freqs(numerator, denominator, np.append(frequencies, 6300.0))
# ISO 21727 Table 1: 6.6 dB at 6.3 kHz without tolerance.
weight = np.abs(response[:-1] / response[-1]) ** 2 * 10 ** (6.6 / 10)

levels = [85, 85, 85, 95, 82, 82]  # L R C LFE Ls Rs
total = 0.0
for channel, level in enumerate(levels):
    power = np.abs(np.fft.rfft(planes[:, channel], length)) ** 2 * weight
    energy = (2 * power.sum() - power[0] - power[-1]) / length
    # -20 dB below a full-scale sine stands for the level.
    total += 10 ** (level / 10) * energy / frames / (0.5 * 10 ** (-20 / 10))
print(10 * np.log10(total))

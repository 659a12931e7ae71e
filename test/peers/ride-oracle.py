"""A programme before and after a ride, by general-purpose code: SciPy filters, NumPy gains, libebur128's readings."""
import ctypes
import json
import subprocess
import sys

import numpy
from scipy.signal import sosfilt

RATE = 48000
# ITU-R BS.1770-5 Annex 1, Tables 1 and 2.
K_WEIGHTING = numpy.array([
    [1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585],
    [1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621],
])
GLOBAL, MOMENTARY, SHORT_TERM, RANGE = 5, 1, 3, 11


def decode(path, start, seconds):
    command = ['ffmpeg', '-v', 'error', '-ss', str(start), '-t', str(seconds), '-i', path]
    raw = subprocess.run(command + ['-ar', str(RATE), '-ac', '2', '-f', 'f64le', '-'], check=True, capture_output=True)
    return numpy.frombuffer(raw.stdout).reshape(-1, 2)


def louder(audio, passages):
    """Raises passages [from, to, dB], so that a line is crossed."""
    audio = audio.copy()
    for start, end, gain in passages:
        audio[int(start * RATE):int(end * RATE)] *= 10 ** (gain / 20)
    return audio


def energies(audio):
    weighted = sosfilt(K_WEIGHTING, audio, axis=0) ** 2
    hops = len(weighted) // 480
    return weighted[:hops * 480].reshape(hops, -1).sum(axis=1) / 480


def ridden(audio, static_gain, ride):
    """Linear in dB per frame between hop centres, held outside them."""
    centres = (numpy.arange(len(ride)) + 0.5) * RATE / 10
    gain = static_gain + numpy.interp(numpy.arange(len(audio)) + 0.5, centres, ride)
    return audio * 10 ** (gain[:, None] / 20)


def libebur128_readings(audio):
    library = ctypes.CDLL('libebur128.so.1')
    library.ebur128_init.restype = ctypes.c_void_p
    state = ctypes.c_void_p(library.ebur128_init(2, ctypes.c_ulong(RATE), GLOBAL | MOMENTARY | SHORT_TERM | RANGE))
    value = ctypes.c_double()
    highest = {'ebur128_loudness_momentary': -numpy.inf, 'ebur128_loudness_shortterm': -numpy.inf}
    for start in range(0, len(audio) - 479, 480):
        block = numpy.ascontiguousarray(audio[start:start + 480])
        library.ebur128_add_frames_double(state, block.ctypes.data_as(ctypes.c_void_p), ctypes.c_size_t(480))
        for name, window in (('ebur128_loudness_momentary', 0.4), ('ebur128_loudness_shortterm', 3)):
            if start + 480 >= window * RATE:
                getattr(library, name)(state, ctypes.byref(value))
                highest[name] = max(highest[name], value.value)
    library.ebur128_loudness_range(state, ctypes.byref(value))
    loudness_range = value.value
    library.ebur128_loudness_global(state, ctypes.byref(value))
    return {
        'total': value.value,
        'range': loudness_range,
        'rangeByFfmpeg': ffmpeg_range(audio),
        'maxMomentary': highest['ebur128_loudness_momentary'],
        'maxShortTerm': highest['ebur128_loudness_shortterm'],
    }


def ffmpeg_range(audio):
    """The last loudness range in the metadata of FFmpeg's meter."""
    command = ['ffmpeg', '-v', 'error', '-f', 'f64le', '-ar', str(RATE), '-ac', '2', '-i', '-']
    command += ['-af', 'ebur128=metadata=1,ametadata=print:key=lavfi.r128.LRA:file=-', '-f', 'null', '-']
    said = subprocess.run(command, input=audio.tobytes(), check=True, capture_output=True).stdout.decode()
    return float([line for line in said.splitlines() if 'LRA=' in line][-1].split('=')[1])


def main():
    task = json.load(sys.stdin)
    audio = louder(decode(task['path'], task['startSeconds'], task['seconds']), task['louder'])
    if 'ride' not in task:
        return {'frameCount': len(audio), 'energies': energies(audio).tolist()}
    rendered = ridden(audio, task['staticGainDb'], numpy.array(task['ride']))
    # 24-bit words, as they are delivered.
    return libebur128_readings(numpy.round(rendered * 2 ** 23) / 2 ** 23)


json.dump(main(), sys.stdout)

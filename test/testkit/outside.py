"""Comparisons of finished WAV files in float64 NumPy, written from the definitions and apart from the product.
Usage: outside.py COMPARISON ARGUMENTS...; prints one JSON object."""
import json
import struct
import sys
import wave

import numpy as np

K = np.sqrt(0.5)  # ITU-R BS.775-4, Table 2: centre and surrounds at -3 dB in the two-channel fold-down


def read(path):
    """Integer words as float64 (frames x channels) and the word length; floats as they are, with word length 0."""
    raw = open(path, 'rb').read()
    at, channels, bits, tag, body = 12, 0, 0, 0, b''
    while at + 8 <= len(raw):
        name, size = raw[at:at + 4], struct.unpack_from('<I', raw, at + 4)[0]
        if name == b'fmt ':
            tag, channels = struct.unpack_from('<HH', raw, at + 8)
            bits = struct.unpack_from('<H', raw, at + 22)[0]
            if tag == 0xFFFE:
                tag = struct.unpack_from('<H', raw, at + 32)[0]
        if name == b'data':
            body = raw[at + 8:at + 8 + size]
        at += 8 + size + size % 2
    if tag == 3:
        return np.frombuffer(body, '<f4' if bits == 32 else '<f8').astype(np.float64).reshape(-1, channels), 0
    if bits == 24:
        b = np.frombuffer(body, np.uint8).reshape(-1, 3).astype(np.int32)
        words = (b[:, 0] | b[:, 1] << 8 | b[:, 2] << 16) << 8 >> 8
    else:
        words = np.frombuffer(body, '<i%d' % (bits // 8))
    return words.astype(np.float64).reshape(-1, channels), bits


def unit(path):
    words, bits = read(path)
    return words / 2.0 ** (bits - 1) if bits else words


def fold(path51, path20):
    """Law A: Lo/Ro of the 5.1 words, rounded to the word, against the words of the stereo."""
    six, bits = read(path51)
    two, bits20 = read(path20)
    assert bits == bits20 and six.shape[1] == 6 and two.shape[1] == 2 and len(six) == len(two)
    folded = six[:, [0, 1]] + K * six[:, [2]] + K * six[:, [4, 5]]
    differing = int(np.count_nonzero(np.floor(folded + 0.5) != two))
    return {'differing': differing, 'frames': len(six), 'bits': bits, 'loudest': float(np.abs(two).max())}


def encode(path51, path20):
    """Lt/Rt of the 5.1 words by ATSC A/52 section 7.8.2 (from memory) without a further turn of phase, rounded to the word,
    against the words of the Lt/Rt."""
    six, bits = read(path51)
    two, bits20 = read(path20)
    assert bits == bits20 and six.shape[1] == 6 and two.shape[1] == 2 and len(six) == len(two)
    surrounds = six[:, [4]] + six[:, [5]]
    encoded = six[:, [0, 1]] + K * six[:, [2]] + K * surrounds * [-1, 1]
    differing = int(np.count_nonzero(np.floor(encoded + 0.5) != two))
    levels = [float(20 * np.log10(np.sqrt(np.mean(x ** 2)) / 2.0 ** (bits - 1) + 1e-30)) for x in six.T]
    return {'differing': differing, 'levels_dbfs': levels}


def open_frames(path51, path20):
    """The first and the last frame at which law A does not hold; -1 where it holds everywhere."""
    six, _ = read(path51)
    two, _ = read(path20)
    folded = six[:, [0, 1]] + K * six[:, [2]] + K * six[:, [4, 5]]
    frames = np.flatnonzero(np.any(np.floor(folded + 0.5) != two, axis=1))
    return {'first': int(frames[0]) if len(frames) else -1, 'last': int(frames[-1]) if len(frames) else -1}


def static(master, path20, gain_db):
    """Law B with static gain: distance of the stereo from master x gain in units of its last bit."""
    two, bits = read(path20)
    ideal = unit(master) * 10 ** (float(gain_db) / 20) * 2.0 ** (bits - 1)
    return {'largest_lsb': float(np.abs(two - ideal).max())}


def curve(master, path20, gain):
    """Law B with a gain of every frame."""
    two, bits = read(path20)
    gains = unit(gain)[:, 0]
    ideal = unit(master) * gains[:, None] * 2.0 ** (bits - 1)
    return {
        'largest_lsb': float(np.abs(two - ideal).max()),
        'frames': len(gains),
        'gain_db': [float(20 * np.log10(gains.min())), float(20 * np.log10(gains.max()))],
    }


def treated(master, path20, gain, plan_path):
    """Law B with every stage at work: the master with its bands treated as plan.json says, times the gain of every
    frame. The bands are differences of low-passes that run forwards and backwards over the whole programme (second-order
    Butterworth, SciPy), lowest first."""
    from scipy.signal import butter, sosfilt

    plan = json.load(open(plan_path))
    x = unit(master)
    hops = np.arange(len(x)) / 4800 - 0.5
    low = plan['lowEnd']
    stages = [] if low is None else [([low['crossoverHz']], [low, None])]
    if plan['bands'] is not None:
        stages.append((plan['bands']['crossoversHz'], [band['points'] for band in plan['bands']['bands']]))
    for line in plan['bandLines']:
        corners = [hz for hz in (line['fromHz'], line['toHz']) if hz is not None]
        band = 0 if line['fromHz'] is None else 1
        stages.append((corners, [line if at == band else None for at in range(len(corners) + 1)]))
    depths = []
    for corners, points in stages:
        lows = []
        for hz in corners:
            sos = butter(2, hz, fs=48000, output='sos')
            lows.append(sosfilt(sos, sosfilt(sos, x, axis=0)[::-1], axis=0)[::-1])
        bands = [b - a for a, b in zip([0 * x, *lows], [*lows, x])]
        y = x.copy()
        for band, point in zip(bands, points):
            if point is None:
                depths.append(0.0)
                continue
            db = np.interp(hops, np.arange(len(point['gainDb'])), point['gainDb'])
            y += (10 ** (db / 20) - 1)[:, None] * band
            depths.append(float(-db.min()))
        x = y
    two, bits = read(path20)
    ideal = x * unit(gain)[:, [0]] * 2.0 ** (bits - 1)
    return {'largest_lsb': float(np.abs(two - ideal).max()), 'depths_db': depths}


def lag(master, path51):
    """Where each channel's cross-correlation with the master is highest, in frames. The cross spectrum is half whitened
    (its square root), so that bass does not blur the peak (generalized cross-correlation, Knapp and Carter 1976)."""
    source, six = unit(master), unit(path51)
    side = source[:, 0] - source[:, 1]  # what stands in the middle is taken out of the surrounds
    with_what = {'L': source[:, 0], 'R': source[:, 1], 'C': source.sum(1), 'Ls': side, 'Rs': side}
    n = 1 << int(np.ceil(np.log2(2 * len(source))))
    lags = {}
    for role, channel in zip(['L', 'R', 'C', 'LFE', 'Ls', 'Rs'], six.T):
        if role == 'LFE':
            continue
        cross = np.fft.rfft(channel, n) * np.conj(np.fft.rfft(with_what[role], n))
        found = np.abs(np.fft.irfft(cross / np.sqrt(np.maximum(np.abs(cross), 1e-30)), n))
        best = int(found.argmax())
        lags[role] = best if best < n // 2 else best - n
    return {'lags': lags, 'frames': [len(source), len(six)]}


def film_order(path51, out):
    """The same six channels as L C R Ls Rs LFE behind a plain header that does not name them."""
    six, bits = read(path51)
    words = six[:, [0, 2, 1, 4, 5, 3]].astype('<i4')
    with wave.open(out, 'wb') as file:
        file.setnchannels(6)
        file.setsampwidth(3)
        file.setframerate(48000)
        file.writeframes((words.reshape(-1, 1).view(np.uint8)[:, :3]).tobytes())
    return {}


def total(mix, *stems):
    """Sum of the stems' channels against the mix's channels, in units of the last bit."""
    whole, bits = read(mix)
    parts = sum(read(stem)[0] for stem in stems)
    return {'largest_lsb': float(np.abs(whole - parts).max()), 'loudest': float(np.abs(whole).max())}


def same(one, other):
    a, b = read(one), read(other)
    return {'differing': int(np.count_nonzero(a[0] != b[0])) if a[0].shape == b[0].shape else -1}


def differing_channels(one, other):
    """How many words of each channel differ between two files."""
    return {'differing': np.count_nonzero(read(one)[0] != read(other)[0], axis=0).tolist()}


def moved_channels(delivered, source, gain_db):
    """How many words of each channel are not the source's under the gain, by more than a step."""
    words, bits = read(delivered)
    plain = unit(source) * 10 ** (float(gain_db) / 20) * 2.0 ** (bits - 1)
    return {'moved': np.count_nonzero(np.abs(words - plain) > 1, axis=0).tolist()}


def sub_levels(path):
    """Highest level of the LFE in 3 s, and the most that it stands above the low end of L, R and C, by SciPy.

    The low end: a second-order Butterworth low-pass at 120 Hz forwards and backwards, so of the magnitude of a
    fourth-order Linkwitz-Riley filter. Windows whose fronts hold less than the whole on average count that average."""
    from scipy import signal
    frames, rate = unit(path), 48000
    hop = rate // 10
    hops = lambda x: (x[:len(x) // hop * hop].reshape(-1, hop) ** 2).mean(axis=1)
    low = signal.butter(2, 120, fs=rate, output='sos')
    fronts = sum(hops(signal.sosfiltfilt(low, frames[:, channel])) for channel in (0, 1, 2))
    lfe = hops(frames[:, 3])
    windows = lambda x: np.convolve(x, np.ones(30) / 30, 'valid')
    db = lambda x: 10 * np.log10(x)
    against = np.maximum(windows(fronts), max(fronts.mean(), 1e-7))
    return {'shortTerm': db(windows(lfe).max()), 'overFronts': db((windows(lfe) / against).max())}


def lfe_gains(free, ridden, column_seconds):
    """How far the LFE of one delivery lies below that of another, in dB, column by column; None where it is silent."""
    length = round(float(column_seconds) * 48000)
    columns = lambda x: (x[:len(x) // length * length].reshape(-1, length) ** 2).mean(axis=1)
    powers = [columns(unit(path)[:, 3]) for path in (free, ridden)]
    return [None if a < 1e-8 else 10 * np.log10(b / a) for a, b in zip(*powers)]


def band_level(path, from_hz, to_hz):
    """Level of a band, all channels but the LFE together: the highest in 3 s and that of the whole, dBFS RMS, by SciPy.

    The band: the difference of two low-passes of the magnitude of a fourth-order Linkwitz-Riley filter (S. Linkwitz,
    JAES 24, 1976, from memory: two second-order Butterworth filters in a row) without phase, run forwards and
    backwards. A corner of 0 stands for none."""
    from scipy import signal
    frames, rate = unit(path), 48000
    mains = [0, 1, 2, 4, 5] if frames.shape[1] == 6 else list(range(frames.shape[1]))
    hop = rate // 10

    def low(x, hz):
        return signal.sosfiltfilt(signal.butter(2, hz, fs=rate, output='sos'), x)

    power = 0
    for channel in mains:
        x = frames[:, channel]
        band = (low(x, float(to_hz)) if float(to_hz) else x) - (low(x, float(from_hz)) if float(from_hz) else 0)
        power = power + (band[:len(x) // hop * hop].reshape(-1, hop) ** 2).mean(axis=1)
    db = lambda value: float(10 * np.log10(value))
    windows = np.convolve(power, np.ones(30) / 30, 'valid')
    return {'shortTerm': db(windows.max()), 'programme': db(power.mean()), 'seconds': float(windows.argmax() / 10)}


def outside_band(one, other, low_to_hz, high_from_hz):
    """By how much two programmes differ in third octaves that end below the one or begin above the other frequency, all
    channels but the LFE together, over the whole, in dB: the median of all changes is taken for a gain of the whole
    and left out (SciPy, Welch's method)."""
    from scipy import signal
    powers = []
    for path in (one, other):
        frames = unit(path)
        mains = [0, 1, 2, 4, 5] if frames.shape[1] == 6 else list(range(frames.shape[1]))
        f, p = signal.welch(frames[:, mains], 48000, nperseg=32768, axis=0)
        powers.append(p.sum(axis=1))
    changes = []
    for k in range(-20, 13):
        low, high = 1000 * 2 ** ((k - 0.5) / 3), 1000 * 2 ** ((k + 0.5) / 3)
        if not (high <= float(low_to_hz) or low >= float(high_from_hz)):
            continue
        bins = (f >= low) & (f < high)
        if bins.sum() >= 3:
            changes.append(float(10 * np.log10(powers[1][bins].sum() / powers[0][bins].sum())))
    middle = float(np.median(changes))
    return {'gain': middle, 'largest': float(np.abs(np.array(changes) - middle).max()), 'count': len(changes)}


def peaks(path):
    """Highest sample of each channel."""
    return {'peaks': np.abs(unit(path)).max(0).tolist()}


def sixteenfold(path):
    """True peak in dBTP at sixteen times the rate: a Kaiser-windowed sinc of 128 taps a phase, SciPy's design and polyphase
    arithmetic, over every block of which some sample reaches 0.4 of the highest."""
    from scipy.signal import firwin, resample_poly
    x = unit(path)
    taps = firwin(2 * 64 * 16 + 1, 1 / 16, window=('kaiser', 7.0))
    highest = loudest = np.abs(x).max()
    for column in x.T:
        for start in range(0, len(column), 8192):
            if np.abs(column[start:start + 8192]).max() < 0.4 * highest:
                continue
            around = column[max(0, start - 128):start + 8192 + 128]
            loudest = max(loudest, np.abs(resample_poly(around, 16, 1, window=taps)).max())
    return {'dbtp': float(20 * np.log10(loudest))}


def moment(path, start, end):
    """Mean squares of the channels over a stretch, weighted by two Hann windows that stand a quarter apart."""
    start, end = int(start), int(end)
    length = (end - start) * 4 // 5
    hann = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(length) / length)
    weight = np.pad(hann, (0, length // 4)) + np.pad(hann, (length // 4, 0))
    x = unit(path)[start:end]
    return {'powers': ((x * x).T @ weight / weight.sum()).tolist()}


def gain_within(master, made, start, end):
    """Gain of a file over its master between two seconds, by least squares, in dB."""
    x, y = (unit(path)[int(float(start) * 48000):int(float(end) * 48000)] for path in (master, made))
    return {'gainDb': 20 * np.log10(float((x * y).sum() / (x * x).sum()))}


def difference(delivered, source, gain_db, removed):
    """Distance of a difference file from delivered - gain x source, in units of the last bit of a float32 of that size
    (of 2^-23 at least), and how loud it is: the highest sample of each channel, full scale = 1."""
    words, bits = read(delivered)
    ideal = words / 2.0 ** (bits - 1) - unit(source) * 10 ** (float(gain_db) / 20)
    told = unit(removed)
    assert told.shape == words.shape
    return {
        'largest_ulp': float((np.abs(told - ideal) / np.spacing(np.maximum(np.abs(ideal), 2.0 ** -23).astype(np.float32))).max()),
        'frames': len(told),
        'channels': told.shape[1],
        'peaks': np.abs(told).max(0).tolist(),
    }


def folded_difference(path20, master, gain_db, removed):
    """The Lo/Ro fold-down of a difference file beside stereo - gain x master, in units of the last bit of the stereo."""
    two, bits = read(path20)
    ideal = two / 2.0 ** (bits - 1) - unit(master) * 10 ** (float(gain_db) / 20)
    six = unit(removed)
    folded = six[:, [0, 1]] + K * six[:, [2]] + K * six[:, [4, 5]]
    return {
        'largest_lsb': float(np.abs(folded - ideal).max() * 2.0 ** (bits - 1)),
        'loudest': float(np.abs(ideal).max()),
    }


def front_residue(upmixed, delivered, gain, upmix_gain_db):
    """What is left in the fronts of a delivered 5.1 beside an upmix of the same master that got the stereo's gain throughout:
    level beside the fronts over the frames in which any channel got another gain, and the peak."""
    six, five = unit(upmixed) / 10 ** (float(upmix_gain_db) / 20), unit(delivered)
    gains = unit(gain)[:, [0]]
    apart = five - six * gains  # 0 but for rounding where one gain serves all
    moved = np.abs(apart[:, [2, 4, 5]]).max(axis=1) > 4 / 2 ** 23
    left = apart[:, :2][moved]
    return {
        'besideFrontsDb': float(10 * np.log10((left ** 2).sum() / (five[:, :2][moved] ** 2).sum())),
        'peakDbfs': float(20 * np.log10(np.abs(left).max())),
    }


def octaves(delivered, source, gain_db, start, end):
    """What each octave of a 5.1 lost beside the gain between two times in seconds, in dB, over all channels but the LFE.
    Octaves of IEC 61260-1: 1000 Hz x 10^(3n/10), edges 10^(3/20) to both sides."""
    first, last = int(float(start) * 48000), int(float(end) * 48000)
    mains = [0, 1, 2, 4, 5]
    hz = np.fft.rfftfreq(last - first, 1 / 48000)

    def powers(samples):
        windowed = samples[first:last, mains] * np.hanning(last - first)[:, None]
        power = (np.abs(np.fft.rfft(windowed, axis=0)) ** 2).sum(1)
        centres = 1000 * 10.0 ** (0.3 * np.arange(-5, 5))
        return np.array([power[(hz >= c * 10 ** -0.15) & (hz < c * 10 ** 0.15)].sum() for c in centres])

    before, after = powers(unit(source)), powers(unit(delivered))
    return {'removed': (10 * np.log10(before / after) + float(gain_db)).tolist()}



def extremes(path, points_path, point_frames):
    """Lowest and highest sample of each channel in every begun stretch of so many frames, against points of 16 bits: the
    lowest rounded down, the highest up."""
    samples, step = unit(path), int(point_frames)
    starts = np.arange(0, len(samples), step)
    lowest = np.floor(np.minimum.reduceat(samples, starts) * 32768)
    highest = np.minimum(np.ceil(np.maximum.reduceat(samples, starts) * 32768), 32767)
    points = np.fromfile(points_path, '<i2').reshape(samples.shape[1], -1, 2)
    return {
        'points': points.shape[1],
        'expected': len(starts),
        'differing': int((points != np.stack([lowest.T, highest.T], axis=2)).sum()),
    }


def division(path51, at):
    """How the K-weighted energy of C, of L and R, and of Ls and Rs of a 5.1 at 48 kHz is divided in the 100 ms that hold a
    second, in percent. Filters of ITU-R BS.1770-5 Annex 1, Tables 1 and 2."""
    from scipy.signal import lfilter
    hop = int(float(at) * 10)
    first = hop * 4800 - 48000
    samples = unit(path51)[first:(hop + 1) * 4800]
    shelf = lfilter([1.53512485958697, -2.69169618940638, 1.19839281085285], [1, -1.69065929318241, 0.73248077421585], samples, axis=0)
    weighted = lfilter([1, -2, 1], [1, -1.99004745483398, 0.99007225036621], shelf, axis=0)[-4800:]
    power = (weighted ** 2).sum(0)
    parts = np.array([power[2], power[0] + power[1], power[4] + power[5]])
    return (100 * parts / parts.sum()).tolist()


COMPARISONS = {f.__name__: f for f in (fold, encode, open_frames, static, curve, treated, lag, film_order, total, same, differing_channels, moved_channels, sub_levels, lfe_gains, band_level, outside_band, peaks, sixteenfold, moment, gain_within, difference, folded_difference, front_residue, octaves, extremes, division)}
print(json.dumps(COMPARISONS[sys.argv[1]](*sys.argv[2:])))

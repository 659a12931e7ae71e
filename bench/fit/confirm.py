"""Whether a programme can be brought within a spec at all: a linear programme in power gains, solved by HiGHS of SciPy,
that knows nothing of corridor, reach or costs. Reads a list of tasks as JSON, prints one answer for each.

Unknowns are the power gain of each 100 ms, home, and the bottom of the range. Linear in them are: the mean of every
window, the mean over the blocks that pass the gates (held as they are under a static gain), never above home, the slew (a
bound on the ratio of neighbours), and the range: the windows that lie at or above its lower end stay at or above the bottom,
those at or below its upper end stay within the range of it (which windows these are is held as well). And, where asked,
that the gains of a stretch stay within so many dB of the lowest of them (one more unknown for each).
"""
import json
import sys

import numpy
from scipy import sparse
from scipy.optimize import linprog


def windows(energies, width):
    rows = len(energies) - width + 1
    columns = numpy.arange(rows)[:, None] + numpy.arange(width)[None, :]
    places = (numpy.repeat(numpy.arange(rows), width), columns.ravel())
    return sparse.csr_matrix(((energies[columns] / width).ravel(), places), (rows, len(energies)))


def loudness(power):
    return -0.691 + 10 * numpy.log10(power + 1e-15)


def passing(powers, relative):
    """Those that pass -70 LKFS and the gate relative to the mean of these (BS.1770-5 and EBU Tech 3342)."""
    audible = loudness(powers) > -70
    return audible & (loudness(powers) > loudness(powers[audible].mean()) - relative)


def loudest_total(task):
    energies = numpy.array(task['energies'])
    count = len(energies)
    rows, limits = [], []

    spans = task.get('spans', [])

    def add(gains, home, bottom, limit, span=None, of_span=0):
        ends = numpy.zeros((gains.shape[0], 2 + len(spans)))
        ends[:, :2] = [home, bottom]
        if span is not None:
            ends[:, 2 + span] = of_span
        rows.append(sparse.hstack([gains, sparse.csr_matrix(ends)]))
        limits.append(numpy.full(gains.shape[0], limit))

    for seconds, lkfs in task['lines']:
        add(windows(energies, round(10 * seconds)), 0, 0, 10 ** ((lkfs + 0.691) / 10))
    one = sparse.identity(count, format='csr')
    add(one, -1, 0, 0)
    ratio = 10 ** (task['slewDbPerSecond'] / 100)
    add(one[1:] - ratio * one[:-1], 0, 0, 0)
    add(one[:-1] - ratio * one[1:], 0, 0, 0)
    for span, (first, end, most_db) in enumerate(spans):
        add(one[first:end], 0, 0, 0, span, -10 ** (most_db / 10))
        add(-one[first:end], 0, 0, 0, span, 1)
    if task['rangeLu'] is not None:
        short_term = windows(energies, 30)
        powers = numpy.asarray(short_term.sum(axis=1)).ravel()
        counted = passing(powers, 20)
        low, high = numpy.quantile(powers[counted], [0.10, 0.95])
        add(-short_term[counted & (powers >= low)], 0, 1, 0)
        add(short_term[counted & (powers <= high)], 0, -10 ** (task['rangeLu'] / 10), 0)
    momentary = windows(energies, 4)
    gated = passing(numpy.asarray(momentary.sum(axis=1)).ravel(), 10)
    scale = 10 ** (task['staticGainDb'] / 10)
    cost = numpy.concatenate([-numpy.asarray(momentary[gated].mean(axis=0)).ravel() * scale, numpy.zeros(2 + len(spans))])
    # Gains are counted from the static gain on, so that the numbers stay near 1.
    right = numpy.concatenate([limit / scale for limit in limits])
    bounds = [(0, 100)] * (count + 1) + [(0, None)] * (1 + len(spans))
    solution = linprog(cost, A_ub=sparse.vstack(rows, format='csr'), b_ub=right, bounds=bounds, method='highs')
    if solution.status != 0:
        return {'loudestLkfs': None, 'message': solution.message}
    return {'loudestLkfs': float(loudness(-solution.fun)), 'message': ''}


json.dump([loudest_total(task) for task in json.load(sys.stdin)], sys.stdout)

"""The loudest total that any ride reaches within the lines, as a linear programme in power gains, solved by HiGHS.

Unknowns are the power gain of each 100 ms and of home. Linear in them are: the mean of every window, the mean of the
programme (all blocks count: the programmes asked about lie within the gates), never above home, the slew (a bound on
the ratio of neighbours) and locks (a bound on the ratio to home).
"""
import json
import sys

import numpy
from scipy import sparse
from scipy.optimize import linprog


def banded(count, width, energies):
    """One row for each window of `width` hops: its mean energy, linear in the gains."""
    rows = count - width + 1
    if rows <= 0:
        return sparse.csr_matrix((0, count))
    columns = numpy.arange(rows)[:, None] + numpy.arange(width)[None, :]
    values = energies[columns] / width
    return sparse.csr_matrix((values.ravel(), (numpy.repeat(numpy.arange(rows), width), columns.ravel())), (rows, count))


def loudest_total(task):
    energies = numpy.array(task['energies'])
    count = len(energies)
    rows, limits = [], []

    def add(gains, home, limit):
        rows.append(sparse.hstack([gains, sparse.csr_matrix(numpy.full((gains.shape[0], 1), home))]))
        limits.append(numpy.full(gains.shape[0], limit))

    for seconds, lkfs in task['lines']:
        add(banded(count, round(10 * seconds), energies), 0, 10 ** ((lkfs + 0.691) / 10))
    one = sparse.identity(count, format='csr')
    add(one, -1, 0)
    ratio = 10 ** (task['slewDbPerSecond'] / 100)
    add(one[1:] - ratio * one[:-1], 0, 0)
    add(one[:-1] - ratio * one[1:], 0, 0)
    for start, end, tolerance in task['locks']:
        add(-one[round(10 * start):round(10 * end)], 10 ** (-tolerance / 10), 0)
    blocks = numpy.asarray(banded(count, 4, energies).mean(axis=0)).ravel()
    cost = numpy.concatenate([-blocks, [0]])
    matrix, right = sparse.vstack(rows, format='csr'), numpy.concatenate(limits)
    solution = linprog(cost, A_ub=matrix, b_ub=right, bounds=[(0, 1e4)] * (count + 1), method='highs')
    assert solution.status == 0, solution.message
    return -0.691 + 10 * numpy.log10(-solution.fun)


json.dump([loudest_total(task) for task in json.load(sys.stdin)], sys.stdout)

"""The fewest stretches in which a ride moves by more than they bear, of all rides inside given bounds: HiGHS of SciPy, with
one whole number for each stretch. Each step has a largest size, and no move costs anything.
"""
import json
import sys

import numpy
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

WIDE_DB = 80


def fewest(task):
    lowest = numpy.array([-WIDE_DB / 2 if bound is None else bound for bound in task['lowest']], float)
    highest = numpy.array([WIDE_DB / 2 if bound is None else bound for bound in task['highest']], float)
    spans = task['spans']
    count, of_spans = len(lowest), len(spans)
    one = sparse.identity(count, format='csr')
    nothing = sparse.csr_matrix((count - 1, 2 * of_spans))
    steps = sparse.hstack([one[1:] - one[:-1], nothing])
    largest = numpy.array(task['slewDb']) + 1e-9
    rules = [LinearConstraint(steps, -largest, largest)]
    for span, (first, end, most_db) in enumerate(spans):
        # The lowest gain of the stretch, and whether it moves more than it bears: then nothing is asked of it.
        ends = numpy.zeros((end - first, 2 * of_spans))
        ends[:, span] = -1
        above = sparse.hstack([one[first:end], sparse.csr_matrix(ends)])
        rules.append(LinearConstraint(above, 0, numpy.inf))
        ends = ends.copy()
        ends[:, of_spans + span] = -WIDE_DB
        rules.append(LinearConstraint(sparse.hstack([one[first:end], sparse.csr_matrix(ends)]), -numpy.inf, most_db))
    low = numpy.concatenate([lowest - 1e-9, numpy.full(of_spans, -WIDE_DB), numpy.zeros(of_spans)])
    high = numpy.concatenate([highest + 1e-9, numpy.full(of_spans, WIDE_DB), numpy.ones(of_spans)])
    whole = numpy.concatenate([numpy.zeros(count + of_spans), numpy.ones(of_spans)])
    answer = milp(whole, constraints=rules, bounds=Bounds(low, high), integrality=whole)
    assert answer.status == 0, answer.message
    return round(answer.fun)


json.dump([fewest(task) for task in json.load(sys.stdin)], sys.stdout)

"""Least movement inside a corridor by general-purpose optimisers: HiGHS (linear programs) and bounded least squares."""
import json
import sys

import numpy
from scipy.optimize import linprog, lsq_linear

TIGHT = {'primal_feasibility_tolerance': 1e-10, 'dual_feasibility_tolerance': 1e-10}


def least_of(weights_of_steps, bound_of_steps, lower, upper):
    """Minimises a linear cost of bounds on |g[k+1] - g[k]|, the bounds being extra unknowns."""
    count = len(lower)
    differences = numpy.diff(numpy.eye(count), axis=0)
    extra = weights_of_steps.size
    cost = numpy.concatenate([numpy.zeros(count), weights_of_steps])
    rows = numpy.vstack([
        numpy.hstack([differences, -bound_of_steps]),
        numpy.hstack([-differences, -bound_of_steps]),
    ])
    bounds = list(zip(lower, upper)) + [(0, None)] * extra
    solution = linprog(cost, A_ub=rows, b_ub=numpy.zeros(len(rows)), bounds=bounds, method='highs', options=TIGHT)
    assert solution.status == 0, solution.message
    return solution.fun


def optima(corridor):
    lower, upper = numpy.array(corridor['lower']), numpy.array(corridor['upper'])
    count = len(lower)
    steps = count - 1
    variation = least_of(numpy.ones(steps), numpy.eye(steps), lower, upper)
    largest = least_of(numpy.ones(1), numpy.ones((steps, 1)), lower, upper)
    # A wall of no thickness is no bound for the least-squares solver: widen it by less than the test's tolerance.
    squares = lsq_linear(
        numpy.diff(numpy.eye(count), axis=0),
        numpy.zeros(steps),
        bounds=(lower - 1e-12, upper + 1e-12),
        method='bvls',
        tol=1e-14,
    )
    return {'variation': variation, 'largestStep': largest, 'squares': 2 * squares.cost}


json.dump([optima(corridor) for corridor in json.load(sys.stdin)], sys.stdout)

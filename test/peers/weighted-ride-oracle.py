"""Least weighted movement inside a corridor with a slew limit, as a linear programme solved by HiGHS."""
import json
import sys

import numpy
from scipy.optimize import linprog

TIGHT = {'primal_feasibility_tolerance': 1e-10, 'dual_feasibility_tolerance': 1e-10}


def least_cost(task):
    lower, upper = numpy.array(task['lower']), numpy.array(task['upper'])
    weight, slew = numpy.array(task['weight']), numpy.array(task['slew'])
    steps = len(lower) - 1
    differences = numpy.diff(numpy.eye(len(lower)), axis=0)
    rows = numpy.vstack([
        numpy.hstack([differences, -numpy.eye(steps)]),
        numpy.hstack([-differences, -numpy.eye(steps)]),
    ])
    bounds = list(zip(lower, upper)) + [(0, limit) for limit in slew]
    cost = numpy.concatenate([numpy.zeros(len(lower)), weight])
    solution = linprog(cost, A_ub=rows, b_ub=numpy.zeros(len(rows)), bounds=bounds, method='highs', options=TIGHT)
    if solution.status == 2:
        return None
    assert solution.status == 0, solution.message
    return solution.fun


json.dump([least_cost(task) for task in json.load(sys.stdin)], sys.stdout)

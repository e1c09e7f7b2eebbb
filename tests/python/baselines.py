"""Times scipy's linear program and numpy's draws on what the benchmark reckons, and prints JSON.

Judges nothing: whether the answers are alike is held by blend_check.py and doubt_check.py.
"""

import json
import sys
import time

import numpy as np
from scipy.optimize import linprog

ELEMENTS = ["Au", "Ag", "Cu", "Zn", "Ni"]


def times(work, count):
    work()
    taken = []
    for _ in range(count):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return np.quantile(taken, 0.5), np.quantile(taken, 0.99)


def program(case):
    """All lots whole, the shelf's metals as they are needed, every limit a row."""
    masses = np.array([lot[0] for lot in case["lots"]])
    parts = np.array([lot[1] for lot in case["lots"]] + [on[0] for on in case["shelf"]])
    part = {element: parts[:, place] for place, element in enumerate(ELEMENTS)}
    low, high = case["silver"]
    base = part["Ag"] + part["Cu"]
    rows = [part[element] - most for element, most in case["most"].items()]
    rows += [low * base - part["Ag"], part["Ag"] - high * base]
    bounds = [(mass, mass) for mass in masses] + [(0, on[1]) for on in case["shelf"]]
    cost = np.concatenate([np.zeros(len(masses)), [on[2] for on in case["shelf"]]])
    return {
        "c": cost,
        "A_ub": np.array(rows),
        "b_ub": np.zeros(len(rows)),
        "A_eq": np.array([part["Au"] - case["aim"]]),
        "b_eq": np.zeros(1),
        "bounds": bounds,
        "method": "highs",
    }


def main(path):
    with open(path, encoding="utf-8") as file:
        case = json.load(file)
    asked = program(case)
    if not linprog(**asked).success:
        print("the program has no answer here", file=sys.stderr)
        return 1
    median, p99 = times(lambda: linprog(**asked), 40)
    rng = np.random.default_rng(1)
    count = case["trials"]

    def draws():
        mass = gold = 0.0
        for m, um, f, uf in case["metals"]:
            drawn = rng.normal(m, um, count)
            mass = mass + drawn
            gold = gold + drawn * rng.normal(f, uf, count)
        melts = gold / mass
        return melts.mean(), melts.std(), (melts >= 750).mean()

    print(json.dumps({
        "linprog_ms": median * 1e3,
        "linprog_p99_ms": p99 * 1e3,
        "draws_s": times(draws, 5)[0],
    }))
    return 0


sys.exit(main(sys.argv[1]))

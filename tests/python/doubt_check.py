"""Holds the uncertainty of melts against the package uncertainties and against draws by numpy.

The fineness of a melt is written down once, as the gold over the mass; the derivatives are those of
the package, and the draws are of the masses and finenesses alone.
"""

import json
import sys

import numpy as np
from uncertainties import ufloat

DRAWS = 400_000


def fineness(masses, golds):
    return sum(m * f for m, f in zip(masses, golds)) / sum(masses)


def main(path):
    with open(path, encoding="utf-8") as file:
        cases = json.load(file)
    rng = np.random.default_rng(20260117)
    wrong, propagated, drawn, failing = [], 0, 0, 0
    for number, case in enumerate(cases):
        metals = [
            (float(m["mass"]), float(m["u_mass"]), float(m["gold"]) / 3, float(m["u_gold"]), m["even"])
            for m in case["metals"]
        ]
        offs = [float(m["common"]) for m in case["metals"]]
        u, limit = float(case["u"]), float(case["limit"]) / 3

        def differ(what, said, found, within):
            if not abs(said - found) <= within:
                wrong.append(f"case {number}: {what} is {said}, here {found}")

        balance = ufloat(0, 1)  # one error of the balance, in every weighing
        masses = [
            (ufloat(m, um) if um else m) + (off * balance if off else 0)
            for (m, um, _, _, _), off in zip(metals, offs)
        ]
        golds = [ufloat(f, uf) if uf else f for _, _, f, uf, _ in metals]
        melt = fineness(masses, golds)
        differ("fineness", float(case["fineness"]) / 3, melt.nominal_value, 1e-9)
        differ("u", u, melt.std_dev, 1e-9 * melt.std_dev)
        shares = sorted((s for s in melt.error_components().values() if s > 1e-9), reverse=True)
        said = [share for share in case["budget"] if share > 1e-9]
        if len(shares) != len(said):
            wrong.append(f"case {number}: {len(said)} shares, here {len(shares)}")
        for share, found in zip(said, shares):
            differ("share", share, found, 1e-8 * melt.std_dev)
        propagated += 1

        trials = case["trials"]
        if trials is None:
            continue
        balance = rng.normal(0, 1, DRAWS)
        masses = [rng.normal(m, um, DRAWS) + off * balance for (m, um, _, _, _), off in zip(metals, offs)]
        golds = [
            rng.uniform(f - uf * 3**0.5, f + uf * 3**0.5, DRAWS) if even else rng.normal(f, uf, DRAWS)
            for _, _, f, uf, even in metals
        ]
        melts = fineness(masses, golds)
        spread, lawful = float(np.std(melts, ddof=1)), float(np.mean(melts >= limit))
        both = (1 / DRAWS + 1 / trials["count"]) ** 0.5
        # Six standard deviations of what so many draws can tell.
        differ("mean of trials", trials["mean"], float(np.mean(melts)), 6 * spread * both)
        differ("u of trials", trials["u"], spread, 6 * spread * both)
        chance = min(max(lawful, 1e-3), 1 - 1e-3)
        differ("chance of trials", trials["chance"], lawful, 6 * both * (chance * (1 - chance)) ** 0.5)
        off = abs(spread / u - 1)
        if case["fails"]:
            # First order misses a term here, and must be seen to.
            failing += off > 0.015
        else:
            differ("u of first order", u, spread, 0.01 * spread)
        drawn += 1
    print("\n".join(wrong))
    print(f"propagated alike: {propagated}")
    print(f"drawn alike: {drawn}")
    print(f"first order fails: {failing}")
    return 1 if wrong else 0


sys.exit(main(sys.argv[1]))

"""Holds quantiles and probabilities of the normal distribution against scipy."""

import json
import sys

from scipy.stats import norm


def main(path):
    with open(path, encoding="utf-8") as file:
        cases = json.load(file)
    wrong, quantiles, chances = [], 0, 0
    for case in cases:
        if "risk" in case:
            said, found = case["factor"], float(norm.isf(case["risk"]))
            quantiles += 1
            within = 1e-8
        else:
            said = case["chance"]
            found = float(norm.sf(case["limit"], loc=case["value"], scale=case["u"]))
            chances += 1
            within = 1e-12 + 1e-9 * min(found, 1 - found)
        if not abs(said - found) <= within:
            wrong.append(f"{case}, here {found}")
    print("\n".join(wrong))
    print(f"quantiles alike: {quantiles}")
    print(f"chances alike: {chances}")
    return 1 if wrong else 0


sys.exit(main(sys.argv[1]))

"""Holds proofs by density against an independent reckoning.

Air and water from the published formulas written anew, uncertainty by numerical derivatives of the
whole weighing instead of by formulas, probabilities from scipy, and for some cases the spread of
many weighings drawn by chance.
"""

import json
import math
import sys

import numpy as np
from scipy.stats import norm

ELEMENTS = {"Au": 19300.0, "Ag": 10500.0, "Cu": 8960.0, "Zn": 7133.0}


def air(celsius, pascal, humidity):
    kelvin = 273.15 + celsius
    psv = math.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6343.1645 / kelvin)
    xv = humidity / 100 * (1.00062 + 3.14e-8 * pascal + 5.6e-7 * celsius**2) * psv / pascal
    a = 1.58123e-6 - 2.9331e-8 * celsius + 1.1043e-10 * celsius**2
    b = 5.707e-6 - 2.051e-8 * celsius
    c = 1.9898e-4 - 2.376e-6 * celsius
    z = 1 - pascal / kelvin * (a + b * xv + c * xv**2) + (pascal / kelvin) ** 2 * (1.83e-11 - 0.765e-8 * xv**2)
    return pascal * 0.02896546 / (z * 8.314472 * kelvin) * (1 - xv * (1 - 18.01528 / 28.96546))


def water(t):
    return 999.974950 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


def weighing(case):
    """What is weighed, its standard uncertainty, and the density as a function of all of it."""
    doubts = {k: float(v) for k, v in case["doubts"].items()}
    rho = air(*map(float, case["air"]))
    mass, aside = float(case["in_air"]), float(case["aside"])
    shown = mass - aside if case["hung"] else aside
    values = np.array([mass, shown, float(case["water_celsius"]), 0.0, rho, 0.0, 0.0])
    u = np.array([
        doubts["reading"], doubts["reading"], doubts["celsius"], doubts["water"],
        rho * doubts["air_ppt"] / 1000, doubts["thread"], doubts["bubbles"],
    ])

    def density(mass, shown, celsius, salts, rho, thread, bubbles):
        w = water(celsius) + salts
        if case["hung"]:
            in_water = shown + thread + bubbles
            return (mass * w - in_water * rho) / (mass - in_water)
        aside = shown + thread + bubbles
        return (mass * w - (mass - aside) * rho) / aside

    return values, u, density


def expectation(parts, model_ppt, scale=1.0):
    """Density and its uncertainty with the gold scaled, the others keeping their proportion."""
    gold = parts["Au"] * scale
    others = {k: v for k, v in parts.items() if k != "Au"}
    grow = (1 - gold) / sum(others.values())
    volume = gold / ELEMENTS["Au"]
    volume += sum(v * grow / ELEMENTS[k] for k, v in others.items() if k != "?")
    unknown = others["?"] * grow
    light, heavy = unknown / 8400.0, unknown / 10500.0
    density = 1 / (volume + (light + heavy) / 2)
    spread = (light - heavy) / 2 / math.sqrt(3) * density**2
    return density, math.hypot(spread, density * model_ppt / 1000)


def main(path):
    with open(path, encoding="utf-8") as file:
        cases = json.load(file)
    wrong, alike, drawn = [], 0, 0
    rng = np.random.default_rng(20250314)
    for number, case in enumerate(cases):
        def near(name, found, within):
            if not abs(float(case[name]) - found) <= within:
                wrong.append(f"case {number}: {name} is {case[name]}, here {found}")

        values, u, density = weighing(case)
        near("air_density", values[4], 1e-6)
        middle = density(*values)
        slopes = []
        for place in range(len(values)):
            step = np.zeros(len(values))
            step[place] = max(u[place] * 1e-3, 1e-9)
            slopes.append((density(*(values + step)) - density(*(values - step))) / (2 * step[place]))
        spread = float(np.sqrt(np.sum((np.array(slopes) * u) ** 2)))
        near("density", middle, 0.01)
        near("density_u", spread, 0.002 + 1e-4 * spread)

        parts = {k: float(v) / 3000 for k, v in case["parts"].items()}
        model = float(case["doubts"]["model_ppt"])
        ought, ought_u = expectation(parts, model)
        near("expected", ought, 0.002)
        near("expected_u", ought_u, 0.002)
        up, down = (expectation(parts, model, s)[0] for s in (1 + 1e-6, 1 - 1e-6))
        per_ppt = (up - down) / (2e-6 * parts["Au"] * 1000)
        both = math.hypot(spread, ought_u)
        gold = parts["Au"] * 1000 + (middle - ought) / per_ppt
        near("gold", gold, 0.01 + 1e-4 * abs(gold))
        near("gold_u", both / per_ppt, 0.01 + 1e-4 * both / per_ppt)
        near("chance_this_low", norm.cdf((middle - ought) / both), 2e-4)
        near("chance_lawful", norm.cdf((gold - float(case["lowest"]) / 3) * per_ppt / both), 2e-4)
        z = (middle - ought) / both
        verdict = "Low" if z < -2 else "High" if z > 2 else "Agrees"
        if abs(abs(z) - 2) > 1e-3 and verdict != case["verdict"]:
            wrong.append(f"case {number}: {case['verdict']}, here {verdict}")
        # A heavy piece, where the weighing is close to linear: draw it many times.
        if values[0] > 25 and drawn < 10:
            draws = rng.normal(values, u, size=(200_000, len(values)))
            found = float(np.std(density(*draws.T)))
            if abs(found / float(case["density_u"]) - 1) > 0.015:
                wrong.append(f"case {number}: drawn {found}, propagated {case['density_u']}")
            drawn += 1
        alike += 1
    print("\n".join(wrong))
    print(f"proofs alike: {alike}")
    print(f"spread by chance alike: {drawn}")
    return 1 if wrong else 0


sys.exit(main(sys.argv[1]))

"""Holds blends against scipy's linear programming: same feasibility, same objective within 1e-6.

Reads a file of cases, each what was asked and what was answered. The programs are set up here from
what was asked alone; limits that were named as being in the way are found
again by halving an interval, not by the transformation that the answers came from.
"""

import json
import sys

import numpy as np
from scipy.optimize import linprog

# Of the natural size of an objective: the dearest metal times the whole mass.
AGREES = 1e-6


class Ask:
    def __init__(self, ask):
        self.ask = ask
        self.lots = len(ask["lots"])
        metals = [lot["parts"] for lot in ask["lots"]] + [on["parts"] for on in ask["shelf"]]
        self.metals = [{k: float(v) / 3000 for k, v in parts.items()} for parts in metals]
        self.lot_mass = np.array([float(lot["mass"]) for lot in ask["lots"]])
        self.division = float(ask["division"])
        self.n = len(metals)
        self.size = max(self.lot_mass.sum(), float(ask["mass"] or 0))

    def part(self, symbol, unknown=False):
        return np.array(
            [m.get(symbol, 0.0) + (m["?"] if unknown else 0.0) for m in self.metals]
        )

    def limits(self):
        """Every limit as name -> (limit, function of the limit giving rows 'sum <= bound')."""
        ask, counted, one = self.ask, self.ask["counted"], np.ones(self.n)
        base = self.part("Ag") + self.part("Cu", counted)
        found = {
            ("lowest",): (float(ask["lowest"]) / 3000, lambda x: [(x * one - self.part("Au"), 0.0)]),
            ("highest",): (float(ask["highest"]) / 3000, lambda x: [(self.part("Au") - x * one, 0.0)]),
        }
        for place, (symbol, side, ppt) in enumerate(ask["limits"]):
            if side == "most":
                part = self.part(symbol, counted)
                rows = lambda x, part=part: [(part - x * one, 0.0)]
            else:
                part = self.part(symbol)
                rows = lambda x, part=part: [(x * one - part, 0.0)]
            found[("limit", place)] = (float(ppt) / 1000, rows)
        if ask["silver"]:
            low, high = map(float, ask["silver"])
            found[("least silver",)] = (low, lambda x: [(x * base - self.part("Ag"), 0.0)])
            found[("most silver",)] = (high, lambda x: [(self.part("Ag", counted) - x * base, 0.0)])
        if ask["mass"]:
            above = self.division * min(self.n, 8)
            found[("mass",)] = (float(ask["mass"]), lambda x: [(-one, -x), (one, x + above)])
        return found

    def program(self, goal, replaced=None, dropped=(), at_aim=False, barred=(), extra=()):
        """Solves with one limit replaced and some dropped; (status, masses)."""
        rows = list(extra)
        rows.append((np.ones(self.n), 1e5))  # what a mass may be at most
        for name, (limit, make) in self.limits().items():
            if name in dropped:
                continue
            rows += make(replaced[1] if replaced and replaced[0] == name else limit)
        in_part = self.ask["most"] or ("whole lots",) in dropped
        bounds = [(0.0 if in_part else m, m) for m in self.lot_mass]
        used = np.concatenate([np.ones(self.lots), np.zeros(self.n - self.lots)])
        if in_part and self.lots:
            # A blend with next to none of the lots is none.
            rows.append((-used, -max(self.division, self.lot_mass.sum() / 1000)))
        for place, on in enumerate(self.ask["shelf"]):
            stock = on["stock"]
            most = None if stock is None or ("stock", place) in dropped else float(stock)
            if replaced and replaced[0] == ("stock", place):
                most = replaced[1]
            if self.lots + place in barred:
                most = 0.0
            bounds.append((0.0, most))
        equal = None
        if at_aim:
            equal = [float(self.ask["aim"]) / 3000 - self.part("Au")]
        # Masses and rows scaled to about one, as the solver's tolerances expect.
        scales = [max(np.abs(row).max(), 1e-12) for row, _ in rows]
        # It gives up on a program now and then that it solves in another way.
        for method, presolve in (("highs", True), ("highs-ds", False), ("highs-ipm", True)):
            result = linprog(
                goal,
                A_ub=np.array([row / scale for (row, _), scale in zip(rows, scales)]),
                b_ub=np.array([most / scale / self.size for (_, most), scale in zip(rows, scales)]),
                A_eq=equal,
                b_eq=[0.0] if at_aim else None,
                bounds=[(low / self.size, None if high is None else high / self.size) for low, high in bounds],
                method=method,
                options={"presolve": presolve},
            )
            if result.status in (0, 2):
                break
        if result.status not in (0, 2):
            if replaced:
                return None  # it cannot say, so close to the edge that is being halved in on
            raise SystemExit(f"the other solver stops with {result.status}: {result.message}")
        return result.x * self.size if result.status == 0 else None

    def best(self):
        """The best goal value there is, as (what it measures, costs, value, most of the lots)."""
        prices = [None if on["price"] is None else float(on["price"]) for on in self.ask["shelf"]]
        known = [price for price in prices if price is not None]
        dear = 10 * max(known) if known and max(known) > 0 else 1.0
        stages = [[i for i, price in enumerate(prices) if price is None]]
        if stages[0]:
            stages.append([])
        used = np.concatenate([np.ones(self.lots), np.zeros(self.n - self.lots)])
        cost = np.array([0.0] * self.lots + [dear if p is None else p for p in prices])
        extra, most = [], None
        if self.ask["most"]:
            masses = self.program(-used)
            if masses is None:
                return None
            most = float(used @ masses)
            extra = [(-used, -(most - 1e-7))]
        for barred in stages:
            barred = [self.lots + place for place in barred]
            for at_aim in (True, False):
                masses = self.program(cost, at_aim=at_aim, barred=barred, extra=extra)
                if masses is not None:
                    return cost, float(cost @ masses), most, at_aim
        return None

    def is_feasible(self, **how):
        return self.program(np.zeros(self.n), **how) is not None


def nearest(ask, name):
    """How near a limit can be met, by halving; None where it cannot be opened."""
    name = tuple(name)
    if not ask.is_feasible(dropped=[name]):
        return None
    zeros, used = np.zeros(ask.n), np.concatenate([np.ones(ask.lots), np.zeros(ask.n - ask.lots)])
    if name[0] == "stock":
        goal = zeros.copy()
        goal[ask.lots + name[1]] = 1.0
        return goal @ ask.program(goal, dropped=[name])
    if name[0] == "whole lots":
        return used @ ask.program(-used, dropped=[name])
    if name[0] == "mass":
        one = np.ones(ask.n)
        least = one @ ask.program(one, dropped=[name])
        if least > float(ask.ask["mass"]):
            return least
        return one @ ask.program(-one, dropped=[name])
    limit, _ = ask.limits()[name]
    missed = limit
    met = 1.0 if name[0] in ("highest", "most silver") else 0.0
    if name[0] == "limit" and ask.ask["limits"][name[1]][1] == "most":
        met = 1.0
    for _ in range(40):
        middle = (met + missed) / 2
        if ask.is_feasible(replaced=(name, middle)):
            met = middle
        else:
            missed = middle
    return met if name[0].endswith("silver") else met * 1000


def main(path):
    with open(path, encoding="utf-8") as file:
        cases = json.load(file)
    alike = infeasible = near = exact = 0
    wrong = []
    for number, case in enumerate(cases):
        ask, answer = Ask(case["ask"]), case["answer"]
        best = ask.best()
        if "lots" in answer:
            masses = np.array([float(m) for m in answer["lots"] + answer["shelf"]])
            if best is None:
                wrong.append((number, "answered, but infeasible"))
                continue
            cost, value, most, at_aim = best
            size = max(cost.max(), 1.0) * masses.sum()
            ours = float(cost @ masses)
            if most is not None and abs(masses[: ask.lots].sum() - most) > AGREES * ask.lot_mass.sum():
                wrong.append((number, f"uses {masses[: ask.lots].sum()} g of the lots, not {most}"))
            # Where the most of the lots is used first, what is left to cost hangs on its last digits.
            within = AGREES * size * (100 if most is not None else 1)
            if abs(ours - value) > within:
                wrong.append((number, f"costs {ours}, not {value} (within {within})"))
            gold = float(ask.part("Au") @ masses) - float(case["ask"]["aim"]) / 3000 * masses.sum()
            if at_aim and gold < -1e-11 and case["ask"]["aim"] != case["ask"]["highest"]:
                wrong.append((number, f"is below the aim by {-gold} g of gold"))
            alike += 1
        elif "together" in answer:
            if best is not None:
                wrong.append((number, f"hindered by {answer['together']}, but feasible"))
                continue
            infeasible += 1
            together = [tuple(name) for name in answer["together"]]
            everything = list(ask.limits()) + [
                ("stock", i) for i, on in enumerate(ask.ask["shelf"]) if on["stock"] is not None
            ]
            if not ask.ask["most"]:
                everything.append(("whole lots",))
            others = [name for name in everything if name not in together]
            if ask.is_feasible(dropped=others):
                wrong.append((number, f"{together} do not contradict each other"))
            alone = {tuple(name): value for name, value in answer["alone"]}
            for name in everything:
                if (name in alone) != ask.is_feasible(dropped=[name]):
                    wrong.append((number, f"{name} alone: {name in alone}"))
            for name, value in alone.items():
                found = nearest(ask, name)
                if value is None or found is None or abs(float(value) - found) > 1e-4 * max(1, found):
                    wrong.append((number, f"{name} can be met to {found}, not {value}"))
                else:
                    near += 1
        elif case["ask"]["lowest"] == case["ask"]["highest"]:
            exact += 1  # one exact fineness, which need not be a sum of divisions
        else:
            wrong.append((number, f"{answer}, and the other solver finds {best}"))
    for number, what in wrong:
        print(f"case {number}: {what}")
    print(f"answers alike: {alike}")
    print(f"infeasible alike: {infeasible}")
    print(f"nearest alike: {near}")
    print(f"no sum of divisions: {exact}")
    return 1 if wrong else 0


sys.exit(main(sys.argv[1]))

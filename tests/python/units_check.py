"""Holds the sizes of units against pint, digit for digit.

pint knows the units of everyday and troy weight; those of East and South Asia are defined for it here,
each from what it is a multiple of, so that it is pint's grain and gram that they come out of.
"""

import json
import sys
from decimal import Decimal

import pint

KNOWN = {
    "mg": "milligram",
    "g": "gram",
    "kg": "kilogram",
    "ct": "carat",
    "grain": "grain",
    "dwt": "pennyweight",
    "ozt": "troy_ounce",
    "oz": "ounce",
    "lb": "pound",
}
DEFINED = {
    "tola": "180 * grain",
    "momme": "0.001 * kilogram * 3.75",
    "tael-hk": "0.60478982 * kilogram / 16",
    "tael-hk-gold": "37.429 * gram",
    "tael-tw": "10 * 3.75 * gram",
    "tael-sg": "37.799364 * gram",
}


def main(path):
    with open(path, encoding="utf-8") as file:
        cases = json.load(file)
    units = pint.UnitRegistry(non_int_type=Decimal)
    wrong, alike = [], 0
    for case in cases:
        symbol, grams = case["symbol"], Decimal(case["grams"])
        text = KNOWN.get(symbol) or DEFINED.get(symbol)
        if text is None:
            wrong.append(f"{symbol} is not checked")
            continue
        found = Decimal(units.parse_expression(text).to("gram").magnitude)
        if found == grams:
            alike += 1
        else:
            wrong.append(f"{symbol} is {grams} g, here {found}")
    print("\n".join(wrong))
    print(f"units alike: {alike}")
    return 1 if wrong else 0


sys.exit(main(sys.argv[1]))

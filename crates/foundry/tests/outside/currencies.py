"""Holds the currencies and their smallest units against the list that ISO 4217's maintenance
agency publishes, as the package iso4217 carries it.

Run: python3 currencies.py          (pip install iso4217; tried with 1.16.20260101)
"""

import pathlib
import re

from iso4217 import Currency

# Codes of funds and units of account: nobody pays in them.
NOT_PAID_IN = {"BOV", "CHE", "CHW", "CLF", "COU", "MXV", "USN", "UYI", "UYW", "XAD"}
# Withdrawn by the list used here, kept because papers are written in it.
WITHDRAWN = {"BGN"}

source = pathlib.Path(__file__).parents[2] / "src/quantity/money.rs"
table = source.read_text().split("const BY_DIGITS", 1)[1].split("];", 1)[0]
ours = {
    code: int(digits)
    for digits, codes in re.findall(r'\(\s*(\d),\s*"([^"]*)"', table)
    for code in codes.replace("\\\n", " ").split()
}
theirs = {c.code: c.exponent for c in Currency if c.exponent is not None and c.code not in NOT_PAID_IN}
assert {code: digits for code, digits in ours.items() if code not in WITHDRAWN} == theirs, (
    set(ours.items()) ^ set(theirs.items())
)
print(f"{len(ours)} currencies agree with the list")

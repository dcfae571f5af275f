"""The slip finder: is what is seen off by a ratio, or a digit swap, that people make by hand?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

from evenstand.base.errors import RangeError, require_range
from evenstand.base.units import ACRE_M2, IMPERIAL_GALLON_L, LB_KG, MILE_M, SHORT_TON_KG, US_GALLON_L
from evenstand.reference.figures import figure, table

SlipKind = Literal["unit", "preset", "bushel", "nutrient", "rows", "digits", "decimal"]

_HA_AC = 1e4 / ACRE_M2
_LB_AC = LB_KG / (ACRE_M2 / 1e4)  # one lb/ac in kg/ha
_BUSHEL_CROPS = ("wheat", "corn", "canola", "barley")  # 60, 56, 50 and 48 lb
_MATCH_Z = 2.0
_ALWAYS = ("decimal",)
# names or kinds of the slips that can befall a quantity
_FITS: dict[str, frozenset[str]] = {
    "rate": frozenset({"kg and lb", "lb/ac and kg/ha", "ha and ac", "gallons", "preset", "nutrient", "bushel"}),
    "area": frozenset({"ha and ac"}),
    "mass": frozenset({"kg and lb", "t and short tons", "gallons", "preset", "bushel"}),
    "distance": frozenset({"km and miles"}),
    "width": frozenset(),
    "factor": frozenset({"kg and lb", "preset", "bushel"}),
}
_Row = tuple["SlipKind", str, float, str, str, float]  # kind, name, seen/asked, sentence, where to look, prior weight


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """One slip that would give what is seen. ratio: seen/asked it would give [-]; z: how far the ratio found is from it, in its
    own sds [-]; weight: share among the slips that match, by prior odds and closeness [-]; look: where to look to confirm it."""

    kind: SlipKind
    name: str
    ratio: float
    z: float
    weight: float
    text: str
    look: str


_UNIT_LOOK = "Read the unit beside the number on the display, not the number."


def _unit(name: str, ratio: float, there: str, back: str, odds: float) -> list[_Row]:
    return [
        ("unit", name, ratio, there, _UNIT_LOOK, odds),
        ("unit", name, 1 / ratio, back, _UNIT_LOOK, odds),
    ]


def _odds(kind: str) -> float:
    """How often a slip is met against the others; common practice."""
    return figure("causes", "slip-odds", kind).value


def _oxide_ratio() -> float:
    """Mass of P2O5 over the mass of phosphorus in it."""
    weights = table("oxides")["atomic_weights"]
    p, o = weights["P"].value, weights["O"].value
    return float((2 * p + 5 * o) / (2 * p))


@cache
def known_slips() -> tuple[_Row, ...]:
    """Slips by their ratio."""
    preset, decimal = _odds("preset"), _odds("decimal")
    rate, digits = "Which rate is in force?", "Read the value digit by digit."
    rows: list[_Row] = [
        ("preset", "second rate", 0.5, "Half of what was asked: the second rate, or one of two bins.", f"{rate} Are both bins on?", preset),
        ("preset", "second rate", 2.0, "Twice what was asked: the second rate, or a double entry.", rate, preset),
        ("decimal", "decimal point", 10.0, "Ten times too much: a decimal point.", digits, decimal),
        ("decimal", "decimal point", 0.1, "A tenth: a decimal point.", digits, decimal),
    ]
    rows += _unit("kg and lb", 1 / LB_KG, "Pounds where kilograms were meant.", "Kilograms where pounds were meant.", _odds("mass"))
    rows += _unit("lb/ac and kg/ha", _LB_AC, "lb/ac typed where kg/ha was meant.", "kg/ha typed where lb/ac was meant.", _odds("rate"))
    rows += _unit("ha and ac", _HA_AC, "Acres where hectares were meant.", "Hectares where acres were meant.", _odds("area"))
    rows += _unit("km and miles", MILE_M / 1e3, "Kilometres where miles were meant.", "Miles where kilometres were meant.", _odds("miles"))
    rows += _unit(
        "t and short tons", 1e3 / SHORT_TON_KG, "Short tons where tonnes were meant.", "Tonnes where short tons were meant.", _odds("tons")
    )
    gallons = IMPERIAL_GALLON_L / US_GALLON_L
    rows += _unit("gallons", gallons, "US gallons where imperial were meant.", "Imperial gallons where US were meant.", _odds("gallons"))
    look, nutrient = "Does the number mean the nutrient or its oxide?", _odds("nutrient")
    rows.append(("nutrient", "P and P₂O₅", _oxide_ratio(), "P₂O₅ where P was meant.", look, nutrient))
    rows.append(("nutrient", "P and P₂O₅", 1 / _oxide_ratio(), "P where P₂O₅ was meant.", look, nutrient))
    return (*rows, *_bushel_slips())


def _bushel_slips() -> list[_Row]:
    """Pounds a bushel, taken for one another or left out."""
    weights = tuple(figure("grain", "bushel_weight", crop).value for crop in _BUSHEL_CROPS)
    look, alone, pair = "Which test weight is set for this product?", _odds("bushel"), _odds("bushel-pair")
    rows: list[_Row] = []
    for a in weights:
        rows.append(("bushel", f"{a:g} lb/bu", float(a), f"Pounds where bushels of {a:g} lb were meant.", look, alone))
        rows.append(("bushel", f"{a:g} lb/bu", 1 / a, f"Bushels of {a:g} lb where pounds were meant.", look, alone))
        for b in weights:
            if b != a:
                rows.append(("bushel", f"{b:g} and {a:g} lb/bu", b / a, f"A bushel of {b:g} lb set where {a:g} lb was meant.", look, pair))
    return rows


def typing_slip(asked: float, seen: float, *, sd: float, rows: int | None = None, of: str = "") -> tuple[Slip, ...]:
    """Slips of typing that would turn what was asked into what is seen, likeliest first.

    A match is never proof: several slips share a ratio, and a true fault may land on one by chance.

    Parameters
    ----------
    asked : float
        What it should be. [any unit]
    seen : float
        What it is. [same unit]
    sd : float
        Combined standard deviation of both readings, as a share. [-]
    rows : int or None
        Number of openers, to try one row or a few too many or too few. [-]
    of : str
        What the numbers are, "rate", "area", "mass", "distance", "width" or "factor", so that nobody is asked for the bushel weight
        of an area; "" tries every slip. [-]

    Returns
    -------
    tuple of Slip
        Those whose ratio lies within two combined sds, rounding included; empty if none does, or if the two agree. [see the class]

    Raises
    ------
    RangeError
        If a value is not above 0, or `sd` is no share.

    References
    ----------
    definition: ratios of units, and of numbers with two digits exchanged. ifa-conversion: P2O5 over P, conversion factors.
    grains-council-1999: pounds a bushel, as its bushels per tonne have them. common-practice: prior odds of the slips.

    Examples
    --------
    120 kg/ha was asked, 134.5 kg/ha goes out.

    >>> typing_slip(120, 134.5, sd=0.005)[0].text
    'lb/ac typed where kg/ha was meant.'
    """
    require_range("asked", asked, 0, low_open=True)
    require_range("seen", seen, 0, low_open=True)
    if not 0 <= sd < 0.25:
        raise RangeError(f"{sd:g} is no share", where="sd", limit="0 <= sd < 0.25", cure="Give the sd of the ratio: 0.01 for 1 %.")
    spread = math.hypot(sd, _odds("rounding"))
    found = math.log(seen / asked)
    if abs(found) <= _MATCH_Z * spread and not _swaps(asked, seen, spread):
        return ()
    known = [slip for slip in known_slips() if not of or slip[0] in _ALWAYS or slip[1] in _FITS[of] or slip[0] in _FITS[of]]
    candidates = [*known, *row_slips(rows), *_swaps(asked, seen, spread)]
    matches = []
    for kind, name, ratio, text, look, odds in candidates:
        z = abs(found - math.log(ratio)) / spread
        if z <= _MATCH_Z:
            matches.append((odds * math.exp(-0.5 * z * z), z, kind, name, ratio, text, look))
    total = sum(m[0] for m in matches)
    ranked = sorted(matches, key=lambda m: (-m[0], m[3]))
    return tuple(Slip(kind=k, name=n, ratio=r, z=z, weight=w / total, text=t, look=lk) for w, z, k, n, r, t, lk in ranked)


def row_slips(rows: int | None) -> list[_Row]:
    """One to four openers too few or too many in the typed width."""
    if rows is None or rows < 2:
        return []
    look = "Count the openers, and read the width in force."
    table: list[_Row] = []
    for k in (1, 2, 3, 4):
        if k >= rows:
            break
        word = "one row" if k == 1 else f"{k} rows"
        odds = _odds("rows") / k
        table.append(
            ("rows", f"{rows - k} of {rows} rows", (rows - k) / rows, f"{word} too few: {rows - k} of {rows}.".capitalize(), look, odds)
        )
        table.append(
            ("rows", f"{rows + k} for {rows} rows", (rows + k) / rows, f"{word} too many: {rows + k} for {rows}.".capitalize(), look, odds)
        )
    return table


def _swaps(asked: float, seen: float, spread: float) -> list[_Row]:
    """Two digits of what was asked, exchanged; the difference of such numbers is divisible by 9."""
    text = f"{asked:.10g}"
    if "e" in text:
        return []
    places = [i for i, c in enumerate(text) if c.isdigit()]
    table: list[_Row] = []
    done: set[str] = set()
    for n, i in enumerate(places):
        for j in places[n + 1 :]:
            letters = list(text)
            letters[i], letters[j] = letters[j], letters[i]
            swapped = "".join(letters)
            value = float(swapped)
            if swapped == text or swapped in done or value <= 0:
                continue
            done.add(swapped)
            if abs(math.log(seen / value)) > _MATCH_Z * spread:
                continue
            near = places.index(j) - places.index(i) == 1
            exact = abs(seen - value) <= 1e-9 * value
            odds = _odds("digits-near" if near else "digits-far") * (2.0 if exact else 1.0)
            sentence = f"Digits changed places: {swapped} for {text} (the difference is divisible by 9)."
            table.append(
                ("digits", f"{swapped} for {text}", value / asked, sentence, "Read the ticket or the typed value digit by digit.", odds)
            )
    return table

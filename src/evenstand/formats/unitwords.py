"""Units as people write them, in names, in brackets and in rows of their own."""

from __future__ import annotations

import re

TWO_PART = {
    ("m", "s"): "m/s", ("m", "sec"): "m/s", ("km", "h"): "km/h", ("km", "hr"): "km/h", ("mi", "h"): "mph", ("ft", "min"): "ft/min",
    ("ft", "s"): "ft/s", ("ft", "sec"): "ft/s", ("kg", "ha"): "kg/ha", ("lb", "ac"): "lb/ac", ("lbs", "ac"): "lb/ac", ("lb", "acre"):
    "lb/ac", ("lbs", "acre"): "lb/ac", ("g", "m2"): "g/m2", ("kg", "s"): "kg/s", ("lb", "s"): "lb/s", ("lbs", "s"): "lb/s", ("kg",
    "h"): "kg/h", ("t", "h"): "t/h", ("mi", "hr"): "mph", ("kg", "min"): "kg/min", ("lb", "min"): "lb/min", ("lbs", "min"): "lb/min",
    ("turns", "s"): "turns/s", ("r", "min"): "rpm", ("rev", "min"): "rpm", ("tr", "min"): "rpm", ("u", "min"): "rpm", ("1", "min"):
    "rpm", ("1", "s"): "turns/s", ("g", "s"): "g/s", ("cm", "s"): "cm/s", ("mm", "s"): "mm/s",
    ("giri", "min"): "rpm", ("rev", "s"): "turns/s", ("r", "s"): "turns/s", ("tr", "s"): "turns/s",
}  # fmt: skip
ONE_PART = {
    "deg": "deg", "degrees": "deg", "degree": "deg", "grad": "deg", "m": "m", "metres": "m", "meters": "m", "metre": "m", "ft": "ft",
    "feet": "ft", "foot": "ft", "in": "in", "inches": "in", "inch": "in", "km": "km", "mi": "mi", "miles": "mi", "cm": "cm", "mm":
    "mm", "yd": "yd", "mps": "m/s", "kmh": "km/h", "kph": "km/h", "mph": "mph", "kn": "kn", "kt": "kn", "kts": "kn", "knot": "kn",
    "knots": "kn", "ha": "ha", "ac": "ac", "acres": "ac", "hectares": "ha", "m2": "m2", "sqm": "m2", "qm": "m2", "ft2": "ft2", "sqft":
    "ft2", "rpm": "rpm", "upm": "rpm", "s": "s", "sec": "s", "secs": "s", "ms": "ms", "utc": "utc", "min": "min", "pct": "%",
    "percent": "%", "hz": "turns/s", "kg": "kg", "lb": "lb", "lbs": "lb", "turns": "turns", "revs": "turns", "kgha": "kg/ha", "lbac":
    "lb/ac", "lbsac": "lb/ac", "mbar": "mbar", "bar": "bar", "kpa": "kPa", "psi": "psi", "degc": "°C", "degf": "°F", "min-1": "rpm",
    "m/s": "m/s", "usft": "us-ft", "ftus": "us-ft",
}  # fmt: skip
OTHERWISE = {
    "decimaldeg": "deg", "decimaldegrees": "deg", "ten-millionths": "e7", "dd": "deg", '"': "in", "'": "ft", "seconds": "s", "%": "%",
    "umdr": "turns", "u": "turns", "c": "°C", "f": "°F",
}  # fmt: skip
LENGTHS = ("m", "ft", "in", "km", "mi", "yd", "cm")
SPELLED = {
    "pound": "lb", "pounds": "lb", "kilogram": "kg", "kilograms": "kg", "kilos": "kg", "kilometre": "km", "kilometres": "km",
    "kilometer": "km", "kilometers": "km", "mile": "mi", "miles": "mi", "hour": "h", "hours": "h", "minute": "min", "minutes": "min",
    "second": "s", "seconds": "s", "revolutions": "rev", "revs": "rev", "turns": "turns", "metre": "m", "metres": "m", "meter": "m",
    "meters": "m", "feet": "ft", "foot": "ft", "acre": "ac", "acres": "ac", "hectare": "ha", "hectares": "ha", "je": "/", "pro": "/",
    "par": "/", "a": "/",
}  # fmt: skip
"""Units written out, a word each."""
IN_NAMES = {k: v for k, v in ONE_PART.items() if v not in ("turns", "utc") and k not in ("grad",)}
_AREAS = re.compile(r"(?<![A-Za-z])(m2|m²|ft2|ft²|sq ?m|sq ?ft)(?![A-Za-z0-9])", re.IGNORECASE)
_RATIO = re.compile(
    r"(?<![A-Za-z])(km|cm|m|mi|ft|kgs?|lbs?|t|g|turns|giri|tr|rev|r|u|1)\s?(?:/|\bper\b|_per_)\s?(hr|ha|h|hectare|acres?|ac|sec|s|min|m2|m²)(?![A-Za-z0-9])",
    re.IGNORECASE,
)


def tidy_unit(text: str) -> str:
    """A unit as written by people, as our symbol; unchanged if it is none we know. [-]"""
    low = " ".join(SPELLED.get(w, w) for w in text.strip().lower().split())
    low = re.sub(r"\s+", "", low).replace("²", "2").replace("°", "deg").replace("^", "")
    low = low.replace("per", "/").replace("acres", "ac").replace("acre", "ac").replace("hectare", "ha")
    if low in ONE_PART:
        return ONE_PART[low]
    parts = tuple(p for p in re.split(r"[/_*]", low.replace("-1", "")) if p)
    if len(parts) == 2 and (parts[0], parts[1]) in TWO_PART:
        return TWO_PART[parts[0], parts[1]]
    return OTHERWISE.get(low, text.strip())


def is_unit(text: str) -> bool:
    """Whether a text is a unit we know. [-]"""
    found = tidy_unit(text)
    return found in ONE_PART.values() or found in TWO_PART.values() or found in OTHERWISE.values()


def unit_within(text: str) -> tuple[str, str]:
    """A unit written with a stroke, or an area, anywhere in a name: the name without it, and our symbol, "" if there is none."""
    for form in (_RATIO, _AREAS):
        hit = form.search(text)
        if hit and is_unit(hit[0].replace(" ", "")):
            rest = text[: hit.start()] + " " + text[hit.end() :]
            return rest, tidy_unit(hit[0].replace("_per_", "/"))
    return text, ""


def unit_at_end(words: list[str]) -> tuple[list[str], str]:
    """A unit as the last words of a name: the words without it, and our symbol, "" if there is none."""
    if len(words) >= 2 and (words[-2], words[-1]) in TWO_PART:
        return words[:-2], TWO_PART[words[-2], words[-1]]
    if words and words[-1] in IN_NAMES:
        return words[:-1], IN_NAMES[words[-1]]
    if len(words) >= 3 and words[-2] in ("deg", "°") and words[-1] in ("c", "f"):
        return words[:-2], "°" + words[-1].upper()
    return words, ""

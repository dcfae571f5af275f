"""The only converter. Everything inside is metric, one unit a quantity; other units exist at the edge.

A *quantity* is what is measured ("rate", "area", "speed"); a *profile* chooses one unit for each. Factors are
definitions: the international pound (0.45359237 kg) and yard (0.9144 m) of 1959, hence the international acre
(4046.8564224 m²), never the US survey acre; bushels and gallons say whose they are.
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from evenstand.base.errors import Fault, UnitError

LB_KG = 0.45359237
FOOT_M = 0.3048
INCH_M = 0.0254
MILE_M = 1609.344
ACRE_M2 = 4840 * 0.9144**2
US_GALLON_L = 3.785411784
IMPERIAL_GALLON_L = 4.54609
US_BUSHEL_L = 35.23907016688
IMPERIAL_BUSHEL_L = 8 * IMPERIAL_GALLON_L
SHORT_TON_KG = 2000 * LB_KG

Profile = Literal["si", "prairie", "us"]
PROFILES: tuple[Profile, ...] = ("si", "prairie", "us")


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A unit: value_metric = value * factor + offset. `decimals` is how many are shown; None: three figures."""

    symbol: str
    factor: float
    offset: float = 0.0
    decimals: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """What is measured: the metric unit inside, and the units people use for it."""

    name: str
    metric: str
    units: Mapping[str, Unit]
    shown: Mapping[str, str]  # profile -> symbol


def _quantity(name: str, metric: str, shown: tuple[str, str, str], *units: Unit) -> Quantity:
    return Quantity(
        name=name,
        metric=metric,
        units={u.symbol: u for u in units},
        shown=dict(zip(PROFILES, shown, strict=True)),
    )


def _u(symbol: str, factor: float = 1.0, decimals: int | None = None, offset: float = 0.0) -> Unit:
    return Unit(symbol=symbol, factor=factor, offset=offset, decimals=decimals)


_HA_PER_ACRE = ACRE_M2 / 1e4
_KG_HA_PER_LB_AC = LB_KG / _HA_PER_ACRE
_FT2_M2 = FOOT_M**2

_ALL = (
    _quantity(
        "area", "ha", ("ha", "ac", "ac"), _u("ha", decimals=2), _u("ac", _HA_PER_ACRE, 1), _u("m2", 1e-4, 0), _u("ft2", _FT2_M2 / 1e4, 0)
    ),
    _quantity("rate", "kg/ha", ("kg/ha", "lb/ac", "lb/ac"), _u("kg/ha"), _u("lb/ac", _KG_HA_PER_LB_AC), _u("g/m2", 10.0)),
    _quantity(
        "mass",
        "kg",
        ("kg", "kg", "lb"),
        _u("kg", decimals=0),
        _u("lb", LB_KG, 0),
        _u("g", 1e-3, 0),
        _u("t", 1e3, 2),
        _u("ton (short)", SHORT_TON_KG, 2),
    ),
    _quantity(
        "load", "kg", ("t", "t", "lb"), _u("t", 1e3, 2), _u("kg", decimals=0), _u("lb", LB_KG, 0), _u("ton (short)", SHORT_TON_KG, 2)
    ),
    _quantity("catch", "kg", ("kg", "kg", "lb"), _u("kg", decimals=3), _u("lb", LB_KG, 3), _u("g", 1e-3, 0)),
    _quantity(
        "width", "m", ("m", "ft", "ft"), _u("m", decimals=2), _u("ft", FOOT_M, 2), _u("in", INCH_M, 1), _u("cm", 1e-2, 0), _u("mm", 1e-3, 0)
    ),
    _quantity(
        "distance",
        "m",
        ("m", "ft", "ft"),
        _u("m", decimals=0),
        _u("ft", FOOT_M, 0),
        _u("km", 1e3, 2),
        _u("mi", MILE_M, 2),
        _u("yd", 0.9144, 0),
    ),
    _quantity("spacing", "m", ("mm", "in", "in"), _u("mm", 1e-3, 0), _u("in", INCH_M, 2), _u("cm", 1e-2, 1), _u("m", decimals=3)),
    _quantity("depth", "m", ("mm", "in", "in"), _u("mm", 1e-3, 0), _u("in", INCH_M, 2), _u("cm", 1e-2, 1), _u("m", decimals=3)),
    _quantity(
        "speed",
        "m/s",
        ("km/h", "mph", "mph"),
        _u("km/h", 1 / 3.6, 1),
        _u("mph", MILE_M / 3600, 1),
        _u("m/s", decimals=2),
        _u("ft/min", FOOT_M / 60, 0),
        _u("ft/s", FOOT_M, 2),
        _u("kn", 1852 / 3600, 1),
        _u("cm/s", 1e-2, 0),
        _u("mm/s", 1e-3, 0),
    ),
    _quantity("capacity", "ha/h", ("ha/h", "ac/h", "ac/h"), _u("ha/h", decimals=1), _u("ac/h", _HA_PER_ACRE, 1)),
    _quantity(
        "volume",
        "m3",
        ("m³", "m³", "bu (US)"),
        _u("m³", decimals=2),
        _u("L", 1e-3, 0),
        _u("bu (US)", US_BUSHEL_L / 1e3, 0),
        _u("bu (imp)", IMPERIAL_BUSHEL_L / 1e3, 0),
        _u("ft3", FOOT_M**3, 1),
        _u("gal (US)", US_GALLON_L / 1e3, 0),
        _u("gal (imp)", IMPERIAL_GALLON_L / 1e3, 0),
    ),
    _quantity(
        "liquid",
        "L",
        ("L", "L", "gal (US)"),
        _u("L", decimals=1),
        _u("gal (US)", US_GALLON_L, 1),
        _u("gal (imp)", IMPERIAL_GALLON_L, 1),
        _u("mL", 1e-3, 0),
    ),
    _quantity(
        "density",
        "kg/m3",
        ("kg/m³", "kg/m³", "lb/ft³"),
        _u("kg/m³", decimals=0),
        _u("kg/L", 1e3, 3),
        _u("kg/hL", 10.0, 1),
        _u("lb/ft³", LB_KG / FOOT_M**3, 1),
        _u("lb/bu (US)", LB_KG / (US_BUSHEL_L / 1e3), 1),
        _u("lb/bu (imp)", LB_KG / (IMPERIAL_BUSHEL_L / 1e3), 1),
        _u("lb/gal (US)", LB_KG / (US_GALLON_L / 1e3), 2),
    ),
    _quantity(
        "factor", "kg/turn", ("kg/turn", "kg/turn", "lb/turn"), _u("kg/turn", decimals=3), _u("lb/turn", LB_KG, 3), _u("g/turn", 1e-3, 0)
    ),
    _quantity("shaft", "turns/s", ("rpm", "rpm", "rpm"), _u("rpm", 1 / 60, 1), _u("turns/s", decimals=3)),
    _quantity("fan", "turns/s", ("rpm", "rpm", "rpm"), _u("rpm", 1 / 60, 0), _u("turns/s", decimals=1)),
    _quantity(
        "stand",
        "plants/m2",
        ("plants/m²", "plants/ft²", "plants/ft²"),
        _u("plants/m²", decimals=0),
        _u("plants/ft²", 1 / _FT2_M2, 1),
        _u("plants/ac", 1 / ACRE_M2, 0),
        _u("plants/ha", 1e-4, 0),
    ),
    _quantity(
        "seeds_area",
        "seeds/m2",
        ("seeds/m²", "seeds/ft²", "seeds/ft²"),
        _u("seeds/m²", decimals=0),
        _u("seeds/ft²", 1 / _FT2_M2, 1),
        _u("seeds/ac", 1 / ACRE_M2, 0),
        _u("seeds/ha", 1e-4, 0),
    ),
    _quantity("seeds_mass", "seeds/kg", ("seeds/kg", "seeds/kg", "seeds/lb"), _u("seeds/kg", decimals=0), _u("seeds/lb", 1 / LB_KG, 0)),
    _quantity(
        "volume_rate",
        "m3/ha",
        ("L/ha", "bu (US)/ac", "bu (US)/ac"),
        _u("L/ha", 1e-3, 0),
        _u("m³/ha", decimals=3),
        _u("bu (US)/ac", US_BUSHEL_L / 1e3 / _HA_PER_ACRE, 2),
        _u("bu (imp)/ac", IMPERIAL_BUSHEL_L / 1e3 / _HA_PER_ACRE, 2),
    ),
    _quantity("seeds_row", "seeds/m", ("seeds/m", "seeds/ft", "seeds/ft"), _u("seeds/m", decimals=0), _u("seeds/ft", 1 / FOOT_M, 1)),
    _quantity("kernel", "g", ("g/1000", "g/1000", "seeds/lb"), _u("g/1000", decimals=1)),
    _quantity("temperature", "°C", ("°C", "°C", "°F"), _u("°C", decimals=0), _u("°F", 5 / 9, 0, -160 / 9)),
    _quantity(
        "pressure",
        "Pa",
        ("kPa", "inH2O", "inH2O"),
        _u("kPa", 1e3, 1),
        _u("inH2O", 249.089, 1),
        _u("psi", 6894.757, 2),
        _u("Pa", decimals=0),
    ),
    _quantity("barometer", "Pa", ("kPa", "kPa", "kPa"), _u("kPa", 1e3, 1), _u("hPa", 100.0, 0), _u("Pa", decimals=0)),
    _quantity("air_speed", "m/s", ("m/s", "m/s", "ft/min"), _u("m/s", decimals=1), _u("ft/min", FOOT_M / 60, 0)),
    _quantity("time", "h", ("h", "h", "h"), _u("h", decimals=1), _u("min", 1 / 60, 0), _u("s", 1 / 3600, 0)),
    _quantity("seconds", "s", ("s", "s", "s"), _u("s", decimals=1), _u("min", 60.0, 1)),
    _quantity("pulse", "m/pulse", ("m/pulse", "in/pulse", "in/pulse"), _u("m/pulse", decimals=4), _u("in/pulse", INCH_M, 3)),
    _quantity("share", "-", ("%", "%", "%"), _u("%", 1e-2, 1), _u("-", decimals=3)),
    _quantity(
        "mass_flow",
        "kg/s",
        ("kg/min", "kg/min", "lb/min"),
        _u("kg/min", 1 / 60, 2),
        _u("lb/min", LB_KG / 60, 2),
        _u("kg/s", decimals=3),
        _u("kg/h", 1 / 3600, 0),
    ),
    _quantity("daily", "ha/d", ("ha/day", "ac/day", "ac/day"), _u("ha/day", decimals=1), _u("ac/day", _HA_PER_ACRE, 0)),
    _quantity(
        "liquid_area",
        "L/ha",
        ("L/ha", "L/ac", "gal (US)/ac"),
        _u("L/ha", decimals=1),
        _u("L/ac", 1 / _HA_PER_ACRE, 1),
        _u("gal (US)/ac", US_GALLON_L / _HA_PER_ACRE, 2),
    ),
    _quantity("price_area", "money/ha", ("/ha", "/ac", "/ac"), _u("/ha", decimals=2), _u("/ac", 1 / _HA_PER_ACRE, 2)),
    _quantity("price_mass", "money/kg", ("/t", "/t", "/lb"), _u("/t", 1e-3, 0), _u("/kg", decimals=3), _u("/lb", 1 / LB_KG, 3)),
    _quantity("money", "-", ("", "", ""), _u("", decimals=2)),
    _quantity("count", "-", ("", "", ""), _u("", decimals=0)),
)
QUANTITIES: dict[str, Quantity] = {q.name: q for q in _ALL}

_SPELLINGS = {
    "acre": "ac", "acres": "ac", "hectare": "ha", "hectares": "ha", "kgs": "kg", "lbs": "lb", "pound": "lb",
    "pounds": "lb", "lbs/ac": "lb/ac", "lb/acre": "lb/ac", "lbs/acre": "lb/ac", "kmh": "km/h", "kph": "km/h",
    "km/hr": "km/h", "mi/h": "mph", "feet": "ft", "foot": "ft", "'": "ft", '"': "in", "inch": "in", "inches": "in",
    "metre": "m", "meter": "m", "metres": "m", "meters": "m", "m2": "m2", "m²": "m2", "ft²": "ft2", "m3": "m³",
    "l": "L", "litre": "L", "litres": "L", "liter": "L", "liters": "L", "tonne": "t", "tonnes": "t",
    "kg/m3": "kg/m³", "kg/l": "kg/L", "lb/ft3": "lb/ft³", "kg/rev": "kg/turn", "lb/rev": "lb/turn",
    "g/rev": "g/turn", "kg/r": "kg/turn", "plants/m2": "plants/m²", "plants/ft2": "plants/ft²",
    "seeds/m2": "seeds/m²", "seeds/ft2": "seeds/ft²", "g/m²": "g/m2", "degc": "°C", "degf": "°F", "c": "°C",
    "f": "°F", "hour": "h", "hours": "h", "minutes": "min", "percent": "%", "g": "g", "gram": "g", "grams": "g",
    "rpm": "rpm", "r/min": "rpm", "kg/hl": "kg/hL",
}  # fmt: skip


def unit_of(quantity: str, symbol: str) -> Unit:
    """The unit of a quantity by its symbol or a usual spelling.

    Raises
    ------
    UnitError
        If the quantity has no such unit; a bare bushel, gallon or ton is refused because it has two meanings.
    """
    known = QUANTITIES[quantity].units
    key = symbol.strip()
    for candidate in (key, _SPELLINGS.get(key.lower(), key), key.lower()):
        if candidate in known:
            return known[candidate]
    bare = {"bu": "bu (US) or bu (imp), beside a test weight", "gal": "gal (US) or gal (imp)", "ton": "t or ton (short)"}
    hint = bare.get(key.lower(), ", ".join(s for s in known if s))
    raise UnitError(f"'{symbol}' is no unit of {quantity}", where=quantity, cure=f"Use {hint}.")


def to_metric(value: float, quantity: str, symbol: str) -> float:
    """A number in `symbol` as the metric number used inside. [metric unit of the quantity]"""
    unit = unit_of(quantity, symbol)
    return value * unit.factor + unit.offset


def from_metric(value: float, quantity: str, symbol: str) -> float:
    """A metric number in the unit `symbol`. [symbol]"""
    unit = unit_of(quantity, symbol)
    return (value - unit.offset) / unit.factor


def profile_unit(quantity: str, profile: Profile = "si") -> str:
    """The symbol a profile shows a quantity in. [-]"""
    shown = QUANTITIES[quantity].shown[profile]
    return shown if shown in QUANTITIES[quantity].units else next(iter(QUANTITIES[quantity].units))


def shown_value(value: float, quantity: str, profile: Profile = "si", *, symbol: str | None = None) -> str:
    """The number alone, rounded as the quantity is read, in the profile's unit. [text]"""
    unit = unit_of(quantity, symbol or profile_unit(quantity, profile))
    return rounded((value - unit.offset) / unit.factor, unit.decimals)


def shown(value: float | None, quantity: str, profile: Profile = "si", *, symbol: str | None = None) -> str:
    """Number and unit, e.g. '120 kg/ha'; 'not known' for None. [text]"""
    if value is None:
        return "not known"
    unit = unit_of(quantity, symbol or profile_unit(quantity, profile))
    number = rounded((value - unit.offset) / unit.factor, unit.decimals)
    joint = "" if unit.symbol in {"%", "°C", "°F"} or unit.symbol.startswith("/") else " "
    return f"{number}{joint}{unit.symbol}".rstrip()


def rounded(value: float, decimals: int | None = None) -> str:
    """A number as text: fixed decimals, or three figures (four from 1000 up), with thin thousands. [text]"""
    if not math.isfinite(value):
        return "not known"
    if decimals is None:
        size = 0 if value == 0 else math.floor(math.log10(abs(value)))
        decimals = max(0, min(6, 2 - size))
        text = f"{value:,.{decimals}f}"
        if "." in text and abs(value) < 100:
            text = text.rstrip("0").rstrip(".") if size >= 0 else text
    else:
        text = f"{value:,.{decimals}f}"
    if float(text.replace(",", "")) == 0:
        text = text.lstrip("-")
    return text.replace(",", "\u202f")


_LEAST, _MOST = 1e-8, 1e12  # far outside every quantity above, near enough for sums of squares to stay finite
_NUMBER = re.compile(r"^\s*([-+]?(?:\d[\d\u202f\u00a0' ]*)?(?:[.,]\d+)?(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")


def read_number(text: str, *, where: str = "") -> tuple[float, str]:
    """Number and the unit text behind it; '16,3 m' and '16.3 m' are the same.

    Raises
    ------
    UnitError
        If there is no number, or a comma could be a decimal or a thousands mark ('1,200').
    """
    match = _NUMBER.match(text)
    body = re.sub(r"[\s\u202f\u00a0']", "", match.group(1)) if match else ""
    if match is None or not re.search(r"\d", body):
        raise UnitError(f"'{text}' has no number", where=where, cure="Write a number and a unit, such as 120 kg/ha.")
    if re.fullmatch(r"[-+]?[1-9]\d{0,2},\d{3}", body):
        raise UnitError(f"'{text}' can be read two ways", where=where, cure="Write 1200 or 1.2 without a comma.")
    value = float(body.replace(",", "."))
    if not (value == 0 or _LEAST <= abs(value) <= _MOST):
        seen = text if len(text) <= 40 else f"{text[:40]}..."
        raise UnitError(f"'{seen}' is no number of a farm", where=where, limit="0.00000001 to 1000000000000", cure="Look at its digits.")
    return value, match.group(2)


def read_quantity(text: str, quantity: str, profile: Profile = "si", *, where: str = "") -> float:
    """Typed text as a metric number; without a unit the profile's unit is meant.

    Parameters
    ----------
    text : str
        For example '120', '107 lb/ac', '16,3 m'. [-]
    quantity : str
        Key of `QUANTITIES`. [-]
    profile : str
        'si', 'prairie' or 'us'. [-]

    Returns
    -------
    float
        The value. [metric unit of the quantity]
    """
    number, symbol = read_number(text, where=where or quantity)
    try:
        return to_metric(number, quantity, symbol or profile_unit(quantity, profile))
    except UnitError as error:
        raise UnitError([dataclasses.replace(fault, where=where or quantity) for fault in error.faults]) from None


def recognise(text: str, candidates: tuple[str, ...]) -> tuple[str, float] | None:
    """Which of the candidate quantities a text like '7.5 km/h' gives, by its unit; None if it has none of them."""
    try:
        number, symbol = read_number(text)
    except UnitError:
        return None
    for quantity in candidates:
        if not symbol:
            continue
        try:
            return quantity, to_metric(number, quantity, symbol)
        except UnitError:
            continue
    return None


def check_profile(text: str) -> Profile:
    """The profile by name.

    Raises
    ------
    UnitError
        Listing the profiles there are.
    """
    for profile in PROFILES:
        if text == profile:
            return profile
    raise UnitError(f"'{text}' is no unit profile", where="units", cure=f"Use {', '.join(PROFILES)}.")


_IN_TEXT = {
    "kg/ha": "rate", "ha/h": "capacity", "ha": "area", "km/h": "speed", "kg/turn": "factor", "kg/m³": "density", "m³": "volume",
    "plants/m²": "stand", "seeds/m²": "seeds_area", "seeds/m": "seeds_row", "m/pulse": "pulse", "mm": "spacing", "m/s": "air_speed",
    "kg": "mass", "t": "load", "kPa": "pressure", "°C": "temperature", "m": "width",
}  # fmt: skip
"""Metric units as our own sentences print them, and what each then measures."""

_NUMBERS = r"-?\d[\d\u202f\u00a0]*(?:\.\d+)?"
_PRINTED = "(?:kg/ha|lb/ac|ha|ac|mm|in|cm|m|ft|°C|°F)"
_LEFT = rf"'[^']*'|\d[\w./²³°%]*\s{_PRINTED}\s\([^()]*\d\s{_PRINTED}\)"  # typed by somebody; given in both units already
_STATED = re.compile(
    rf"{_LEFT}|(?<![\w.\-])(?P<first>{_NUMBERS})(?:(?P<joint> to | - | and )(?P<second>{_NUMBERS}))?(?P<gap>[ \u00a0]?)"
    rf"(?P<unit>{'|'.join(re.escape(u) for u in _IN_TEXT)})(?![\w/²³])"
)


def restated(text: str, profile: Profile = "si") -> str:
    """A sentence of ours with metric amounts, as a reader of another profile expects it.

    Parameters
    ----------
    text : str
        Plain text; what stands between single quotes is what somebody typed and stays. [-]
    profile : str
        'si' leaves it as it is. [-]

    Returns
    -------
    str
        Amounts in the profile's units, to as many figures as were printed, three at least. [text]

    Examples
    --------
    >>> restated("Sown twice: about 0.59 ha, write 16.3 m.", "prairie")
    'Sown twice: about 1.46 ac, write 53.5 ft.'
    """
    if profile == "si":
        return text

    def other(match: re.Match[str]) -> str:
        if match.group("unit") is None:
            return match.group(0)
        quantity = _IN_TEXT[match.group("unit")]
        symbol = profile_unit(quantity, profile)
        if symbol == match.group("unit"):
            return match.group(0)
        first = _in_other_unit(match.group("first"), quantity, match.group("unit"), symbol)
        if match.group("second") is None:
            return f"{first}{match.group('gap')}{symbol}"
        second = _in_other_unit(match.group("second"), quantity, match.group("unit"), symbol)
        return f"{first}{match.group('joint')}{second}{match.group('gap')}{symbol}"

    return _STATED.sub(other, text)


def _in_other_unit(printed: str, quantity: str, unit: str, symbol: str) -> str:
    """A printed number in another unit of its quantity, to about as many figures. [text]"""
    plain = printed.replace("\u202f", "").replace("\u00a0", "")
    value = from_metric(to_metric(float(plain), quantity, unit), quantity, symbol)
    if value == 0:
        return "0"
    figures = max(3, len(plain.lstrip("-").replace(".", "").lstrip("0")))
    decimals = max(0, figures - 1 - math.floor(math.log10(abs(value))))
    number = rounded(value, min(decimals, 4))
    return number.rstrip("0").rstrip(".") if "." in number else number


def restated_fault(fault: Fault, profile: Profile = "si") -> Fault:
    """A fault in the reader's units; a bare limit beside an amount is taken in that amount's unit.

    Parameters
    ----------
    fault : Fault
        As raised, metric. [-]
    profile : str
        'si' leaves it as it is. [-]
    """
    if profile == "si":
        return fault
    limit = restated(fault.limit, profile)
    found = next((m for m in _STATED.finditer(fault.what) if m.group("unit")), None)
    if found is not None and limit == fault.limit:
        unit = found.group("unit")
        symbol = profile_unit(_IN_TEXT[unit], profile)

        def bound(match: re.Match[str]) -> str:
            return f"{_in_other_unit(match.group(0), _IN_TEXT[unit], unit, symbol)} {symbol}"

        if symbol != unit:
            limit = re.sub(rf"(?<![\w.]){_NUMBERS}(?![\w.])", bound, limit)
    return dataclasses.replace(fault, what=restated(fault.what, profile), limit=limit, cure=restated(fault.cure, profile))

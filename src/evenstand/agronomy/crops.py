"""What is printed for a crop, publisher by publisher, and whether a typed number lies outside all of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from evenstand.agronomy.rates import seeding_rate
from evenstand.base.errors import InputError, require_range
from evenstand.base.units import Profile, from_metric, shown, to_metric
from evenstand.reference import Figure, figures, source, table

Asked = Literal["plants_m2", "tkw_g", "survival", "depth_m", "rate_kg_ha"]

# what is asked -> quantity of base.units, the name in words, and the fields of the crop table that speak of it
_QUANTITY = {"plants_m2": "stand", "tkw_g": "kernel", "survival": "share", "depth_m": "depth", "rate_kg_ha": "rate"}
_WORDS = {
    "plants_m2": "the stand wanted",
    "tkw_g": "the thousand-kernel weight",
    "survival": "the survival",
    "depth_m": "the depth",
    "rate_kg_ha": "the seeding rate",
}
# a number typed in this unit, but taken for another: (as typed, as taken); none stands for the metric unit of the quantity
_SLIPS: Mapping[str, tuple[str, ...]] = {
    "plants_m2": ("plants/ft²", "plants/ac", "plants/ha"),
    "depth_m": ("in", "cm", "mm"),
    "rate_kg_ha": ("lb/ac", "kg/ha"),
    "tkw_g": (),
    "survival": ("%",),
}
_TAKEN: Mapping[str, tuple[str, ...]] = {
    "plants_m2": ("plants/m²", "plants/ft²"),
    "depth_m": ("mm", "in", "cm"),
    "rate_kg_ha": ("kg/ha", "lb/ac"),
    "tkw_g": ("g/1000",),
    "survival": ("-",),
}
_SPOKEN = {"in": "inches", "cm": "centimetres", "mm": "millimetres"}


@dataclass(frozen=True, slots=True, kw_only=True)
class CropRange:
    """One published range of a crop, in metric: low and high are equal for a single figure.

    quantity: "plants_m2" [plants/m²], "tkw_g" [g], "survival" [-], "depth_m" [m], "rate_kg_ha" [kg/ha], "soil_temperature_c" [°C],
    "depth_limit_m" [m], "seeds_m2" [seeds/m²]; source: its key; publisher: in words; where: place in it and for what it holds;
    seen: how far it was read; computed: worked out here from a publisher's other figures, not printed as it stands.
    """

    quantity: str
    low: float
    high: float
    source: str
    publisher: str
    where: str
    seen: str
    computed: bool = False

    def text(self, profile: Profile = "si") -> str:
        """The range with its unit and its publisher, in words. [text]"""
        quantity = _ALL_QUANTITIES[self.quantity]
        low, high = shown(self.low, quantity, profile), shown(self.high, quantity, profile)
        return (low if low == high else f"{low} to {high}") + f" ({self.publisher}{'; worked out here' if self.computed else ''})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """One typed number outside every published range. value and nearest in the metric unit of `quantity`; below: whether it lies below
    them all; slip: the likely typing slip in words, "" where none of the usual ones brings it inside; text: the whole in sentences, in
    metric units, and `said` in those of a profile."""

    crop: str
    quantity: Asked
    value: float
    nearest: CropRange
    below: bool
    slip: str
    text: str

    def said(self, profile: Profile = "si") -> str:
        """The doubt in sentences. [text]"""
        return _said(self.crop, self.quantity, self.value, self.below, self.nearest, self.slip, profile)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plausibility:
    """doubts: numbers outside every published range; inside: names of those within one; unpublished: names of those for which
    nothing published has been read for this crop, so that nothing is said of them."""

    crop: str
    doubts: tuple[Doubt, ...]
    inside: tuple[Asked, ...]
    unpublished: tuple[Asked, ...]


_ALL_QUANTITIES: Mapping[str, str] = {
    **_QUANTITY, "soil_temperature_c": "temperature", "depth_limit_m": "depth", "seeds_m2": "seeds_area",
    "best_temperature_c": "temperature", "after_winter_m2": "stand",
}  # fmt: skip
_FIELDS: Mapping[str, str] = {
    "plants_m2": "target_stand", "tkw_g": "kernel_weight", "survival": "survival", "depth_m": "depth", "rate_kg_ha": "rate",
    "soil_temperature_c": "soil_temperature", "depth_limit_m": "depth_limit", "seeds_m2": "target_seeds",
    "best_temperature_c": "soil_temperature_best", "after_winter_m2": "stand_after_winter",
}  # fmt: skip


def crop_keys() -> tuple[str, ...]:
    """Crops of the table.

    Returns
    -------
    tuple of str
        Keys such as "wheat", "winter-wheat", "pea". [-]
    """
    return tuple(table("crops"))


def find_crop(text: str) -> str | None:
    """The crop of the table that a text means.

    Parameters
    ----------
    text : str
        Key, name or a usual plural: "wheat", "spring wheat", "Peas", "red lentil". [-]

    Returns
    -------
    str or None
        Its key; None where the table has no such crop. [-]
    """
    wanted = " ".join(text.lower().replace("_", " ").replace("-", " ").split())
    names: dict[str, str] = {key.replace("-", " "): key for key in table("crops")}
    names |= {str(entry["name"]): key for key, entry in table("crops").items()}
    for candidate in (wanted, wanted.removesuffix("s"), wanted.removesuffix(" seed")):
        if candidate in names:
            return names[candidate]
    ends = [key for name, key in names.items() if wanted.removesuffix("s").endswith(f" {name}")]
    return ends[0] if ends else None


def crop_ranges(crop: str, quantity: str) -> tuple[CropRange, ...]:
    """Every published range of one quantity for a crop, publishers kept apart; common practice and memory are left out.

    Parameters
    ----------
    crop : str
        As `find_crop` takes it. [-]
    quantity : str
        "plants_m2", "tkw_g", "survival", "depth_m", "rate_kg_ha", "soil_temperature_c", "best_temperature_c", "depth_limit_m",
        "seeds_m2" or "after_winter_m2". [-]

    Returns
    -------
    tuple of CropRange
        Empty where nothing published has been read. [metric]

    Raises
    ------
    InputError
        If the quantity is none of these.
    """
    if quantity not in _FIELDS:
        raise InputError(f"'{quantity}' is not known", where="quantity", cure=f"Use {', '.join(_FIELDS)}.")
    key = find_crop(crop)
    if key is None:
        return ()
    found = [_range(quantity, f) for f in figures("crops", key, _FIELDS[quantity])]
    if quantity == "survival":
        found += [_one_minus(f) for f in figures("crops", key, "mortality") if "points" not in f.where]
    if quantity == "tkw_g":
        found += [_from_count(f) for f in figures("crops", key, "seed_count")]
    return tuple(r for r in found if r.seen in {"read", "second-hand"})


def depth_windows(crop: str) -> tuple[CropRange, ...]:
    """Depths of sowing that are published for a crop, publishers kept apart.

    Parameters
    ----------
    crop : str
        As `find_crop` takes it. [-]

    Returns
    -------
    tuple of CropRange
        Empty where none has been read. [m]
    """
    return crop_ranges(crop, "depth_m")


def soil_temperatures(crop: str) -> tuple[CropRange, ...]:
    """Lowest soil temperatures at seed depth that are published for a crop, publishers kept apart.

    Parameters
    ----------
    crop : str
        As `find_crop` takes it. [-]

    Returns
    -------
    tuple of CropRange
        Empty where none has been read. [°C]
    """
    return crop_ranges(crop, "soil_temperature_c")


def doubtful_numbers(
    crop: str,
    *,
    plants_m2: float | None = None,
    tkw_g: float | None = None,
    survival: float | None = None,
    depth_m: float | None = None,
    rate_kg_ha: float | None = None,
) -> Plausibility:
    """Which typed numbers lie outside every published range for the crop, and which slip of typing would explain them.

    A number outside all ranges is a reason to look again, not an error: varieties and places differ. Around a single figure, or a range
    that is the only one read, the slack of stands.toml is allowed. Where a crop has no published
    rate, its range is worked out from the publishers' own stands, kernel weights and survivals, and marked so.

    Parameters
    ----------
    crop : str
        As `find_crop` takes it. [-]
    plants_m2 : float or None
        Stand wanted. [plants/m²]
    tkw_g : float or None
        Mass of a thousand kernels. [g]
    survival : float or None
        Share of seeds that become plants. [-]
    depth_m : float or None
        Depth of sowing. [m]
    rate_kg_ha : float or None
        Seed sown. [kg/ha]

    Returns
    -------
    Plausibility
        Doubts in the order of the arguments. [metric]

    Raises
    ------
    RangeError
        If a number is not above zero.
    """
    given: dict[Asked, float | None] = {
        "plants_m2": plants_m2, "tkw_g": tkw_g, "survival": survival, "depth_m": depth_m, "rate_kg_ha": rate_kg_ha,
    }  # fmt: skip
    doubts: list[Doubt] = []
    inside: list[Asked] = []
    unpublished: list[Asked] = []
    for name, value in given.items():
        if value is None:
            continue
        require_range(name, value, 0, low_open=True)
        ranges = crop_ranges(crop, name) or (_rates_worked_out(crop) if name == "rate_kg_ha" else ())
        if not ranges:
            unpublished.append(name)
        elif _among(value, ranges):
            inside.append(name)
        else:
            doubts.append(_doubt(find_crop(crop) or crop, name, value, ranges))
    return Plausibility(crop=find_crop(crop) or crop, doubts=tuple(doubts), inside=tuple(inside), unpublished=tuple(unpublished))


def _among(value: float, ranges: tuple[CropRange, ...]) -> bool:
    """Whether a number lies in one of the ranges.

    A single figure, and a range that is the only one read, speak for fewer varieties and places than there are: the table's slack
    is allowed around them. A range worked out here gets none.
    """
    for r in ranges:
        slack = 0.0
        if r.low == r.high or (len(ranges) == 1 and not r.computed):
            part = "survival" if r.quantity == "survival" else "other"
            slack = figures("stands", "single_figure", part)[0].value
        if r.low * (1 - slack - 1e-9) <= value <= r.high * (1 + slack + 1e-9):
            return True
    return False


def _doubt(crop: str, name: Asked, value: float, ranges: tuple[CropRange, ...]) -> Doubt:
    nearest = min(ranges, key=lambda r: max(r.low / value, value / r.high))
    below = value < nearest.low
    slip = _slip(name, value, ranges)
    return Doubt(
        crop=crop, quantity=name, value=value, nearest=nearest, below=below, slip=slip,
        text=_said(crop, name, value, below, nearest, slip, "si"),
    )  # fmt: skip


def _said(crop: str, name: Asked, value: float, below: bool, nearest: CropRange, slip: str, profile: Profile) -> str:
    text = (
        f"{_WORDS[name].capitalize()}, {shown(value, _QUANTITY[name], profile)}, lies {'below' if below else 'above'} all that is "
        f"published for {table('crops')[crop]['name']}; nearest: {nearest.text(profile)}."
    )
    return f"{text} {slip}".strip()


def _slip(name: Asked, value: float, ranges: tuple[CropRange, ...]) -> str:
    """The usual slip that would bring a number inside, units before decimal points."""
    quantity = _QUANTITY[name]
    for taken in _TAKEN[name]:
        for meant in _SLIPS[name]:
            if meant == taken:
                continue
            typed = from_metric(value, quantity, taken)
            if _among(to_metric(typed, quantity, meant), ranges):
                if name == "survival":
                    return "Typed in per cent, perhaps, without the sign?"
                return f"Meant as {_SPOKEN.get(meant, meant)}, perhaps, and taken for {_SPOKEN.get(taken, taken)}?"
    if name == "tkw_g":
        per_pound = to_metric(value, "seeds_mass", "seeds/lb")
        if _among(1e6 / per_pound, ranges):
            return "Seeds in a pound, perhaps, and not the weight of a thousand?"
    for ratio in table("stands")["decimals"]["ratios"]:
        if _among(value * ratio, ranges):
            return f"A decimal point or a nought, perhaps: {shown(value * ratio, quantity, symbol=_TAKEN[name][0])}?"
    return ""


def _rates_worked_out(crop: str) -> tuple[CropRange, ...]:
    """Lowest and highest rate that published stands, kernel weights and survivals of the crop give together. [kg/ha]"""
    stands, weights, alive = (crop_ranges(crop, q) for q in ("plants_m2", "tkw_g", "survival"))
    if not (stands and weights and alive):
        return ()
    low = seeding_rate(min(r.low for r in stands), min(r.low for r in weights), max(r.high for r in alive))
    high = seeding_rate(max(r.high for r in stands), max(r.high for r in weights), min(r.low for r in alive))
    used = tuple(dict.fromkeys(r.source for r in (*stands, *weights, *alive)))
    publishers = ", ".join(dict.fromkeys(r.publisher for r in (*stands, *weights, *alive)))
    return (
        CropRange(
            quantity="rate_kg_ha", low=low, high=high, source=used[0], publisher=f"from stands, weights and survivals of {publishers}",
            where=", ".join(used), seen="second-hand", computed=True,
        ),
    )  # fmt: skip


def _range(quantity: str, f: Figure) -> CropRange:
    low, high = (f.low, f.high) if quantity == "survival" else f.metric(_ALL_QUANTITIES[quantity])
    return _made(quantity, low, high, f)


def _one_minus(f: Figure) -> CropRange:
    return _made("survival", 1 - f.high, 1 - f.low, f, computed=True)


def _from_count(f: Figure) -> CropRange:
    low, high = f.metric("seeds_mass")
    return _made("tkw_g", 1e6 / high, 1e6 / low, f, computed=True)


def _made(quantity: str, low: float, high: float, f: Figure, *, computed: bool = False) -> CropRange:
    said = source(f.source)
    return CropRange(
        quantity=quantity, low=low, high=high, source=f.source, publisher=said.publisher or said.title, where=f.where, seen=f.seen,
        computed=computed,
    )  # fmt: skip

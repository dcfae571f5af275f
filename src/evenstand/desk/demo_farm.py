"""The demo farm: an invented farm with two outfits, five fields, four crops and eight products.

Nothing here is real: no place, person, company or machine lies behind it. Sizes are usual ones (basis "common-practice");
outlines, names, lots, tickets, tests and prices are invented (basis "invented").
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any, Protocol, TypeVar

from evenstand.base.estimate import Est
from evenstand.model import (
    Ask,
    Bin,
    Boundary,
    Costs,
    FanProof,
    Fill,
    FlagTest,
    Frame,
    Hazard,
    Head,
    Job,
    Load,
    Lot,
    Meter,
    MeterFactor,
    Outfit,
    Product,
    PulseTest,
    Reading,
    Run,
    Section,
    Stream,
    Weather,
    Widths,
)

PRACTICE, INVENTED = "common-practice", "invented"
STEADY_TURNS_S = (4 / 60, 60 / 60)
LITRES_TURN_SD = 0.03
CAPACITY_SD = 0.02
HOSE_LEAST_M = 2.0
HOSE_SLACK = 1.15
RANK_STEP_M = 0.35


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoFarm:
    """All of the demo farm.

    profiles: unit profile of each outfit's owner, by outfit key; prices: money of an unnamed unit per kilogram, by product [1/kg];
    hand_readings: what was read by hand at the end of a job, by job key; basis: of the numbers of each part; note: what to tell
    whoever looks at it.
    """

    name: str
    season: int
    note: str
    outfits: tuple[Outfit, ...]
    profiles: Mapping[str, str]
    products: tuple[Product, ...]
    lots: tuple[Lot, ...]
    factors: tuple[MeterFactor, ...]
    prices: Mapping[str, float]
    boundaries: tuple[Boundary, ...]
    jobs: tuple[Job, ...]
    loads: tuple[Load, ...]
    fills: tuple[Fill, ...]
    hand_readings: Mapping[str, tuple[Reading, ...]]
    basis: Mapping[str, str] = field(default_factory=dict)

    def outfit(self, key: str) -> Outfit:
        """The outfit of that key; `KeyError` if there is none."""
        return _one(self.outfits, key)

    def job(self, key: str) -> Job:
        """The job of that key; `KeyError` if there is none."""
        return _one(self.jobs, key)

    def boundary(self, key: str) -> Boundary:
        """The field of that key; `KeyError` if there is none."""
        return _one(self.boundaries, key)

    def product(self, key: str) -> Product:
        """The product of that key; `KeyError` if there is none."""
        return _one(self.products, key)


class _Keyed(Protocol):
    @property
    def key(self) -> str: ...


_K = TypeVar("_K", bound=_Keyed)


def _one(things: Iterable[_K], key: str) -> _K:
    for thing in things:
        if thing.key == key:
            return thing
    raise KeyError(key)


@cache
def demo_farm() -> DemoFarm:
    """The demo farm, the same each time.

    Returns
    -------
    DemoFarm
        Frozen; read once from the package's own data. [-]
    """
    outfits, products, season, fields = (_table(name) for name in ("outfits", "products", "season", "fields"))
    return DemoFarm(
        name="Demo farm (invented)",
        season=season["season"],
        note="Invented throughout: no real farm, place, person, company or machine lies behind it; prices are in no currency.",
        outfits=tuple(_outfit(key, row) for key, row in outfits.items()),
        profiles={key: row["profile"] for key, row in outfits.items()},
        products=tuple(_product(key, row) for key, row in products["product"].items()),
        lots=tuple(_lot(key, row) for key, row in products["lot"].items()),
        factors=tuple(MeterFactor(**{**row, "kg_turn": _est(row["kg_turn"], PRACTICE)}) for row in products["factor"]),
        prices={key: row["price_kg"] for key, row in products["product"].items()},
        boundaries=tuple(_boundary(key, row) for key, row in fields.items()),
        jobs=tuple(_job(key, row, season["season"], fields) for key, row in season["job"].items()),
        loads=tuple(Load(**row) for row in season["load"]),
        fills=tuple(Fill(**row) for row in season["fill"]),
        hand_readings=_hand_readings(season["reading"]),
        basis={
            "outfits": PRACTICE, "hoses": INVENTED, "products": PRACTICE, "factors": PRACTICE, "rates": PRACTICE, "lots": INVENTED,
            "prices": INVENTED, "boundaries": INVENTED, "loads": INVENTED, "fills": INVENTED, "hand_readings": INVENTED,
        },
    )  # fmt: skip


def _table(name: str) -> dict[str, Any]:
    text = files("evenstand.desk").joinpath("demo_data", f"{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _est(row: Mapping[str, float] | None, basis: str) -> Est | None:
    return None if row is None else Est(value=row["value"], sd=row["sd"], basis=basis, source="demo farm")


def _outfit(key: str, row: Mapping[str, Any]) -> Outfit:
    heads = _heads(row)
    runs = _runs(row, heads)
    return Outfit(
        key=key, name=row["name"], drive=row["drive"], speed_source=row["speed_source"], rows=row["rows"],
        row_spacing_m=row["row_spacing_m"], spread_m=row["spread_m"], opener=row["opener"],
        widths=Widths(true_m=_est(row.get("true_width_m"), PRACTICE), rate_m=row["rate_width_m"], guidance_m=row["guidance_width_m"]),
        bins=tuple(_bin(letter, b, len(heads)) for letter, b in row["bins"].items()),
        streams=tuple(Stream(key=k, placement=s["placement"], label=s["label"]) for k, s in row["streams"].items()),
        heads=heads, runs=runs, sections=_sections(row, heads), sensor_streams=tuple(row["sensor_streams"]), speed_m_s=row["speed_m_s"],
        pulse_m=_est(row.get("pulse_m"), PRACTICE), wheel_m=row["wheel_m"], turn_radius_m=row["turn_radius_m"],
        antenna_ahead_m=row["antenna_ahead_m"], fan_turns_s=_est(row["fan_turns_s"], PRACTICE),
        overlap_low=row["overlap_low"], overlap_high=row["overlap_high"], stand_in_m_s=row.get("stand_in_m_s"),
        fan_proof=FanProof(**row.get("fan_proof", {})), flag=_flag(row.get("flag")), costs=Costs(**row.get("costs", {})),
        pulses=tuple(PulseTest(**{**p, "pulse_m": Est(**p["pulse_m"], basis=INVENTED, source="demo farm")}) for p in row.get("pulses", ())),
    )  # fmt: skip


def _flag(row: Mapping[str, Any] | None) -> FlagTest:
    if row is None:
        return FlagTest()
    return FlagTest(on_m=_est(row["on_m"], INVENTED), off_m=_est(row["off_m"], INVENTED), speed_m_s=row["speed_m_s"], at=row["at"])


def _bin(letter: str, row: Mapping[str, Any], segments: int) -> Bin:
    litres, capacity = row["litres_turn"], row["capacity_m3"]
    meter = Meter(
        roller=row["roller"], setting=row["roller"], segments=segments,
        litres_turn=Est(value=litres, sd=LITRES_TURN_SD * litres, basis=PRACTICE, source="demo farm"),
        steady_low_turns_s=STEADY_TURNS_S[0], steady_high_turns_s=STEADY_TURNS_S[1], flutes=row.get("flutes"),
    )  # fmt: skip
    return Bin(
        letter=letter, label=row["label"], position=row["position"], fill_share=row["fill_share"], stream=row["stream"], meter=meter,
        capacity_m3=Est(value=capacity, sd=CAPACITY_SD * capacity, basis=PRACTICE, source="demo farm"),
        low_light_kg=Est(value=row["low_light_kg"], sd=row["low_light_sd_kg"], basis=INVENTED, source="demo farm"),
    )  # fmt: skip


def _heads(row: Mapping[str, Any]) -> tuple[Head, ...]:
    parts = zip(row["head_letters"], row["head_outlets"], row["primary_m"], strict=True)
    caught = row.get("head_caught_kg", [None] * len(row["head_letters"]))
    return tuple(
        Head(letter=letter, outlets=outlets, stream=row["head_stream"], segment=i + 1, primary_m=primary, caught_kg=caught[i])
        for i, (letter, outlets, primary) in enumerate(parts)
    )


def _runs(row: Mapping[str, Any], heads: tuple[Head, ...]) -> tuple[Run, ...]:
    """Openers from the left as seen from the seat; a head feeds neighbours. Sensor 37 is outlet 7 of the third head, not opener 37."""
    runs: list[Run] = []
    middle = (row["rows"] - 1) / 2
    for i, head in enumerate(heads):
        first = len(runs)
        for outlet in range(1, head.outlets + 1):
            number = first + outlet
            rank = row["ranks"][(number - 1) % len(row["ranks"])]
            reach = abs(outlet - (head.outlets + 1) / 2) * row["row_spacing_m"]
            runs.append(
                Run(
                    number=number,
                    head=head.letter,
                    outlet=outlet,
                    offset_m=round((number - 1 - middle) * row["row_spacing_m"], 4),
                    rank=rank,
                    hose_m=round(HOSE_LEAST_M + HOSE_SLACK * reach + RANK_STEP_M * rank, 2),
                    sensor=(i + 1) * 10 + outlet if row["sensors"] else None,
                )
            )
    return tuple(runs)


def _sections(row: Mapping[str, Any], heads: tuple[Head, ...]) -> tuple[Section, ...]:
    """One section a head, where sections can be shut."""
    if not row["sections"]:
        return ()
    out, edge = [], -row["rows"] * row["row_spacing_m"] / 2
    for i, head in enumerate(heads):
        right = edge + head.outlets * row["row_spacing_m"]
        out.append(Section(number=i + 1, left_m=round(edge, 4), right_m=round(right, 4)))
        edge = right
    return tuple(out)


def _product(key: str, row: Mapping[str, Any]) -> Product:
    return Product(key=key, **{**row, "density_kg_m3": _est(row["density_kg_m3"], PRACTICE)})


def _lot(key: str, row: Mapping[str, Any]) -> Lot:
    tests = {name: _est(row.get(name), INVENTED) for name in ("tkw_g", "germination", "density_kg_m3")}
    return Lot(key=key, **{**row, **tests})


def _job(key: str, row: Mapping[str, Any], season: int, fields: Mapping[str, Any]) -> Job:
    asks = tuple(Ask(**{**ask, "bins": tuple(ask["bins"])}) for ask in row["asks"])
    area = round(_boundary(row["field_key"], fields[row["field_key"]]).area_ha, 1)
    weather = Weather(**row.get("weather", {}))
    return Job(key=key, season=season, area_ha=area, **{**row, "asks": asks, "weather": weather})


def _hand_readings(rows: Iterable[Mapping[str, Any]]) -> dict[str, tuple[Reading, ...]]:
    out: dict[str, tuple[Reading, ...]] = {}
    for row in rows:
        rest = {k: v for k, v in row.items() if k != "job"}
        reading = Reading(**{**rest, "derived_from": tuple(row.get("derived_from", ()))})
        out[row["job"]] = (*out.get(row["job"], ()), reading)
    return out


def _boundary(key: str, row: Mapping[str, Any]) -> Boundary:
    """A field from its rings in metres of its own frame."""
    from evenstand.field import boundary_from_rings

    return boundary_from_rings(
        row["outside"], holes=row["holes"], obstacles=row["obstacles"], frame=Frame(lon_deg=row["lon_deg"], lat_deg=row["lat_deg"]),
        key=key, name=row["name"], entries=row["entries"], fill_points=row["fill_points"],
        hazards=tuple(Hazard(**h) for h in row["hazards"]),
    )  # fmt: skip

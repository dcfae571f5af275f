"""What a check is about: the chapters of the verification page, found by the module a function stands in."""

from __future__ import annotations

import importlib
from collections.abc import Iterable, Mapping
from functools import cache
from typing import TypeVar

SEEDING, FERTILIZER, ROW = "Seeding rate and stand", "Fertilizer and nutrients", "Seed row"
METERING, TRAVEL, ACROSS = "Metering and catches", "Travel, wheels and areas", "Across the tool and along the hoses"
AIR, LIQUIDS, CAPACITY = "Air", "Liquids and ammonia", "Capacity, power and cost"
SEED, GRAIN, MASSES = "Germination, kernels and statistics", "Grain by volume", "Masses and balances"
FIELD, TRAIL, SUPPLY = "Field geometry", "Trails", "Stops and loads"
CHECKING, UNITS, OTHER = "Checking readings", "Units", "Other"
TOPICS = (
    SEEDING, ROW, FERTILIZER, METERING, ACROSS, TRAVEL, AIR, LIQUIDS, CAPACITY, SEED, GRAIN, MASSES, FIELD, TRAIL, SUPPLY, CHECKING, OTHER,
    UNITS,
)  # fmt: skip
"""In the order of the page. [-]"""

_FUNCTIONS: Mapping[str, str] = {
    "machine.field_capacity": CAPACITY, "machine.work_hours": CAPACITY, "machine.needed_capacity": CAPACITY,
    "machine.field_efficiency": CAPACITY, "agronomy.rate_from_row_catch": METERING, "agronomy.counts_needed": SEED,
    "agronomy.emergence_spread": SEED, "machine.caught_rate": METERING,
}  # fmt: skip
_MODULES: Mapping[str, str] = {
    "agronomy.rates": SEEDING, "agronomy.lots": SEEDING, "agronomy.stands": SEEDING, "agronomy.depths": SEEDING,
    "agronomy.reseeding": SEEDING, "agronomy.lateness": SEEDING, "agronomy.crops": SEEDING, "agronomy.counting": SEEDING,
    "agronomy.establishment": SEEDING, "agronomy.seeding": SEEDING, "agronomy.thin_stands": SEEDING, "agronomy.scatter": SEEDING,
    "agronomy.seed_row": ROW, "agronomy.row_rules": ROW, "agronomy.placement": ROW, "agronomy.treating": ROW, "agronomy.batches": ROW,
    "agronomy.waiting": ROW, "agronomy.keeping": ROW, "agronomy.salts": ROW, "agronomy.bands": ROW, "agronomy.nutrients": FERTILIZER,
    "agronomy.blending": FERTILIZER, "agronomy.blend_parts": FERTILIZER, "agronomy.blend_supplies": FERTILIZER,
    "agronomy.germination": SEED, "agronomy.kernels": SEED, "agronomy.grain": GRAIN, "machine.metering": METERING,
    "machine.factors": METERING, "machine.pooling": METERING, "machine.resolution": METERING, "machine.settings": METERING,
    "machine.windows": METERING, "machine.twin_bins": METERING, "machine.pulses": METERING, "machine.segments": METERING,
    "tally.catching": METERING, "tally.rows": METERING, "tally.lines": METERING, "machine.travel": TRAVEL, "machine.wheels": TRAVEL,
    "machine.widths": TRAVEL, "machine.slip": TRAVEL, "machine.across": ACROSS, "machine.curves": ACROSS, "machine.heads": ACROSS,
    "machine.runs": ACROSS, "machine.run_maps": ACROSS, "machine.shut_runs": ACROSS, "machine.affected": ACROSS,
    "machine.hoses": ACROSS, "machine.delays": ACROSS, "machine.starting": ACROSS, "machine.switching": ACROSS, "machine.air": AIR,
    "machine.air_bands": AIR, "machine.conveying": AIR, "machine.fans": AIR, "machine.fan_readings": AIR, "machine.friction": AIR,
    "machine.floating": AIR, "machine.liquids": LIQUIDS, "machine.ammonia": LIQUIDS, "machine.working": CAPACITY,
    "machine.workdays": CAPACITY, "machine.powering": CAPACITY, "machine.fuel": CAPACITY, "machine.costing": CAPACITY,
    "machine.deadlines": CAPACITY, "machine.holding": MASSES,
}  # fmt: skip
_PACKAGES: Mapping[str, str] = {
    "agronomy": SEEDING, "machine": METERING, "tally": MASSES, "field": FIELD, "trail": TRAIL, "supply": SUPPLY, "check": CHECKING,
    "solve": CHECKING, "units": UNITS, "formats": TRAIL,
}  # fmt: skip
_WORDS: Mapping[str, str] = {  # in the name of a module that is not listed above
    "air": AIR, "fan": AIR, "blend": FERTILIZER, "liquid": LIQUIDS, "cost": CAPACITY, "draft": CAPACITY, "power": CAPACITY, "head": ACROSS,
    "run": ACROSS, "wheel": TRAVEL, "row": ROW,
}  # fmt: skip

Thing = TypeVar("Thing")


@cache
def topic_of(function: str) -> str:
    """The chapter a function belongs to.

    Parameters
    ----------
    function : str
        As in `Pair.function`, such as "agronomy.seeding_rate". [-]

    Returns
    -------
    str
        One of `TOPICS`. [-]
    """
    if function in _FUNCTIONS:
        return _FUNCTIONS[function]
    package = function.partition(".")[0]
    module = _module(function)
    if module in _MODULES:
        return _MODULES[module]
    words = [topic for word, topic in _WORDS.items() if word in module.rpartition(".")[2]]
    return words[0] if words else _PACKAGES.get(package, OTHER)


def by_topic(things: Iterable[tuple[str, Thing]]) -> dict[str, list[Thing]]:
    """Things in the order of the page, each given with its function's name; topics that have none are left out."""
    found: dict[str, list[Thing]] = {topic: [] for topic in TOPICS}
    for function, thing in things:
        found[topic_of(function)].append(thing)
    return {topic: listed for topic, listed in found.items() if listed}


def _module(function: str) -> str:
    """Package and module a function is defined in, such as "agronomy.rates"; "" if it cannot be found."""
    package, *names = function.split(".")
    try:
        thing = importlib.import_module(f"evenstand.{package}")
        for name in names:
            thing = getattr(thing, name)
    except (ImportError, AttributeError):
        return ""
    return str(getattr(thing, "__module__", "")).removeprefix("evenstand.")

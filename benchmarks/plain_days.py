"""Days of readings alone, without a log: what two bins, a counter and some witnesses would say, thousands of them in minutes.

A simulator of its own: it shares the data types with the check and nothing else. Every error is a named standard normal number, so the
true covariance of whatever is made from the readings follows from moving each number a little; the ideal test of the power bench
knows it. Sizes of errors are ours, not published.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from evenstand.model import Fill, Reading

SETS = ("three", "boundary", "tickets", "catch", "tape", "log", "all")
BINS = {"A": (150.0, 1.18, 4500.0, "fertilizer"), "D": (121.0, 1.25, 5000.0, "seed")}  # kg/ha, kg/turn, kg in a full bin, kind
WIDTH_M = 16.26
KINDS = ("factor", "distance", "width", "slip", "fill-missed", "fill-doubled", "lid", "bridge", "fan", "fixes")
PAIRED = KINDS[:6]
FAN = 71.7  # turns a second that were proven


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """A world of plain days. Standard deviations of what moves on a day: factor, between: from fill to fill, distance, width, counting
    [-]; fan: steady speed against the proven one [-]; overlap: least and most; tails: freedom of Student's t of every error, infinite for
    normal ones; drift: change of a factor over a day, most [-]; honest: real over stated spread of witnesses [-]; ills: chance of each
    thing that no model of the check knows."""

    name: str
    factor: float = 0.012
    between: float = 0.006
    distance: float = 0.006
    width: float = 0.0015
    counting: float = 0.003
    overlap: tuple[float, float] = (0.012, 0.05)
    tails: float = math.inf
    drift: float = 0.0
    honest: float = 1.0
    ills: float = 0.0
    fan: float = 0.012


AIRS = {
    "nominal": Air(name="nominal"),
    "rough": Air(
        name="rough", factor=0.018, between=0.012, distance=0.012, width=0.003, counting=0.006, overlap=(0.01, 0.08), tails=4.0, drift=0.03,
        honest=1.3,
    ),
    "hostile": Air(
        name="hostile", factor=0.018, between=0.012, distance=0.012, width=0.003, counting=0.006, overlap=(0.01, 0.08), tails=4.0,
        drift=0.03, honest=1.3, ills=0.25,
    ),
}  # fmt: skip
ILLS = (
    "digits swapped in a fill", "a reading lost", "a lid that leaks", "a bin that bridges", "a wrong lot", "a fill late by a day",
    "hours lost", "a clock that is off",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainDay:
    """What is read, and the truth kept apart: real: size of each cause as it really was that day, usual change included."""

    readings: tuple[Reading, ...]
    fills: tuple[Fill, ...]
    typed: Mapping[str, float]
    asked: Mapping[str, float]
    kinds: Mapping[str, str]
    real: Mapping[str, float]
    variant: str
    noise: Mapping[str, float]
    area_ha: float
    ills: tuple[str, ...] = ()
    how: Mapping[str, Any] = field(default_factory=dict)


class Noise:
    """Standard normal (or Student) numbers by name: drawn once, kept, and moved one at a time when asked to."""

    def __init__(self, rng: np.random.Generator, tails: float, fixed: Mapping[str, float] | None = None) -> None:
        self.rng, self.tails, self.drawn = rng, tails, dict(fixed or {})

    def __call__(self, name: str) -> float:
        if name not in self.drawn:
            wide = math.isfinite(self.tails)
            value = self.rng.standard_t(self.tails) * math.sqrt((self.tails - 2) / self.tails) if wide else self.rng.standard_normal()
            self.drawn[name] = float(value)
        return self.drawn[name]


def plain_day(
    seed: int,
    reading_set: str,
    world: str = "nominal",
    faults: Mapping[str, float] | None = None,
    *,
    fixed: Mapping[str, float] | None = None,
) -> PlainDay:
    """One day. faults: size by cause: shares as natural logarithms of the ratio, fills in kg. fixed: noise by name, for the covariance."""
    air, wrong = AIRS[world], dict(faults or {})
    course = np.random.default_rng([seed, 1])  # the course of the day: area, how full; never moved
    noise = Noise(np.random.default_rng([seed, 2]), air.tails, fixed)
    field_ha = float(course.uniform(60, 140))
    low, high = air.overlap
    even = (float(course.random()) - 0.5) * math.sqrt(12)  # of unit spread, but bounded
    noise.drawn.setdefault("overlap", even)
    overlap = (low + high) / 2 + noise("overlap") * (high - low) / math.sqrt(12)
    width = wrong.get("width", 0.0) + air.width * noise("width")
    distance = wrong.get("distance", 0.0) + air.distance * noise("distance")
    driven = field_ha * (1 + overlap)
    counter = driven * math.exp(width + distance) * (1 + air.counting * noise("counting"))
    ills = [ill for ill in ILLS if course.random() < air.ills]
    seen_share = 1 - float(course.uniform(0.05, 0.15)) * ("hours lost" in ills)
    real = {"width": width, "distance": distance, "overlap": overlap}
    readings = [
        Reading(quantity="area_counter", value=counter * seen_share, sd=0.003, instrument="display", derived_from=("W", "V")),
    ]
    fills: list[Fill] = []
    logged, weighed = reading_set in ("log", "all"), reading_set in ("tickets", "all")
    variant = next(iter(wrong), "")
    for a, (rate, typed, full, _) in BINS.items():
        slip, gain = wrong.get(f"slip:{a}", 0.0), wrong.get(f"factor:{a}", 0.0) + air.factor * noise(f"factor {a}")
        held = gain
        gain += wrong.get(f"lid:{a}", 0.0)
        if a == "D" and "a lid that leaks" in ills:
            gain -= 0.06
        if a == "D" and "a wrong lot" in ills:
            gain, held = gain + 0.05, held + 0.05
        real[f"slip:{a}"] = slip
        of_day = _bin_course(a, rate * math.exp(slip), full, counter, gain, wrong, course, noise, air, ills)
        entries, left, used, shown, inside, lost = of_day
        real[f"factor:{a}"] = math.log(used / shown)
        real[f"lid:{a}"] = wrong.get(f"lid:{a}", 0.0)
        real[f"bridge:{a}"] = lost[0] / (lost[1] if logged else shown) if lost[0] else 0.0
        way = "truck-scale" if weighed else "pads"
        written: list[Fill] = []
        for k, (area, put, level, times) in enumerate(entries):
            sd = max(0.003 * put, 10.0) if weighed else max(0.01 * put, 15.0)
            value = max(20.0, put + sd * air.honest * noise(f"fill {a} {k}"))
            if k == 1 and a == "A" and "digits swapped in a fill" in ills:
                value = _swapped(value)
            seen = min(max(level + 0.1 * full * noise(f"before {a} {k}"), 0.0), full) if area else 0.0
            for _ in range(times):
                written.append(
                    Fill(
                        key=f"{a}{len(written)}", outfit="o", bin=a, product=a, job="j", at="", put_kg=value, put_sd_kg=sd, how=way,
                        area_ha=_by_the_clock(area, counter, ills), level_before_kg=seen, level_before_sd_kg=0.1 * full if area else 5.0,
                    )
                )  # fmt: skip
            if times == 2:
                real[f"fill-doubled:{a}"] = value
        late = written[:-1] if a == "A" and "a fill late by a day" in ills and len(written) > 2 else written
        real[f"fill-missed:{a}"] = wrong.get(f"fill-missed:{a}", 0.0)
        fills += late
        own = math.sqrt(sum(f.put_sd_kg**2 for f in late))
        readings.append(Reading(quantity=f"put:{a}", value=sum(f.put_kg for f in late), sd=own, instrument=way))
        level_sd = max(5.0, 0.02 * left)
        kept = left + level_sd * air.honest * noise(f"level {a}")
        readings.append(Reading(quantity=f"level:{a}", value=max(kept, 0.0), sd=level_sd, instrument="weighed"))
        if logged:
            readings += _echoes(a, rate * math.exp(slip), typed, shown * seen_share, sum(f.put_kg for f in late))
        if weighed:
            put = sum(e[1] for e in entries) + wrong.get(f"fill-missed:{a}", 0.0)
            sd = max(15.0, 0.003 * put)
            value = put + sd * air.honest * noise(f"delivered {a}")
            readings.append(Reading(quantity=f"delivered:{a}", value=value, sd=sd, instrument="truck-scale"))
        if reading_set in ("catch", "all"):
            value = typed * math.exp(held) * (1 + air.honest * (0.012 * noise(f"catch {a}") + 0.01 * noise(f"standing {a}")))
            readings.append(Reading(quantity=f"catch_factor:{a}", value=value, sd=0.012 * value, instrument="catch"))
        if a in variant.partition(":")[2] and inside:
            variant = f"{variant}@{inside}" if logged else f"{variant}@1"
    readings += _machine(reading_set, field_ha, counter, width, distance, noise, air, wrong, seen_share)
    real |= {"fan": wrong.get("fan", 0.0) + air.fan * noise("fan"), "fixes": wrong.get("fixes", 0.0)}
    if "a reading lost" in ills:
        readings = [r for r in readings if r.quantity not in ("distance_gnss", "level:A")]
    typed_values = {"W": WIDTH_M} | {f"F:{a}": b[1] for a, b in BINS.items()}
    if logged:
        typed_values |= {f"rate:{a}": b[0] * math.exp(real[f"slip:{a}"]) for a, b in BINS.items()}
    return PlainDay(
        readings=tuple(readings), fills=tuple(fills), typed=typed_values, asked={a: b[0] for a, b in BINS.items()},
        kinds={a: b[3] for a, b in BINS.items()}, real=real, variant=variant, noise=noise.drawn, area_ha=field_ha, ills=tuple(ills),
    )  # fmt: skip


def _bin_course(
    a: str, rate: float, full: float, counter: float, gain: float, wrong: Mapping[str, float], course: np.random.Generator, noise: Noise,
    air: Air, ills: list[str],
) -> tuple[list[tuple[float, float, float, int]], float, float, float, int, tuple[float, float]]:  # fmt: skip
    """(area, put, level before, times entered) of each fill; left, used, and what the machine shows as used; number of the interval in
    which something went wrong, 0 for none; what a bridge held back, and what the meter took in that interval. [kg, ha]"""
    first = float(course.uniform(0.85, 0.95)) * full
    entries = [(0.0, first, 0.0, 1)]
    level, at, used = first, 0.0, 0.0
    missed, doubled = wrong.get(f"fill-missed:{a}", 0.0), wrong.get(f"fill-doubled:{a}", 0.0)
    bridged = wrong.get(f"bridge:{a}", 0.0)
    when = float(course.uniform(0.2, 0.75)) * counter
    inside, k, lost = 0, 0, (0.0, 1.0)
    # when to stop follows the plan, not what is really in: the course must not hang on the noise; how much goes in does
    usual_leg = float(course.uniform(0.6, 0.75)) * full / rate
    leg, planned = usual_leg, first
    while at < counter - 1e-9:
        to = min(counter, at + leg)
        drift = air.drift * ((at + to) / (2 * counter) - 0.5) * noise(f"drift {a}")
        gives = math.exp(gain + air.between * noise(f"between {a} {k}") + drift)
        if a == "A" and k == 1 and "a bin that bridges" in ills:
            gives *= 0.5
        if missed and not inside and to > when:
            level, inside = level + missed, k + 1
        if bridged and not inside and to > when:
            lost = (rate * (to - at) * gives * bridged, rate * (to - at))
            gives, inside = gives * (1 - bridged), k + 1
        take = rate * (to - at) * gives
        level, used, planned, at, k = level - take, used + take, planned - rate * (to - at), to, k + 1
        if at < counter - 1e-9:
            twice = bool(doubled) and not inside and (at >= when or counter - at <= usual_leg)
            goal = first if counter - at > usual_leg else min(first, 1.25 * rate * (counter - at))
            put = doubled if twice else max(goal - level, 50.0)
            planned += doubled if twice else goal - planned
            leg = min(usual_leg, 0.8 * planned / rate)
            inside = k + 1 if twice else inside
            entries.append((at, put, level, 2 if twice else 1))
            level += put
    return entries, max(level, 0.0), used, rate * counter, inside, lost


def _by_the_clock(area: float, counter: float, ills: list[str]) -> float:
    """Where the day's counter stood at a fill by its clock: three quarters of an hour off puts it some hectares on."""
    return min(area + 8.0, counter) if area and "a clock that is off" in ills else area


def _swapped(value: float) -> float:
    """The first two digits of a number of kilograms exchanged."""
    text = f"{value:.0f}"
    return float(text[1] + text[0] + text[2:]) if len(text) > 2 else value


def _echoes(a: str, rate: float, typed: float, shown: float, entered: float) -> list[Reading]:
    def echo(quantity: str, value: float, sd: float, *of: str) -> Reading:
        return Reading(quantity=f"{quantity}:{a}", value=value, sd=sd, instrument="display", derived_from=of)

    return [
        echo("shown_mass", shown, 0.3, f"F:{a}", f"turns:{a}"),
        echo("turns", shown / typed, 0.03),
        echo("typed_rate", rate, 0.03, f"rate:{a}"),
        echo("entered", entered, 0.3, f"entered:{a}"),
    ]


def _machine(
    reading_set: str, field_ha: float, counter: float, width: float, distance: float, noise: Noise, air: Air, wrong: Mapping[str, float],
    seen_share: float,
) -> list[Reading]:  # fmt: skip
    out = []
    if reading_set in ("boundary", "all"):
        value = field_ha * (1 + 0.01 * air.honest * noise("boundary"))
        out.append(Reading(quantity="boundary_area", value=value, sd=0.01 * value, instrument="outline"))
    if reading_set in ("tape", "all"):
        value = WIDTH_M * math.exp(-width) + 0.015 * air.honest * noise("tape")
        out.append(Reading(quantity="width_tape", value=value, sd=0.015, instrument="tape"))
        value = math.exp(distance) * (1 + 0.004 * air.honest * noise("taped"))
        out.append(Reading(quantity="distance_taped", value=value, sd=0.004, instrument="tape"))
    if reading_set in ("log", "all"):
        true_m = counter / WIDTH_M * 1e4 * math.exp(-distance)
        shown = true_m * math.exp(distance) * seen_share
        out.append(Reading(quantity="distance_shown", value=shown, sd=0.3, instrument="display", derived_from=("V",)))
        value = true_m * (1 + 0.003 * air.honest * noise("gnss")) * math.exp(-wrong.get("fixes", 0.0))
        out.append(Reading(quantity="distance_gnss", value=value, sd=0.003 * value, instrument="gnss"))
        fan = FAN * math.exp(wrong.get("fan", 0.0) + air.fan * noise("fan"))
        out.append(Reading(quantity="fan_shown", value=fan, sd=0.003 * fan, instrument="display"))
        out.append(Reading(quantity="fan_proven", value=FAN, sd=0.005 * FAN, instrument="outfit, proven"))
        if "fixes" in wrong:
            out.append(Reading(quantity="fixes_lost", value=wrong["fixes"], sd=0.01, instrument="gnss"))
    return out


def moved(day: PlainDay, name: str, by: float) -> dict[str, float]:
    """The noise of a day with one number moved."""
    return {**day.noise, name: day.noise[name] + by}


def relabelled(day: PlainDay, **changes: Any) -> PlainDay:
    """The same day with something replaced, for tests."""
    return replace(day, **changes)

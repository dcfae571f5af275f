"""What people and displays have to say at the end of the day, each number with its own error and provenance.

Standard deviations stated with a reading, and the error it really has in the nominal world:

===================  ============================================================================================
area_counter         0.01 ha step: 0.003 ha; no error of its own beyond W and V
distance_shown       1 m step: 0.3 m
shown_mass, entered  1 kg step: 0.3 kg
left_shown           1 kg step: 0.4 kg
rate_shown           0.1 kg/ha step: 0.03 kg/ha; it reads the target
typed_rate           0.1 kg/ha step: 0.03 kg/ha
turns                0.1 turn step: 0.03 turns
put                  each fill by how it is known (`HOW_SD`); ticket, truck scale, pads, tote and cart scale are independent from
                     fill to fill and add in quadrature; brim, conveyor and glance share one error a day and add up
delivered            truck scale out less what came back: the larger of 15 kg and 0.3 %
level                glance: 10 % of the full bin; weighed when emptied: the larger of 2 kg and 1 %; low light: its known
                     level less what has been sown since at the rate in force, its own sd and 5 % of that
width_tape           0.015 m
distance_taped       0.004
distance_gnss        0.3 % (0.15 % really); an echo of V when GNSS feeds the machine's distance
boundary_area        1 %
catch_factor         1.5 %: repeatability 1 %, and a standing catch is off the field by up to about 1 %
===================  ============================================================================================
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np

from evenstand.model import Event, Fill, HowKnown, Outfit, Reading
from evenstand.model.place import FloatArray
from evenstand.simulate.metering import BinSetup, Metered, Put
from evenstand.simulate.recording import Timeline
from evenstand.simulate.worlds import Dice, World

LevelHow = Literal["glance", "weighed", "low-light"]
Optional = Literal["sometimes", "all", "none"]

HOW_SD: dict[HowKnown, tuple[float, float]] = {  # share of the mass, least [kg]; glance is a share of the full bin
    "ticket": (0.003, 10.0), "truck-scale": (0.003, 10.0), "pads": (0.01, 15.0), "cart-scale": (0.01, 10.0), "tote": (0.005, 2.0),
    "brim": (0.04, 0.0), "conveyor": (0.07, 0.0), "glance": (0.10, 0.0), "share": (0.05, 0.0),
}  # fmt: skip
SHARED: tuple[HowKnown, ...] = ("brim", "conveyor", "glance", "share")
USUAL_WAYS: tuple[tuple[HowKnown, float], ...] = (("truck-scale", 0.35), ("pads", 0.25), ("tote", 0.2), ("brim", 0.1), ("conveyor", 0.1))
LEVEL_WAYS: tuple[tuple[LevelHow, float], ...] = (("glance", 0.5), ("weighed", 0.25), ("low-light", 0.25))
CHANCES = {"delivered": 0.4, "boundary_area": 0.8, "width_tape": 0.3, "distance_taped": 0.3, "catch_factor": 0.35, "distance_gnss": 0.8}
GLANCE_SHARE = 0.10
START_SD_KG = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """All that the readings are made from: what is typed, what is true, and how the day went."""

    outfit: Outfit
    job: str
    bins: tuple[BinSetup, ...]
    metered: Metered
    clock: Timeline
    area_at_ha: FloatArray
    typed_width_m: float
    true_width_m: float
    counted_m: float
    driven_m: float
    ratio: float
    field_ha: float | None
    start_ms: int
    world: World
    dice: Dice

    def at(self, second: float) -> str:
        """Time of day as ISO text in UTC."""
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=self.start_ms + round(second * 1000))
        return moment.strftime("%Y-%m-%dT%H:%M:%S.") + f"{moment.microsecond // 1000:03d}Z"

    def shown(self, value: float, step: float) -> float:
        """A display's rounding, unless the world is exact."""
        return round(round(value / step) * step, 6) if self.world.rounded else value

    def noise(self, name: str, sd: float) -> float:
        """An error of a witness, drawn from the stream of its own name."""
        return float(self.dice.of(f"witness {name}").normal()) * sd * self.world.error


def way(sheet: Sheet, one: BinSetup, fill_how: HowKnown | None) -> HowKnown:
    """How the fills of a bin are known today."""
    if fill_how is not None:
        return fill_how
    if next((b.has_scale for b in sheet.outfit.bins if b.letter == one.letter), False):
        return "cart-scale"
    names = [w for w, _ in USUAL_WAYS]
    return names[int(sheet.dice.of(f"way {one.letter}").choice(len(names), p=[p for _, p in USUAL_WAYS]))]


def _written(sheet: Sheet, one: BinSetup, put: Put, how: HowKnown, number: int) -> tuple[float, float]:
    """What is written down for a fill, and its sd. [kg]"""
    share, least = HOW_SD[how]
    sd = share * one.full_kg if how == "glance" else max(share * put.kg, least)
    name = f"{one.letter} shared" if how in SHARED else f"{one.letter} fill {number}"
    value = put.kg + sheet.noise(name, sd)
    step = sheet.world.scale_step_kg if how in ("ticket", "truck-scale", "pads", "cart-scale") else 1.0
    return max(step, sheet.shown(value, step) if step else value), sd


def fills_and_events(sheet: Sheet, fill_how: HowKnown | None) -> tuple[tuple[Fill, ...], tuple[Event, ...]]:
    """Fills as they were entered, and what happened at the bins in order of time."""
    fills: list[Fill] = []
    events: list[Event] = []
    motor = sheet.outfit.drive != "ground"
    turned = np.concatenate([np.zeros((1, len(sheet.bins))), np.cumsum(sheet.metered.turns, axis=0)])
    entered = [put for put in sheet.metered.puts if put.times_entered]
    for number, put in enumerate(entered):
        one = sheet.bins[put.bin]
        when = sheet.clock.at_cell(put.cell)
        level, level_sd = _level_before(sheet, put, number)
        how = way(sheet, one, fill_how)
        value, sd = _written(sheet, one, put, how, number)
        area = sheet.shown(float(sheet.area_at_ha[put.cell]), 0.01)
        light = _light_before(sheet, put)
        for again in range(put.times_entered):
            late = again * float(sheet.dice.of(f"again {one.letter}").uniform(60, 2400))
            fills.append(
                Fill(
                    key=f"fill-{len(fills) + 1}",
                    outfit=sheet.outfit.key,
                    bin=one.letter,
                    product=one.product,
                    job=sheet.job,
                    at=sheet.at(when + late),
                    put_kg=value,
                    put_sd_kg=sd,
                    how=how,
                    area_ha=area,
                    level_before_kg=level,
                    level_before_sd_kg=level_sd,
                    low_light_at_ha=light,
                )
            )
            events.append(Event(at_s=when + late, bin=one.letter, kind="fill", value=value, sd=sd))
        if put.cell > 0:
            events.append(Event(at_s=when, bin=one.letter, kind="level", value=level, sd=level_sd))
        if motor and put.cell > 0:
            events.append(Event(at_s=when, bin=one.letter, kind="turns", value=sheet.shown(float(turned[put.cell, put.bin]), 0.1), sd=0.03))
    for i, cells in sheet.metered.light_cell.items():
        one = sheet.bins[i]
        for cell in cells:
            events.append(
                Event(at_s=sheet.clock.at_cell(cell), bin=one.letter, kind="low-light", value=one.light_known_kg, sd=one.light_sd_kg)
            )
    events.sort(key=lambda e: (e.at_s, e.bin, e.kind))
    return tuple(fills), tuple(events)


def _level_before(sheet: Sheet, put: Put, number: int) -> tuple[float, float]:
    one = sheet.bins[put.bin]
    if put.cell == 0 and put.level_kg == 0:
        return 0.0, START_SD_KG
    sd = GLANCE_SHARE * one.full_kg
    seen = put.level_kg + sheet.noise(f"{one.letter} before {number}", sd)
    return float(np.clip(sheet.shown(seen, 10.0), 0.0, one.full_kg)), sd


def _light_before(sheet: Sheet, put: Put) -> float | None:
    """Area counter when the low-level light came on, if it did since the last fill of that bin. [ha]"""
    last = max((p.cell for p in sheet.metered.puts if p.bin == put.bin and p.cell < put.cell), default=0)
    cells = [c for c in sheet.metered.light_cell[put.bin] if last <= c < put.cell]
    return sheet.shown(float(sheet.area_at_ha[cells[-1]]), 0.01) if cells else None


def readings(sheet: Sheet, fills: tuple[Fill, ...], *, level_how: LevelHow | None, optional: Optional) -> tuple[Reading, ...]:
    """Everything that can be read when the day ends, in the units and by the names of the shared table."""
    end = sheet.at(float(sheet.clock.leave_s[-1]))
    out = [_echo("area_counter", sheet.shown(float(sheet.area_at_ha[-1]), 0.01), 0.003, ("W", "V"), end)]
    motor = sheet.outfit.drive != "ground"
    if motor:
        out.append(_echo("distance_shown", sheet.shown(sheet.counted_m, 1.0), 0.3, ("V",), end))
    for i, one in enumerate(sheet.bins):
        out += _bin_echoes(sheet, i, one, fills, end) if motor else [_typed_rate(sheet, one, end)]
        out += _bin_witnesses(sheet, i, one, fills, level_how, end)
        out += _bin_optional(sheet, i, one, optional, end)
    return tuple(out + _tool_optional(sheet, optional, motor, end))


def _echo(quantity: str, value: float, sd: float, of: tuple[str, ...], at: str) -> Reading:
    return Reading(quantity=quantity, value=value, sd=sd, at=at, instrument="display", derived_from=of)


def _typed_rate(sheet: Sheet, one: BinSetup, end: str) -> Reading:
    return _echo(f"typed_rate:{one.letter}", sheet.shown(one.rate_kg_ha, 0.1), 0.03, (f"rate:{one.letter}",), end)


def _bin_echoes(sheet: Sheet, i: int, one: BinSetup, fills: tuple[Fill, ...], end: str) -> list[Reading]:
    a = one.letter
    turns = float(sheet.metered.turns[:, i].sum())
    mass = turns * one.typed
    entered = sum(f.put_kg for f in fills if f.bin == a)
    return [
        _echo(f"turns:{a}", sheet.shown(turns, 0.1), 0.03, (), end),
        _echo(f"shown_mass:{a}", sheet.shown(mass, 1.0), 0.3, (f"F:{a}", f"turns:{a}"), end),
        _echo(f"rate_shown:{a}", sheet.shown(one.rate_kg_ha, 0.1), 0.03, (f"F:{a}", f"turns:{a}", "W", "V"), end),
        _typed_rate(sheet, one, end),
        _echo(f"entered:{a}", sheet.shown(entered, 1.0), 0.3, (f"entered:{a}",), end),
        _echo(f"left_shown:{a}", sheet.shown(entered - mass, 1.0), 0.4, (f"F:{a}", f"turns:{a}", f"entered:{a}"), end),
    ]


def _bin_witnesses(sheet: Sheet, i: int, one: BinSetup, fills: tuple[Fill, ...], level_how: LevelHow | None, end: str) -> list[Reading]:
    mine = [f for f in fills if f.bin == one.letter]
    out = []
    if mine:
        sds = np.array([f.put_sd_kg for f in mine])
        sd = float(sds.sum() if mine[0].how in SHARED else np.sqrt((sds**2).sum()))
        out.append(Reading(quantity=f"put:{one.letter}", value=sum(f.put_kg for f in mine), sd=sd, at=end, instrument=mine[0].how))
    names = [w for w, _ in LEVEL_WAYS]
    how = level_how or names[int(sheet.dice.of(f"level way {one.letter}").choice(3, p=[p for _, p in LEVEL_WAYS]))]
    value, sd, by = _level_now(sheet, i, one, how)
    out.append(Reading(quantity=f"level:{one.letter}", value=value, sd=sd, at=end, instrument=by))
    return out


def _level_now(sheet: Sheet, i: int, one: BinSetup, how: LevelHow) -> tuple[float, float, LevelHow]:
    left = float(sheet.metered.level_kg[i])
    last = max((p.cell for p in sheet.metered.puts if p.bin == i), default=0)
    lit = [c for c in sheet.metered.light_cell[i] if c >= last]
    if how == "weighed":
        sd = max(2.0, 0.01 * left)
        return max(0.0, sheet.shown(left + sheet.noise(f"{one.letter} weighed", sd), 1.0)), sd, how
    if how == "low-light" and lit:
        since = one.rate_kg_ha * float(sheet.area_at_ha[-1] - sheet.area_at_ha[lit[-1]])
        return max(0.0, sheet.shown(one.light_known_kg - since, 1.0)), float(np.hypot(one.light_sd_kg, 0.05 * since)), how
    sd = GLANCE_SHARE * one.full_kg
    seen = left + sheet.noise(f"{one.letter} glance", sd)
    return float(np.clip(sheet.shown(seen, 10.0), 0.0, one.full_kg)), sd, "glance"


def _there(sheet: Sheet, kind: str, name: str, optional: Optional) -> bool:
    if optional == "sometimes":
        return bool(sheet.dice.of(f"there {name}").random() < CHANCES[kind])
    return optional == "all"


def _bin_optional(sheet: Sheet, i: int, one: BinSetup, optional: Optional, end: str) -> list[Reading]:
    a, out = one.letter, []
    if _there(sheet, "delivered", f"delivered {a}", optional):
        put = sum(p.kg for p in sheet.metered.puts if p.bin == i)
        sd = max(15.0, 0.003 * put)
        value = sheet.shown(put + sheet.noise(f"{a} delivered", sd), 10.0)
        out.append(Reading(quantity=f"delivered:{a}", value=value, sd=sd, at=end, instrument="truck-scale"))
    if _there(sheet, "catch_factor", f"catch {a}", optional):
        value = one.true * (1 + sheet.noise(f"{a} catch", 0.010) + sheet.noise(f"{a} standing", 0.008))
        out.append(Reading(quantity=f"catch_factor:{a}", value=value, sd=0.015 * value, at=sheet.at(0.0), instrument="catch"))
    return out


def _tool_optional(sheet: Sheet, optional: Optional, motor: bool, end: str) -> list[Reading]:
    out = []
    if motor and _there(sheet, "distance_gnss", "distance_gnss", optional):
        value = sheet.driven_m * (1 + sheet.noise("distance_gnss", 0.0015))
        echo = sheet.outfit.speed_source == "gnss"
        if echo:  # the same fixes that feed the machine's distance: wrong together
            value *= sheet.ratio
        of = ("V",) if echo else ()
        out.append(Reading(quantity="distance_gnss", value=value, sd=0.003 * value, at=end, instrument="gnss", derived_from=of))
    if sheet.field_ha is not None and _there(sheet, "boundary_area", "boundary_area", optional):
        value = sheet.field_ha * (1 + sheet.noise("boundary_area", sheet.world.boundary_sd))
        out.append(Reading(quantity="boundary_area", value=value, sd=0.010 * value, at=end, instrument="outline"))
    if _there(sheet, "width_tape", "width_tape", optional):
        value = sheet.shown(sheet.true_width_m + sheet.noise("width_tape", 0.015), 0.01)
        out.append(Reading(quantity="width_tape", value=value, sd=0.015, at=end, instrument="tape"))
    if _there(sheet, "distance_taped", "distance_taped", optional):
        value = sheet.ratio * (1 + sheet.noise("distance_taped", 0.004))
        out.append(Reading(quantity="distance_taped", value=value, sd=0.004 * value, at=end, instrument="tape"))
    return out

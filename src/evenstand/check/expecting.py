"""The relations that the readings of a day, or of a telephone call, allow."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from evenstand.check.causes import usual
from evenstand.check.masses import SHARED_HOW, VOLUME_HOW, BinDay, Look, PutIn, machine_loads, mass_readings, mass_relations, windows_of
from evenstand.check.relations import Relation, log_relation, usual_gains
from evenstand.model import Outfit, Reading


def bins_in(readings: Sequence[Reading], asked: Mapping[str, float]) -> tuple[str, ...]:
    """Letters of all bins that a reading or an asked rate names, in order. [-]

    Parameters
    ----------
    readings : sequence of Reading
        Quantities with a bin behind a colon. [-]
    asked : mapping
        Rates asked by bin. [kg/ha]
    """
    named = {m.group(1) for r in readings if (m := re.match(r"[a-z_]+:([^@]+)", r.quantity))}
    return tuple(sorted(named | set(asked)))


def known_readings(outfit: Outfit | None, typed: Mapping[str, float]) -> tuple[Reading, ...]:
    """What is typed, and what is known of the outfit without reading anything: typed width and factors, rows times spacing.

    Parameters
    ----------
    outfit : Outfit or None
        Rows, row spacing and a taped width, where known. [-]
    typed : mapping
        "W" [m] and "F:A" [kg/turn] in force.
    """
    out = []
    if "W" in typed:
        out.append(Reading(quantity="typed_width", value=typed["W"], sd=0.0, derived_from=("W",)))
    for name, value in typed.items():
        if name.startswith("F:"):
            out.append(Reading(quantity=f"typed_factor:{name[2:]}", value=value, sd=0.0, derived_from=(name,)))
    if outfit is not None and outfit.rows and outfit.row_spacing_m:
        width = outfit.rows * outfit.row_spacing_m
        out.append(Reading(quantity="width_rows", value=width, sd=usual("width") * width, instrument="rows times spacing"))
    if outfit is not None and outfit.widths.true_m is not None:
        known = outfit.widths.true_m
        sd = max(known.sd, 0.001 * known.value)
        out.append(Reading(quantity="width_known", value=known.value, sd=sd, instrument="outfit, taped"))
    if outfit is not None and outfit.fan_turns_s is not None:
        fan = outfit.fan_turns_s
        out.append(Reading(quantity="fan_proven", value=fan.value, sd=fan.sd, instrument="outfit, proven"))
    return tuple(out)


def relations_for(
    readings: Sequence[Reading], *, asked: Mapping[str, float] | None = None, bin_days: Sequence[BinDay] = ()
) -> tuple[tuple[Relation, ...], tuple[Reading, ...]]:
    """All relations these readings allow, and the readings with those of the bins' days added.

    Parameters
    ----------
    readings : sequence of Reading
        What was read; one for each quantity. [metric]
    asked : mapping or None
        Rate asked by bin. [kg/ha]
    bin_days : sequence of BinDay
        Looks and fills, where they are known one by one; else the sums "put:A" and "level:A" serve. [-]

    Returns
    -------
    (relations, readings)
        Ready for `assemble`. [-]

    References
    ----------
    definition: true dose / asked = (f/F)(W/w)(V/v); area shown / driven = (W/w)(V/v); mass shown / true = F/f.
    """
    asked = asked or {}
    known = {r.quantity: r for r in readings}
    out = [*_with_fixes([*_distance(known), *_area(known)], known), *_width(known), *_fan(known)]
    extra: list[Reading] = []
    by_day = {d.bin: d for d in bin_days}
    for a in sorted({*bins_in(readings, asked), *by_day}):
        out += _factor(known, a)
        out += _rate(known, a, asked.get(a))
        day = by_day.get(a) or _whole_day(known, a, asked.get(a))
        if day is not None and day.looks:
            extra += mass_readings(day)
            out += _by_boundary(mass_relations(day), day)
        out += _records(known, a, day)
    return tuple(out), (*readings, *extra)


def _distance(known: Mapping[str, Reading]) -> list[Relation]:
    out = []
    if "distance_shown" in known and "distance_gnss" in known:
        out.append(
            log_relation(
                "distance",
                "distance",
                "distance shown against GNSS",
                known["distance_shown"],
                known["distance_gnss"],
                noise=_pad(known["distance_gnss"]),
            )
        )
    for name, text in (("distance_taped", "count against a taped distance"), ("distance_trail", "count against the recorded positions")):
        if name in known:
            out.append(log_relation(name, "distance", text, known[name], loads={"distance": 1.0}, noise=_pad(known[name])))
    return out


def _with_fixes(relations: Sequence[Relation], known: Mapping[str, Reading]) -> list[Relation]:
    """Where the receiver is known to have lost positions, its own distance and area may be short by them."""
    if "fixes_lost" not in known or known["fixes_lost"].value <= 0:
        return list(relations)
    by_receiver = ("distance_gnss", "area_driven")
    return [replace(r, loads={**r.loads, "fixes": 1.0}) if any(q in by_receiver for q, _ in r.terms) else r for r in relations]


def _fan(known: Mapping[str, Reading]) -> list[Relation]:
    """The fan's steady speed at work against the speed that was proven."""
    if "fan_shown" not in known or "fan_proven" not in known:
        return []
    text, day = "fan at work against its proven speed", {"usual fan": usual("fan")}
    return [log_relation("fan", "fan", text, known["fan_shown"], known["fan_proven"], loads={"fan": 1.0}, gains=day)]


def _pad(reading: Reading) -> float:
    """What rounding and typing add to a reading that does not say how well it is known; one that does has them in its sd. [-]"""
    return 0.0 if reading.sd > 0 else usual("pad")


def _width(known: Mapping[str, Reading]) -> list[Relation]:
    if "typed_width" not in known:
        return []
    texts = {
        "width_tape": "width typed against the tape",
        "width_known": "width typed against the outfit's",
        "width_rows": "width typed against rows times spacing",
    }
    return [
        log_relation(name, "width", text, known["typed_width"], known[name], noise=0.0002) for name, text in texts.items() if name in known
    ]


def _area(known: Mapping[str, Reading]) -> list[Relation]:
    """Counter against outline and against ground driven; overlap is a bias that only adds."""
    out = []
    if "area_counter" in known and "boundary_area" in known:
        out.append(
            log_relation(
                "counter-boundary",
                "area",
                "area counter against the outline",
                known["area_counter"],
                known["boundary_area"],
                loads={"overlap": 1.0},
                overlap=1.0,
                noise=math.hypot(usual("boundary"), usual("counting")),
            )
        )
    if "area_counter" in known and "area_driven" in known:
        text = "area counter against the ground driven"
        out.append(log_relation("counter-driven", "area", text, known["area_counter"], known["area_driven"], noise=usual("counting")))
    return out


def _factor(known: Mapping[str, Reading], a: str) -> list[Relation]:
    out = []
    typed, catch = known.get(f"typed_factor:{a}"), known.get(f"catch_factor:{a}")
    if typed is not None and catch is not None:
        gains = {f"catch {a}": usual("catch")}
        out.append(log_relation(f"catch:{a}", f"bin {a}", f"bin {a}: catch test against the factor typed", typed, catch, gains=gains))
    shown, weighed = known.get(f"shown_mass:{a}"), known.get(f"weighed:{a}")
    if shown is not None and weighed is not None:
        text = f"bin {a}: mass shown against mass weighed"
        out.append(log_relation(f"weighed:{a}", f"bin {a}", text, shown, weighed, noise=usual("counting")))
    return out


def _rate(known: Mapping[str, Reading], a: str, asked: float | None) -> list[Relation]:
    """The rate in force against the rate asked: typing, which an echo may check."""
    if asked is None:
        return []
    for name, text in (("typed_rate", "rate typed"), ("rate_shown", "rate shown")):
        reading = known.get(f"{name}:{a}")
        if reading is not None:
            return [
                Relation(
                    key=f"rate:{a}",
                    about=f"rate {a}",
                    text=f"bin {a}: {text} against the rate asked",
                    terms=((reading.quantity, 1.0),),
                    constant=math.log(asked),
                    loads={f"slip:{a}": 1.0},
                    noise=usual("pad"),
                    echo=True,
                )
            ]
    return []


def _machine_mass(known: Mapping[str, Reading], a: str, asked: float | None) -> tuple[float, tuple[str, ...]] | None:
    """What the machine, or the asking, says was sown from a bin, and what that repeats. [kg]"""
    shown, turns, factor = known.get(f"shown_mass:{a}"), known.get(f"turns:{a}"), known.get(f"typed_factor:{a}")
    if shown is not None:
        return shown.value, shown.derived_from or (f"F:{a}", f"turns:{a}")
    if turns is not None and factor is not None:
        return turns.value * factor.value, (f"F:{a}", f"turns:{a}")
    rate = known.get(f"typed_rate:{a}") or known.get(f"rate_shown:{a}")
    dose, by = (rate.value, (f"rate:{a}",)) if rate is not None else (asked, (f"asked:{a}",))
    if dose is None:
        return None
    if "area_counter" in known:
        return dose * known["area_counter"].value, (*by, "W", "V")
    area = known.get("area_driven") or known.get("boundary_area")
    return None if area is None else (dose * area.value, (*by, "boundary" if area.quantity == "boundary_area" else "driven"))


def _whole_day(known: Mapping[str, Reading], a: str, asked: float | None) -> BinDay | None:
    """One interval from the sums alone."""
    put, level, before = known.get(f"put:{a}"), known.get(f"level:{a}"), known.get(f"level_before:{a}")
    machine = _machine_mass(known, a, asked)
    if put is None or level is None or machine is None:
        return None
    mass, by = machine
    return BinDay(
        bin=a,
        looks=(Look(machine_kg=mass, level_kg=level.value, level_sd_kg=level.sd),),
        puts=(PutIn(machine_kg=0.0, put_kg=put.value, put_sd_kg=put.sd, how=put.instrument or "ticket"),),
        start_kg=before.value if before is not None else 0.0,
        start_sd_kg=before.sd if before is not None else 0.0,
        by=by,
    )


def _by_boundary(relations: Sequence[Relation], day: BinDay) -> list[Relation]:
    """Where the area came from an outline, the overlap takes product too."""
    if "boundary" not in day.by and "driven" not in day.by:
        return list(relations)
    out = []
    for relation in relations:
        machine = relation.loads.get(f"factor:{day.bin}", 0.0)
        loads = {**relation.loads, **machine_loads(machine, day.bin, [*day.by, "boundary"])}
        overlap = machine if "boundary" in day.by else 0.0
        if overlap:
            loads["overlap"] = overlap
        out.append(
            Relation(
                key=relation.key,
                about=relation.about,
                text=relation.text,
                scale=relation.scale,
                terms=relation.terms,
                loads=loads,
                gains={**relation.gains, **usual_gains(loads)},
                noise=relation.noise,
                overlap=overlap,
            )
        )
    return out


def _records(known: Mapping[str, Reading], a: str, day: BinDay | None) -> list[Relation]:
    """Fills on record against what was delivered, and against what was entered on the display."""
    out = []
    put, delivered, entered = known.get(f"put:{a}"), known.get(f"delivered:{a}"), known.get(f"entered:{a}")
    if delivered is not None and day is not None and day.looks:
        out.append(_delivered(day, delivered))
    elif delivered is not None and put is not None:
        loads = {f"fill-missed:{a}": -1.0, f"fill-doubled:{a}": 1.0}
        terms = ((put.quantity, 1.0), (delivered.quantity, -1.0))
        out.append(_masses(f"delivered:{a}", a, f"bin {a}: fills on record against what was delivered", terms, loads))
    if put is not None and entered is not None and put.instrument not in SHARED_HOW:
        back = {f"fill-missed:{a}@display": 1.0, f"fill-doubled:{a}@display": -1.0}
        terms = ((put.quantity, 1.0), (entered.quantity, -1.0))
        out.append(_masses(f"entered:{a}", a, f"bin {a}: fills on record against fills entered on the display", terms, back))
    return out


def _delivered(day: BinDay, delivered: Reading) -> Relation:
    """All fills on record against the delivery; it sees a missing or doubled fill whenever it happened."""
    a, n = day.bin, len(day.looks)
    loads = {f"fill-missed:{a}@{i}": -1.0 for i in range(1, n + 1)}
    loads.update({f"fill-doubled:{a}@{w.index}": 1.0 for w in windows_of(day) if w.put_kg > 0})
    last = max(look.machine_kg for look in day.looks)
    rest = [p for p in day.puts if p.machine_kg >= last - 1e-9]
    shared = sum(p.put_sd_kg for p in day.puts if p.how in SHARED_HOW)
    volume = sum(p.put_kg for p in day.puts if p.how in VOLUME_HOW)
    if volume:
        loads[f"density:{a}"] = -volume
    return Relation(
        key=f"delivered:{a}",
        about=f"fills {a}",
        text=f"bin {a}: fills on record against what was delivered",
        scale="mass",
        terms=(*((f"put:{a}@{i}", 1.0) for i in range(1, n + 1)), (delivered.quantity, -1.0)),
        constant=-sum(p.put_kg for p in rest),
        loads=loads,
        gains={f"way of filling {a}": shared} if shared else {},
        noise=math.hypot(5.0, math.sqrt(sum(p.put_sd_kg**2 for p in rest if p.how not in SHARED_HOW))),
    )


def _masses(key: str, a: str, text: str, terms: tuple[tuple[str, float], ...], loads: Mapping[str, float]) -> Relation:
    return Relation(key=key, about=f"fills {a}", text=text, scale="mass", terms=terms, loads=loads, noise=5.0)

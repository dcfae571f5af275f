"""Drills: a simulated day, six of its readings, and what is wrong with them. Drawn by seed, so that the same seed is the same drill.

What is wrong comes from the simulator; whether six readings can tell it comes from the check that judges every other day. Causes
they cannot part count alike, and a fault that nobody could see in them is answered rightly by saying so.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from evenstand.base.errors import InputError, require_range
from evenstand.base.units import Profile, rounded, shown
from evenstand.check import check_readings, run_findings, run_losses
from evenstand.check.causes import described
from evenstand.model import Finding, Outfit, Plan, Reading, Widths

if TYPE_CHECKING:
    from evenstand.simulate import Day, FaultSpec

SIX = 6
CANNOT = "cannot-tell"
MOST_SEED = 10**9
_TRIES = 80
_SEEN_SD = 4.3  # from this many standard deviations on, silence of the check is its own fault and the draw is thrown away
_STEP_S = 4.0
_KINDS = (
    ("factor", 5), ("fill-missed", 4), ("fill-doubled", 2), ("slip", 3), ("width", 3), ("distance", 3), ("run", 2), ("head", 2), ("lid", 2),
)  # fmt: skip
OF_BIN = ("factor", "fill-missed", "fill-doubled", "slip", "lid", "bridge")
"""Kinds of fault that belong to a bin."""
_SLIPS = (1.121, 0.892, 2.0, 0.5, 2.205)
_ROWS_OFF = (-8, -4, -2, 2, 4, 8)
_SENSORS = "run_sensors"
# readings that belong together, how often they are there, and the kinds of fault they speak of
_GROUPS: tuple[tuple[tuple[str, ...], float, tuple[str, ...]], ...] = (
    (("put:{b}", "level:{b}"), 3.0, ("factor", "fill-missed", "fill-doubled", "head", "lid")),
    (("shown_mass:{b}",), 2.0, ("factor", "fill-missed", "fill-doubled")),
    (("rate_shown:{b}",), 2.0, ("slip",)),
    (("typed_rate:{b}",), 0.8, ("slip",)),
    (("left_shown:{b}",), 1.0, ()),
    (("catch_factor:{b}",), 1.0, ("factor", "lid")),
    (("delivered:{b}",), 0.8, ("fill-missed", "fill-doubled")),
    (("area_counter", "boundary_area"), 3.0, ("width", "distance")),
    (("distance_shown", "distance_gnss"), 1.0, ("distance",)),
    (("typed_width",), 1.0, ("width",)),
    (("distance_taped",), 0.7, ("distance",)),
    ((_SENSORS,), 1.2, ("run", "head")),
)
_LABELS = {
    "area_counter": ("Area counter", "area"),
    "boundary_area": ("The field's area by its outline", "area"),
    "distance_shown": ("Distance the machine counted", "distance"),
    "distance_gnss": ("The same distance by another receiver", "distance"),
    "distance_taped": ("Count over a taped distance", ""),
    "typed_width": ("Width typed for the rate", "width"),
    "put": ("Put into bin {b}, all fills on record", "mass"),
    "level": ("Left in bin {b} now", "mass"),
    "shown_mass": ("Sown from bin {b}, by the display", "mass"),
    "left_shown": ("Left in bin {b}, by the display", "mass"),
    "rate_shown": ("Rate of bin {b} on the display", "rate"),
    "typed_rate": ("Rate in force for bin {b}", "rate"),
    "catch_factor": ("Caught from bin {b}, product per turn", "factor"),
    "delivered": ("Delivered for bin {b}, less what came back", "mass"),
    _SENSORS: ("Run sensors", ""),
}
_HOW = {
    "display": "display",
    "glance": "by eye",
    "weighed": "weighed",
    "low-light": "from the low-level light on",
    "truck-scale": "truck scale",
    "cart-scale": "cart scale",
    "tote": "totes",
    "pads": "pads",
    "brim": "brim-full, by volume",
    "conveyor": "conveyor, by the minute",
    "ticket": "tickets",
    "gnss": "receiver",
    "outline": "outline",
    "tape": "tape",
    "catch": "catch test",
    "typed": "as typed",
}
_LESSON_OF = {
    "area_counter": "area-counter",
    "boundary_area": "outline-area",
    "distance_shown": "distance",
    "distance_gnss": "distance",
    "distance_taped": "distance",
    "typed_width": "width",
    "put": "put-in",
    "level": "level",
    "shown_mass": "mass-shown",
    "left_shown": "left-shown",
    "rate_shown": "rate-shown",
    "typed_rate": "rate-shown",
    "catch_factor": "product-per-turn",
    "delivered": "put-in",
    _SENSORS: "run-sensors",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillReading:
    """One of the six. key: the quantity; value: in the metric unit of `quantity`, None where `text` says it all; sd: one standard
    deviation [metric]; how: how it is known; nature and repeats are told with the answer; lesson: the page about this number."""

    key: str
    label: str
    quantity: str
    value: float | None
    sd: float
    text: str
    how: str
    nature: str
    repeats: tuple[str, ...]
    lesson: str

    def said(self, profile: Profile) -> str:
        """The reading in the reader's units. [text]"""
        return self.text if self.value is None or not self.quantity else shown(self.value, self.quantity, profile)

    def give_or_take(self, profile: Profile) -> str:
        """How far off such a reading usually is, where that is worth saying. [text]"""
        if self.value is None or not self.quantity or self.nature == "echo" or self.sd <= 0:
            return ""
        return f"± {shown(self.sd, self.quantity, profile)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Drill:
    """The question. seed, faults: it is drawn from these alone; facts: what is known beside the six; bins: letters that take part;
    choices: (cause, words) to choose from; "run" and "head" want a number or a letter behind a colon."""

    seed: int
    faults: int
    facts: tuple[str, ...]
    readings: tuple[DrillReading, ...]
    bins: tuple[str, ...]
    choices: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """One fault that was put in. truth: its cause; size: in words; accepted: right answers, likeliest first; told: whether these six
    readings can tell it at all; settle_by: what would have, where they cannot, or what parts the class."""

    truth: str
    size: str
    accepted: tuple[str, ...]
    told: bool
    settle_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """The answer. findings: what the check makes of the six; drawn: how many draws it took until one was fair."""

    slots: tuple[Slot, ...]
    findings: tuple[Finding, ...]
    drawn: int


def draw(seed: int, *, faults: int = 1, profile: Profile = "si") -> tuple[Drill, Solution]:
    """A drill and its answer.

    Parameters
    ----------
    seed : int
        The same seed gives the same drill. [-]
    faults : int
        How many things are wrong, 1 or 2. [-]
    profile : str
        Units of the sentences; the day is the same in all. [-]

    Returns
    -------
    (Drill, Solution)
        Question and answer. [-]

    Raises
    ------
    RangeError
        For a seed or a number of faults outside its range.
    """
    require_range("seed", seed, 0, MOST_SEED)
    require_range("faults", faults, 1, 2)
    for attempt in range(_TRIES):
        made = _attempt(random.Random(f"drill {seed} {faults} {attempt}"), seed, faults, attempt, profile)
        if made is not None:
            return made
    raise InputError(f"no fair drill came of seed {seed}", where="seed", cure="Take another seed.")


def _attempt(dice: random.Random, seed: int, count: int, attempt: int, profile: Profile) -> tuple[Drill, Solution] | None:
    """One draw; None where it would not be fair: the readings lead to something that was not there."""
    from evenstand.desk.days import kinds_of
    from evenstand.desk.demo_farm import demo_farm
    from evenstand.desk.drill_outfits import drill_outfit
    from evenstand.simulate import parse_fault, simulate_day

    farm = demo_farm()
    machine = drill_outfit(farm, seed, dice)
    outfit, plan = machine.outfit, machine.plan
    specs = [parse_fault(text) for text in _faults(dice, count, plan, outfit)]
    area = dice.uniform(18, min(55.0, plan.area_ha or 55.0))
    day = simulate_day(outfit, plan, seed=dice.randrange(2**31), faults=specs, optional="all", step_s=_STEP_S, max_area_ha=area)
    bins = _bins(dice, plan, specs)
    losses = run_losses(day.trail, outfit)
    chosen = _six(dice, day, bins, specs, outfit, tuple(x.run for x in losses))
    if len(chosen) != SIX:
        return None
    sensors = any(r.quantity == _SENSORS for r, _ in chosen)
    plain = tuple(r for r, _ in chosen if r.quantity != _SENSORS)
    kinds = kinds_of(farm, plan)
    checked = check_readings(
        plain,
        outfit=replace(outfit, widths=Widths()),
        asked={b.bin: b.rate_kg_ha for b in plan.bins if b.bin in bins},
        typed={f"F:{b}": day.typed[f"F:{b}"] for b in bins},
        kinds=kinds,
        profile=profile,
    )
    findings = (*(run_findings(losses, outfit, day.trail, profile=profile) if sensors else ()), *checked.findings)
    slots = _slots(specs, findings, checked.verdict, day, profile)
    if slots is None:
        return None
    drill = Drill(
        seed=seed,
        faults=count,
        facts=(*_facts(plan, outfit, day, bins, profile, {p.key: p.name for p in farm.products}, heads=sensors), machine.told),
        readings=tuple(_drill_reading(r, text) for r, text in chosen),
        bins=bins,
        choices=_choices(bins),
    )
    return drill, Solution(slots=slots, findings=_worth_telling(findings), drawn=attempt + 1)


def _faults(dice: random.Random, count: int, plan: Plan, outfit: Outfit) -> list[str]:
    """What is wrong, as the simulator takes it; two faults are of two kinds."""
    names, weights = [k for k, _ in _KINDS], [w for _, w in _KINDS]
    kinds: list[str] = []
    while len(kinds) < count:
        kind = dice.choices(names, weights)[0]
        if kind in ("run", "head") and not any(r.sensor is not None for r in outfit.runs):
            continue  # with no sensor and no log nothing of these readings could ever speak of it
        if kind not in kinds and not (kind in ("run", "head") and {"run", "head"} & set(kinds)):
            kinds.append(kind)
    return [_fault(dice, kind, plan, outfit) for kind in kinds]


def _fault(dice: random.Random, kind: str, plan: Plan, outfit: Outfit) -> str:
    b = dice.choice(plan.bins)
    sign = dice.choice((-1, 1))
    if kind == "factor":
        return f"factor:{b.bin}={sign * dice.uniform(3, 12):.1f}"
    if kind == "lid":
        return f"lid:{b.bin}={sign * dice.uniform(4, 12):.1f}"
    if kind == "distance":
        return f"distance={sign * dice.uniform(3, 12):.1f}"
    if kind == "width":
        few = [n for n in _ROWS_OFF if abs(n) <= (outfit.rows or 64) / 8]
        return f"width={dice.choice(few) * (outfit.row_spacing_m or 0.25):.3f}"
    if kind == "slip":
        return f"slip:{b.bin}={dice.choice(_SLIPS)}"
    if kind == "run":
        return f"run={dice.choice([r.number for r in outfit.runs if r.sensor is not None and not r.shut])}"
    if kind == "head":
        return f"head={dice.choice([h.letter for h in outfit.heads])}"
    full = b.full_kg.value if b.full_kg is not None else 2000.0
    return f"{kind}:{b.bin}={round(dice.uniform(0.2, 0.7) * full, -1):g}"


def _bins(dice: random.Random, plan: Plan, specs: Sequence[FaultSpec]) -> tuple[str, ...]:
    """One or two bins that are spoken of; mostly those the faults are about."""
    letters = [b.bin for b in plan.bins]
    about = [s.where for s in specs if s.kind in OF_BIN]
    first = [x for x in dict.fromkeys(about) if dice.random() < 0.9]
    rest = [x for x in letters if x not in first]
    dice.shuffle(rest)
    wanted = max(len(first), dice.choice((1, 1, 2)))
    return tuple(sorted([*first, *rest][:wanted]))


def _six(
    dice: random.Random, day: Day, bins: tuple[str, ...], specs: Sequence[FaultSpec], outfit: Outfit, silent: tuple[int, ...]
) -> list[tuple[Reading, str]]:
    """Six readings somebody would have, with a text where a number does not say it."""
    known = {r.quantity: (r, "") for r in day.readings}
    known["typed_width"] = (Reading(quantity="typed_width", value=day.typed["W"], sd=0.0, instrument="typed", derived_from=("W",)), "")
    if day.trail.runs:
        known[_SENSORS] = (Reading(quantity=_SENSORS, value=float(len(silent)), sd=0.0, instrument="display"), _silent(silent))
    kinds = {s.kind for s in specs}
    about = {s.where for s in specs if s.kind in OF_BIN}
    groups = []
    for names, weight, speaks in _GROUPS:
        for b in bins if "{b}" in names[0] else ("",):
            own = tuple(n.format(b=b) for n in names)
            if all(n in known for n in own):
                helps = bool(kinds & set(speaks)) and (not b or b in about or not about)
                groups.append((own, weight * (6.0 if helps else 1.0)))
    chosen: list[str] = []
    while groups and len(chosen) < SIX:
        pick = dice.choices(range(len(groups)), [w for _, w in groups])[0]
        own, _ = groups.pop(pick)
        if len(chosen) + len(own) <= SIX:
            chosen += own
    order = list(_LABELS)
    return [known[n] for n in sorted(chosen, key=lambda n: (order.index(n.partition(":")[0]), n))]


def _silent(runs: tuple[int, ...]) -> str:
    if not runs:
        return "all seen until the end"
    if len(runs) == 1:
        return f"run {runs[0]} silent, the others seen"
    whole = runs == tuple(range(runs[0], runs[-1] + 1))
    return f"runs {f'{runs[0]} to {runs[-1]}' if whole else ', '.join(map(str, runs))} silent, the others seen"


def _drill_reading(reading: Reading, text: str) -> DrillReading:
    kind, _, b = reading.quantity.partition(":")
    label, quantity = _LABELS[kind]
    if kind == "distance_taped":
        text = f"{rounded(100 * reading.value, 1)} counted for 100 of the tape (± {rounded(100 * reading.sd, 1)})"
    return DrillReading(
        key=reading.quantity,
        label=label.format(b=b),
        quantity=quantity,
        value=reading.value if quantity else None,
        sd=reading.sd,
        text=text,
        how=_HOW.get(reading.instrument, reading.instrument),
        nature=reading.nature,
        repeats=reading.derived_from,
        lesson=_LESSON_OF[kind],
    )


def _facts(
    plan: Plan, outfit: Outfit, day: Day, bins: tuple[str, ...], profile: Profile, names: dict[str, str], *, heads: bool
) -> tuple[str, ...]:
    rows = outfit.rows or 0
    low, high = rounded(100 * outfit.overlap_low, 0), rounded(100 * outfit.overlap_high, 0)
    out = [
        f"{plan.crop.capitalize()}. {rows} openers, {shown(outfit.row_spacing_m, 'spacing', profile)} apart; ground sown twice is usually "
        f"{low} to {high} %.",
    ]
    if heads:
        out.append(f"Heads and their runs: {', '.join(f'{h.letter} {_of_head(outfit, h.letter)}' for h in outfit.heads)}.")
    for b in plan.bins:
        if b.bin in bins:
            out.append(
                f"Bin {b.bin}: {names.get(b.product, b.product)}, {shown(b.rate_kg_ha, 'rate', profile)} asked for; "
                f"{shown(day.typed[f'F:{b.bin}'], 'factor', profile)} typed."
            )
    return tuple(out)


def _of_head(outfit: Outfit, letter: str) -> str:
    mine = sorted(r.number for r in outfit.runs if r.head == letter)
    return f"{mine[0]} to {mine[-1]}" if mine else "not known"


def _choices(bins: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    of_bins = [(f"{kind}:{b}", described(f"{kind}:{b}")) for kind in OF_BIN for b in bins]
    whole = [(kind, described(kind)) for kind in ("width", "distance", "overlap")]
    placed = [("run", described("run:1")), ("head", described("head:A"))]
    return (*of_bins, *whole, *placed, (CANNOT, "nobody could tell from these six readings"))


def _slots(specs: Sequence[FaultSpec], findings: Sequence[Finding], verdict: Any, day: Day, profile: Profile) -> tuple[Slot, ...] | None:
    """What counts as right for each fault; None where the readings accuse what was not there, or the check misses what it could see."""
    named = [f for f in findings if f.state in ("does-not-hold", "doubtful") and f.suspects]
    truths = [s.cause for s in specs]
    classes = [f.suspects[0] for f in named]
    if any(not set(c) & set(truths) or len(set(c) & set(truths)) > 1 for c in classes):
        return None
    slots = []
    for spec in specs:
        mine = [f for f in named if spec.cause in f.suspects[0]]
        if mine:
            accepted = tuple(dict.fromkeys(c for f in mine for c in f.suspects[0]))
            slots.append(Slot(truth=spec.cause, size=_size(spec, day, profile), accepted=accepted, told=True, settle_by=mine[0].settle_by))
            continue
        spread = verdict.spreads.get(spec.cause, math.inf)
        if math.isfinite(spread) and spread > 0 and abs(_own_size(spec, day)) / spread >= _SEEN_SD:
            return None
        settle = verdict.settles.get(spec.cause, "") or _otherwise(spec)
        slots.append(Slot(truth=spec.cause, size=_size(spec, day, profile), accepted=(CANNOT,), told=False, settle_by=settle))
    return tuple(slots)


def _own_size(spec: FaultSpec, day: Day) -> float:
    """A fault's size as the check measures it. [logarithm, or kg]"""
    if spec.kind in ("factor", "distance", "lid"):
        return math.log1p(spec.size / 100)
    if spec.kind == "width":
        return math.log(day.typed["W"] / day.truth.width_m)
    return math.log(spec.size) if spec.kind == "slip" else spec.size


def _size(spec: FaultSpec, day: Day, profile: Profile) -> str:
    if spec.kind == "factor":
        return f"{rounded(abs(spec.size), 1)} % {'more' if spec.size > 0 else 'less'} a turn than is typed"
    if spec.kind == "lid":
        side = "more leaves the bin" if spec.size > 0 else "less leaves it"
        return f"{rounded(abs(spec.size), 1)} % {side} in the field than in a catch"
    if spec.kind == "distance":
        return f"the machine counts {rounded(abs(spec.size), 1)} % too {'far' if spec.size > 0 else 'short'}"
    if spec.kind == "width":
        return f"{shown(day.typed['W'], 'width', profile)} typed for a tool of {shown(day.truth.width_m, 'width', profile)}"
    if spec.kind == "slip":
        return f"{rounded(spec.size, 3)} times the rate asked for"
    if spec.kind in ("run", "head"):
        return f"since pass {day.truth.since_pass.get(spec.cause, 0)}"
    return f"a fill of {shown(spec.size, 'mass', profile)}"


def _otherwise(spec: FaultSpec) -> str:
    """What would have shown a fault of which these readings know nothing."""
    if spec.kind in ("run", "head"):
        return "the run sensors against their siblings; else walk behind, dig, or pull the hoses over a bucket"
    if spec.kind == "width":
        return "tape the tool's width, or count its openers times their spacing against the width typed"
    if spec.kind == "distance":
        return "drive a taped 100 m, bins half full, and read the count"
    if spec.kind == "slip":
        return f"read the rate in force for bin {spec.where}, and its unit"
    if spec.kind == "lid":
        return f"soap the lid and seals of bin {spec.where} with the fan running; a catch beside what is put in and left"
    if spec.kind == "factor":
        return f"catch test of bin {spec.where}, or weigh what goes in and what is left"
    return f"add up the tickets of all that went to bin {spec.where}"


def _worth_telling(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    return tuple(f for f in findings if f.state in ("does-not-hold", "doubtful"))

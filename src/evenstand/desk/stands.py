"""Counts to a stand, the survival achieved, keep or reseed, depth, and what made a stand thin: one use case for command and page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from evenstand import agronomy
from evenstand.base.errors import InputError, MissingError, RangeError, require_range
from evenstand.base.estimate import Est
from evenstand.base.units import Profile, read_number, read_quantity, shown, shown_value, to_metric

MOST_PLANTS = 100_000  # counted at one place: beyond this a digit is wrong
# lengths outside these were meant in another unit [m]
BOUNDS = {
    "--row": (0.05, 1000.0), "--spacing": (0.05, 3.0), "--hoop": (0.1, 5.0), "--hoop-round": (0.3, 15.0), "--wheel": (0.1, 10_000.0),
    "--shallowest": (0.001, 0.3), "--deepest": (0.001, 0.3), "--turn": (0.0001, 0.1),
}  # fmt: skip
INTERVALS = ("quasi-poisson", "negative-binomial", "t", "poisson")


@dataclass(frozen=True, slots=True, kw_only=True)
class StandSaid:
    """What was typed about a stand, still as text; what was not typed is left out.

    counts: plants at each place; wheel: a distance for each place over which `plants` were counted; depth: one dug seed each, as
    "42 mm; rank 2; left; track"; interval: how it is made; given: everything else by the names of the command's options, with
    underscores, such as "row", "spacing", "hoop_round", "rate", "days_since".
    """

    counts: tuple[str, ...] = ()
    wheel: tuple[str, ...] = ()
    depth: tuple[str, ...] = ()
    interval: str = INTERVALS[0]
    given: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class StandAnswer:
    """Everything `evenstand stand` says; None where too little was typed for it.

    stand: counted [plants/m²]; counts_still_needed: places; expected: what rate, lot and survival promised; achieved: survival;
    doubts: about typed numbers; keep: each publisher by itself; depth: of dug seed; thin: against what was expected; missing: what would
    still be answered, and what it needs.
    """

    stand: agronomy.Stand
    counts_still_needed: int
    expected: agronomy.SeedingPlan | None
    achieved: agronomy.Achieved | None
    doubts: tuple[agronomy.Doubt, ...]
    keep: agronomy.KeepOrReseed | None
    depth: agronomy.DepthReport | None
    thin: agronomy.ThinStand | None
    missing: tuple[str, ...]


def answer_stand(said: StandSaid, units: Profile = "si") -> StandAnswer:
    """What stands on the field, and what follows from it.

    Parameters
    ----------
    said : StandSaid
        Typed texts. [text]
    units : str
        Profile in which bare numbers are read and sentences written. [-]

    Returns
    -------
    StandAnswer
        Metric. [see the class]

    Raises
    ------
    InputError
        If a text is not understood; where it stood is named by the command's option.
    MissingError
        If the ground of one count is not known.
    RangeError
        If a number cannot be what it is said to be.
    """
    given = {name: text for name, text in said.given.items() if text}
    stand = _stand(said.counts, said.wheel, said.interval, given, units)
    expected, achieved, doubts = _seed_part(stand, given, units)
    keep, report = _keep(stand, given, units), _depth(said.depth, given, units)
    thin = _thin(stand, expected, report, given, units)
    lacking = _missing(given, {"expected": expected, "achieved": achieved, "keep": keep, "depth": report})
    return StandAnswer(
        stand=stand, counts_still_needed=stand.counts_still_needed, expected=expected, achieved=achieved, doubts=doubts, keep=keep,
        depth=report, thin=thin, missing=tuple(lacking),
    )  # fmt: skip


def stand_sentence(answer: StandAnswer, units: Profile, confidence: float = 0.95) -> str:
    """The counted stand with its interval in a sentence.

    Parameters
    ----------
    answer : StandAnswer
        As answered. [-]
    units : str
        The reader's. [-]
    confidence : float
        Of the interval. [-]
    """
    stand = answer.stand
    places = f"{stand.n} place{'s' if stand.n > 1 else ''}"
    low, high = (shown_value(x, "stand", units) for x in (stand.low, stand.high))
    return f"{shown(stand.plants_m2, 'stand', units)}, between {low} and {high} ({confidence:.0%}, {places})."


def _stand(counts: tuple[str, ...], wheel: tuple[str, ...], interval: str, given: Mapping[str, str], units: Profile) -> agronomy.Stand:
    """The stand by whichever way of counting was typed."""
    confidence, precision = typed_share(given, "confidence", 0.95), typed_share(given, "precision", 0.1)
    rows = _whole(given["rows"], "--rows", 1) if "rows" in given else 1
    if wheel:
        _only("--wheel", given, ("row", "hoop", "hoop_round"), counts)
        distances = [_length(text, "distance", f"--wheel {i}", units) for i, text in enumerate(wheel, 1)]
        plants = _whole(given["plants"], "--plants", 2) if "plants" in given else None
        spacing = _length(_needed(given, "spacing", "the distance between rows"), "spacing", "--spacing", units)
        return agronomy.stand_from_wheel(distances, spacing, plants=plants, rows=rows, confidence=confidence, precision=precision)
    if not counts:
        raise InputError(
            "no counts", where="COUNTS", limit="one or more", cure="Type the plants counted at each place, or --wheel distances."
        )
    found = [_whole(text, f"count {i}", 0) for i, text in enumerate(counts, 1)]
    area = _sample_area(given, rows, units)
    picked: Any = interval
    return agronomy.stand_from_counts(found, area, confidence=confidence, precision=precision, interval=picked)


def _sample_area(given: Mapping[str, str], rows: int, units: Profile) -> float:
    """Ground of one count. [m²]"""
    ways = [name for name in ("row", "hoop", "hoop_round") if name in given]
    if len(ways) != 1:
        what = "the ground of one count is not known" if not ways else "the ground of one count is given in two ways"
        raise MissingError(
            what, where="--row, --hoop, --hoop-round", cure="Give --row with --spacing, or --hoop, or --hoop-round: one of them."
        )
    if ways[0] == "hoop":
        return agronomy.hoop_area(_length(given["hoop"], "width", "--hoop", units))
    if ways[0] == "hoop_round":
        return agronomy.hoop_area_from_girth(_length(given["hoop_round"], "width", "--hoop-round", units))
    spacing = _length(_needed(given, "spacing", "the distance between rows"), "spacing", "--spacing", units)
    return agronomy.row_sample_area(_length(given["row"], "distance", "--row", units), spacing, rows)


def _seed_part(
    stand: agronomy.Stand, given: Mapping[str, str], units: Profile
) -> tuple[agronomy.SeedingPlan | None, agronomy.Achieved | None, tuple[agronomy.Doubt, ...]]:
    """Stand expected, survival achieved and doubts about what was typed, as far as it was typed."""
    rate = _est(given.get("rate", ""), "rate", "--rate", units)
    proven = _est(given.get("proven", ""), "rate", "--proven", units)
    tkw, alive = _kernel(given.get("tkw", ""), units), _est(given.get("survival", ""), "share", "--survival", units)
    wanted = read_quantity(given["wanted"], "stand", units, where="--wanted") if "wanted" in given else None
    for name, est in (("--rate", rate), ("--proven", proven), ("--tkw", tkw)):
        if est is not None:
            require_range(name, est.value, 0, low_open=True)
    if alive is not None:
        require_range("--survival", alive.value, 0, 1, low_open=True)
    expected = achieved = None
    if tkw and alive and (rate or wanted):
        expected = agronomy.seeding_plan(tkw, alive, plants_m2=wanted, rate_kg_ha=rate)
    seeds = _seeds(proven or rate, tkw)
    if seeds is not None:
        counted = max(0.0, stand.plants_m2 - _volunteers(given, units))
        achieved = agronomy.survival_achieved(Est(value=counted, sd=stand.sd), seeds)
    doubts: tuple[agronomy.Doubt, ...] = ()
    if "crop" in given:
        doubts = agronomy.doubtful_numbers(
            given["crop"],
            plants_m2=wanted,
            tkw_g=tkw.value if tkw else None,
            survival=alive.value if alive else None,
            rate_kg_ha=rate.value if rate else None,
        ).doubts
    return expected, achieved, doubts


def _seeds(sown: Est | None, tkw: Est | None) -> Est | None:
    """Seeds sown, None where rate or kernel weight is not known. [seeds/m²]"""
    return agronomy.seeding_plan(tkw, Est(value=1.0), rate_kg_ha=sown).seeds_m2 if sown and tkw else None


def seeds_sown(said: StandSaid, units: Profile = "si") -> Est | None:
    """Seeds sown by the rate as proven, else as asked, and the kernel weight.

    Parameters
    ----------
    said : StandSaid
        Typed texts. [text]
    units : str
        Profile in which bare numbers are read. [-]

    Returns
    -------
    Est or None
        None where rate or kernel weight was not typed. [seeds/m²]
    """
    given = {name: text for name, text in said.given.items() if text}
    sown = _est(given.get("proven", ""), "rate", "--proven", units) or _est(given.get("rate", ""), "rate", "--rate", units)
    return _seeds(sown, _kernel(given.get("tkw", ""), units))


def _keep(stand: agronomy.Stand, given: Mapping[str, str], units: Profile) -> agronomy.KeepOrReseed | None:
    if "crop" not in given:
        return None
    return agronomy.keep_or_reseed(
        given["crop"],
        stand,
        publisher=given.get("publisher", ""),
        wanted_m2=read_quantity(given["wanted"], "stand", units, where="--wanted") if "wanted" in given else None,
        days_late=_number(given, "days_late"),
    )


def _depth(depth: tuple[str, ...], given: Mapping[str, str], units: Profile) -> agronomy.DepthReport | None:
    if not depth:
        return None
    readings = [_reading(text, i, units) for i, text in enumerate(depth, 1)]
    window = None
    if "shallowest" in given or "deepest" in given:
        window = (
            _length(_needed(given, "shallowest", "the upper edge of the depth"), "depth", "--shallowest", units),
            _length(_needed(given, "deepest", "the lower edge of the depth"), "depth", "--deepest", units),
        )
    turn = _length(given["turn"], "depth", "--turn", units) if "turn" in given else None
    return agronomy.depth_report(
        readings, window_m=window, m_per_turn=turn, confidence=typed_share(given, "confidence", 0.95), profile=units
    )


def _reading(text: str, at: int, units: Profile) -> agronomy.DepthReading:
    """'42 mm; rank 2; left; track' as one reading."""
    first, *more = [part.strip() for part in text.split(";")]
    rank: int | None = None
    wing, track = "", None
    for part in more:
        low = part.lower()
        if low.startswith("rank"):
            rank = _whole(low.removeprefix("rank"), f"--depth {at}, rank", 1)
        elif low in {"track", "between"}:
            track = low == "track"
        elif low:
            wing = low
    return agronomy.DepthReading(depth_m=read_quantity(first, "depth", units, where=f"--depth {at}"), rank=rank, wing=wing, in_track=track)


def _thin(
    stand: agronomy.Stand,
    expected: agronomy.SeedingPlan | None,
    report: agronomy.DepthReport | None,
    given: Mapping[str, str],
    units: Profile,
) -> agronomy.ThinStand | None:
    if expected is None:
        return None
    rate = _est(given.get("rate", ""), "rate", "--rate", units)
    seedbed = agronomy.Seedbed(
        depth=report,
        moisture=given.get("moisture", "").lower(),
        row_fertilizer_kg_ha=_amount(given, "row_fertilizer", units),
        row_limit_kg_ha=_amount(given, "row_limit", units),
        asked_rate_kg_ha=rate.value if rate else expected.rate_kg_ha.value,
        proven_rate_kg_ha=_est(given.get("proven", ""), "rate", "--proven", units),
        days_since=_number(given, "days_since"),
        days_to_emerge=_number(given, "days_to_emerge"),
        volunteers_m2=_volunteers(given, units),
    )
    return agronomy.weigh_thin_stand(expected.stand, stand, seedbed, profile=units)


_WANTS: tuple[tuple[str, tuple[str, ...], str], ...] = (
    ("expected", ("tkw", "survival", "rate or wanted"), "the stand to expect"),
    ("achieved", ("tkw", "rate or proven"), "the survival achieved"),
    ("keep", ("crop",), "keep or reseed"),
)


def _missing(given: Mapping[str, str], answer: Mapping[str, Any]) -> list[str]:
    """What would still be answered, and what it needs."""
    lines = []
    for name, needs, what in _WANTS:
        if answer[name] is None:
            lacking = [need for need in needs if not any(part in given for part in need.split(" or "))]
            lines.append(f"{what}: give {', '.join('--' + need.replace(' or ', ' or --') for need in lacking)}")
    if answer["depth"] is not None and answer["depth"].window_m is None:
        lines.append("the share of seed at the depth wanted: give --shallowest and --deepest")
    return lines


# reading ------------------------------------------------------------------------------------------------------------


def _est(text: str, quantity: str, where: str, units: Profile) -> Est | None:
    """'120 kg/ha ± 3' or '120 ± 2 %' as a value with its standard deviation; None for nothing typed."""
    if not text:
        return None
    value_text, _, sd_text = text.replace("+-", "±").replace("+/-", "±").partition("±")
    value = read_quantity(value_text.strip(), quantity, units, where=where)
    sd = 0.0
    if sd_text.strip():
        number, symbol = read_number(sd_text.strip(), where=where)
        if symbol == "%" and quantity != "share":
            sd = abs(value) * number / 100
        else:
            unit = symbol or read_number(value_text.strip(), where=where)[1]
            sd = read_quantity(f"{number!r} {unit}", quantity, units, where=where)
        require_range(where, sd, 0)
    return Est(value=value, sd=sd, basis="typed", source=where)


def _kernel(text: str, units: Profile) -> Est | None:
    """Kernel weight, also from seeds in a pound or a kilogram."""
    if not text:
        return None
    value_text = text.replace("+-", "±").replace("+/-", "±").partition("±")[0].strip()
    number, symbol = read_number(value_text, where="--tkw")
    if symbol in {"seeds/lb", "seeds/kg"}:
        require_range("--tkw", number, 0, low_open=True, unit=symbol)
        if "±" in text or "+" in text:
            raise InputError(
                "a spread of seeds in a mass is not read", where="--tkw", cure="Type the weight of a thousand, such as 38 ± 0.5."
            )
        return Est(value=1e6 / to_metric(number, "seeds_mass", symbol), basis="typed", source="--tkw")
    if symbol == "g":
        text = text.replace("g", "", 1)
    return _est(text, "kernel", "--tkw", units)


def _length(text: str, quantity: str, where: str, units: Profile) -> float:
    """A length that can be what it is said to be: '--hoop 56' is no hoop of 56 m. [m]"""
    value = read_quantity(text, quantity, units, where=where)
    name = where.split()[0]
    low, high = BOUNDS.get(name, (0.0, None))
    if not (value > 0 and value >= low and (high is None or value <= high)):
        limit = f"{shown(low, quantity, units)} to {shown(high, quantity, units)}" if high is not None else "above 0"
        raise RangeError(
            f"{shown(value, quantity, units)} cannot be", where=where, limit=limit, cure="Say the unit, such as 56 cm or 10 in."
        )
    return value


def _whole(text: str, where: str, least: int) -> int:
    value = read_quantity(text, "count", "si", where=where)
    require_range(where, value, least, MOST_PLANTS)
    if value != int(value):
        raise InputError(f"{text.strip()} is no whole number", where=where, cure="Count whole plants.")
    return int(value)


def typed_share(given: Mapping[str, str], name: str, otherwise: float) -> float:
    """A share among the typed texts, such as the confidence; `otherwise` where none was typed. [-]"""
    if name not in given:
        return otherwise
    value = read_quantity(given[name], "share", "si", where=f"--{name}")
    require_range(f"--{name}", value, 0, 1, low_open=True, high_open=name == "confidence")
    return value


def _number(given: Mapping[str, str], name: str) -> float | None:
    if name not in given:
        return None
    where = f"--{name.replace('_', '-')}"
    value = read_quantity(given[name], "count", "si", where=where)
    require_range(where, value, 0)
    return value


def _amount(given: Mapping[str, str], name: str, units: Profile) -> float | None:
    if name not in given:
        return None
    where = f"--{name.replace('_', '-')}"
    value = read_quantity(given[name], "rate", units, where=where)
    require_range(where, value, 0, unit="kg/ha")
    return value


def _volunteers(given: Mapping[str, str], units: Profile) -> float:
    if "volunteers" not in given:
        return 0.0
    value = read_quantity(given["volunteers"], "stand", units, where="--volunteers")
    require_range("--volunteers", value, 0, unit="plants/m²")
    return value


def _needed(given: Mapping[str, str], name: str, what: str) -> str:
    if name not in given:
        raise MissingError(f"{what} is not known", where=f"--{name}", cure=f"Give --{name}.")
    return given[name]


def _only(way: str, given: Mapping[str, str], others: tuple[str, ...], counts: tuple[str, ...]) -> None:
    """Refuse two ways of counting in one command."""
    clash = [f"--{name.replace('_', '-')}" for name in others if name in given] + (["COUNTS"] if counts else [])
    if clash:
        raise InputError(f"{way} and {', '.join(clash)} are two ways of counting", where=way, cure="Give one way at a time.")

"""A catch test with a book: what the scale should show, what the result means, drift since the last one, which proofs are stale."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from evenstand.base.clock import Clock
from evenstand.base.errors import MissingError
from evenstand.base.estimate import Est
from evenstand.base.units import Profile, rounded, shown, shown_value
from evenstand.machine import crank_test
from evenstand.model import Job
from evenstand.nextup.commissioning import Line
from evenstand.tally import catch_test, expected_catch, factor_from_shown, row_distribution
from evenstand.tally.catching import CatchTest, Verdict

if TYPE_CHECKING:
    from evenstand.book import Book, CatchRecord

OF_A_CATCH = ("catch", "roller", "door", "distance", "width", "typed-width")
"""Proofs that a dose rests on, beside the catch itself."""
DRIFT_SD = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CatchNow:
    """A bin before a catch. job, outfit, letter, product, lot: keys; name, lot_name: as the owner calls them; believed: product per turn
    as a standing catch should show it, with its spread, None if nothing is known [kg/turn]; turns: as planned; prior_cv: how well catches
    of this product repeat [-]; segments: of the meter; roller: roller and setting; earlier: catches of this product so far, oldest first;
    stale: proofs of this dose that are stale, outside or open."""

    job: str
    outfit: str
    letter: str
    product: str
    name: str
    lot: str
    lot_name: str
    believed: Est | None
    turns: float | None
    prior_cv: float
    segments: int | None
    roller: str
    earlier: tuple[CatchRecord, ...]
    stale: tuple[Line, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CatchSaid:
    """As weighed: turns of each catch; masses_kg with the bag; tare_kg: the bag; division_kg: smallest step of the scale; share of the
    meter's segments that was caught [-]."""

    turns: float | None = None
    masses_kg: tuple[float, ...] = ()
    tare_kg: float = 0.0
    division_kg: float = 0.0
    share: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CatchAnswer:
    """result: as `tally.catch_test` says; verdict: the same, but "good" where it agrees with what the plan believes; why: the reason;
    drift: against the last catch, "" without one."""

    result: CatchTest
    verdict: Verdict
    why: str
    drift: str


def catch_now(book: Book, key: str, *, clock: Clock) -> CatchNow:
    """What is known of a bin before a catch.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    key : str
        "job|A". [-]
    clock : Clock
        For proofs that are due with the year. [UTC]

    Raises
    ------
    MissingError
        If there is no such job, or no such bin in it; those there are are named.
    """
    from evenstand.book import CatchRecord
    from evenstand.desk.planning import job_inputs
    from evenstand.expect import plan_for
    from evenstand.expect.bins import catch_share

    job, _, letter = key.partition("|")
    if book.get(Job, job) is None:
        raise MissingError(f"no job '{job}'", where="Bin", cure="Choose the bin again.")
    inputs = dataclasses.replace(job_inputs(book, job), drive=False)
    planned = {b.bin: b for b in plan_for(inputs).bins}
    if letter not in planned:
        raise MissingError(f"no bin '{letter}' in this job", where="Bin", cure=f"Bins: {', '.join(planned) or 'none yet'}.")
    b, product = planned[letter], inputs.products.get(planned[letter].product)
    lot = inputs.lots.get(b.product)
    meter = next((x.meter for x in inputs.outfit.bins if x.letter == letter), None) if inputs.outfit else None
    records = [c for c in book.all(CatchRecord, outfit=inputs.job.outfit) if c.bin == letter and c.product == b.product]
    return CatchNow(
        job=job,
        outfit=inputs.job.outfit,
        letter=letter,
        product=b.product,
        name=product.name if product else b.product,
        lot=lot.key if lot else "",
        lot_name=(lot.label or lot.key) if lot else "",
        believed=b.standing_kg_turn or b.factor_kg_turn,
        turns=b.catch_turns,
        prior_cv=catch_share(product, lot, b.factor_kg_turn),
        segments=meter.segments if meter else None,
        roller=", ".join(x for x in (meter.roller, meter.setting) if x) if meter else "",
        earlier=tuple(sorted(records, key=lambda c: c.at)),
        stale=stale_lines(book, inputs.job.outfit, letter, clock=clock) if inputs.outfit else (),
    )


def stale_lines(book: Book, outfit: str, letter: str, *, clock: Clock) -> tuple[Line, ...]:
    """Proofs of a bin's dose that are stale or outside their band: catch, roller, door, distance, widths. [-]"""
    from evenstand.desk.proofs import proof_lines

    keys = {k if k in ("distance", "width", "typed-width") else f"{k}:{letter}" for k in OF_A_CATCH}
    return tuple(x for x in proof_lines(book, outfit, clock=clock) if x.item.key in keys and x.state in ("due", "outside"))


def expected_text(now: CatchNow, said: CatchSaid, *, profile: Profile = "si") -> str:
    """What bag and product should weigh if the product per turn holds, before anything is weighed. [text]

    Parameters
    ----------
    now : CatchNow
        The bin. [kg/turn]
    said : CatchSaid
        Turns, bag, division and share as far as they are typed; else the planned turns. [kg]
    profile : str
        Units. [-]
    """
    turns = said.turns or now.turns
    if now.believed is None or turns is None:
        return "Nothing is known yet of what a turn gives: this catch makes it."
    band = expected_catch(
        now.believed, turns, share=said.share, tare_kg=said.tare_kg, scale_division_kg=said.division_kg, prior_cv=now.prior_cv
    )
    what = "bag and product" if said.tare_kg else "the product, without its bag,"
    span = f"{shown_value(band.low_kg, 'catch', profile)} to {shown(band.high_kg, 'catch', profile)}"
    part = "" if said.share == 1.0 else f" of {shown(said.share, 'share', profile)} of the meter"
    count = rounded(turns, 0 if float(turns).is_integer() else 1)
    weight = shown(band.expected_kg, "catch", profile)
    return f"Over {count} turns{part} {what} should weigh {weight}; {span} is good."


def answer_catch(now: CatchNow | None, said: CatchSaid, *, profile: Profile = "si") -> CatchAnswer:
    """What a catch says, alone and against what the plan believes.

    Parameters
    ----------
    now : CatchNow or None
        The bin; None: nothing but what was weighed. [kg/turn]
    said : CatchSaid
        Turns and masses needed. [kg]
    profile : str
        Units of the sentences. [-]

    Raises
    ------
    MissingError
        Without turns or a mass.
    RangeError
        As `catch_test` does.
    """
    if said.turns is None or not said.masses_kg:
        raise MissingError("turns and a weight are needed", where="turns" if said.turns is None else "masses", cure="Type both.")
    prior = {} if now is None else {"prior_cv": now.prior_cv}
    result = catch_test(
        said.masses_kg, said.turns, share=said.share, tare_kg=said.tare_kg, scale_division_kg=said.division_kg,
        expected=now.believed if now else None, **prior,
    )  # fmt: skip
    verdict, why = result.verdict, result.why
    if now is not None and now.believed is not None and verdict != "find out why":
        band = expected_catch(
            now.believed, said.turns, share=said.share, tare_kg=said.tare_kg, scale_division_kg=said.division_kg, prior_cv=now.prior_cv
        )
        mean = sum(said.masses_kg) / len(said.masses_kg)
        change = result.factor_kg_rev / now.believed.value - 1
        off = f"{rounded(abs(change) * 100, 1)} % {'more' if change > 0 else 'less'} than {shown(now.believed.value, 'factor', profile)}"
        if band.low_kg <= mean <= band.high_kg:
            half = rounded((result.high - result.low) / 2 / result.factor_kg_rev * 100, 1)
            verdict, why = "good", f"{off}, which the plan uses: it agrees, and that value may stay. The catch alone is known to {half} %."
        else:
            verdict, why = "longer", f"{off}, which the plan uses, and not enough to say why. Catch longer before you type it in."
    return CatchAnswer(result=result, verdict=verdict, why=why, drift=_drift(now, result, profile))


def _drift(now: CatchNow | None, result: CatchTest, profile: Profile) -> str:
    """Against the last catch of this product in this bin."""
    last = now.earlier[-1] if now and now.earlier else None
    if last is None or last.factor is None:
        return ""
    change = result.factor_kg_rev / last.factor.value - 1
    sd = math.hypot(result.sd / last.factor.value, last.factor.sd / last.factor.value)
    day, value = last.at[:10], shown(last.factor.value, "factor", profile)
    side = "more" if change > 0 else "less"
    size = f"{rounded(abs(change) * 100, 1)} % {side} than the {value} of {day}"
    if abs(change) <= DRIFT_SD * sd:
        return f"{size}: within what two catches differ by (± {rounded(DRIFT_SD * sd * 100, 1)} %)."
    other = f" The lot is another: {last.lot} then, {now.lot} now." if now and last.lot and now.lot and last.lot != now.lot else ""
    return f"{size}, beyond what two catches differ by (± {rounded(DRIFT_SD * sd * 100, 1)} %): it has moved.{other}"


def keep_catch(book: Book, now: CatchNow, said: CatchSaid, *, by: str = "", clock: Clock) -> CatchRecord:
    """Keep a catch with the lot in use; its product per turn becomes the one in force.

    Parameters
    ----------
    book : Book
        Open for writing. [-]
    now, said
        As answered. [kg]
    by : str
        Who caught. [-]
    clock : Clock
        When. [UTC]
    """
    from evenstand.desk.recording import record_catch

    assert said.turns is not None
    record, _ = record_catch(
        book, outfit=now.outfit, bin=now.letter, product=now.product, masses_kg=said.masses_kg, turns=said.turns, share=said.share,
        tare_kg=said.tare_kg, scale_division_kg=said.division_kg, lot=now.lot, clock=clock,
    )  # fmt: skip
    if by.strip():
        record = dataclasses.replace(record, by=by.strip())
        book.put(record, why="who caught")
    return record


def shown_text(old_kg_turn: float, shown_kg: float, weighed_kg: float, *, division_kg: float = 0.0, profile: Profile = "si") -> str:
    """New product per turn where turns cannot be read: the display's mass against the scale's. [text]

    Parameters
    ----------
    old_kg_turn : float
        Typed while the mass was shown. [kg/turn]
    shown_kg, weighed_kg : float
        By the display, and by the scale without bag. [kg]
    division_kg : float
        Coarser step of display and scale. [kg]
    profile : str
        Units. [-]

    Raises
    ------
    RangeError
        If a value is not above 0.
    """
    value = factor_from_shown(old_kg_turn, shown_kg, weighed_kg)
    step = division_kg / math.sqrt(12)
    share = 1.96 * math.hypot(step / shown_kg, step / weighed_kg)
    change = value / old_kg_turn - 1
    band = f" (± {rounded(100 * share, 1)} % by the steps of display and scale)" if division_kg else ""
    if abs(change) <= share:
        return f"{shown(value, 'factor', profile)}{band}: {shown(old_kg_turn, 'factor', profile)} agrees and may stay."
    side = "more" if change > 0 else "less"
    return f"Type {shown(value, 'factor', profile)}{band}: a turn gives {rounded(abs(change) * 100, 1)} % {side} than is typed."


def crank_text(
    masses_kg: Sequence[float], *, width_m: float, rolled_m: float, gear: float, area_ha: float | None, crank_turns: float | None,
    asked_kg_ha: float | None, division_kg: float = 0.0, profile: Profile = "si",
) -> tuple[str, ...]:  # fmt: skip
    """A crank test of a ground-driven meter, in sentences: turns, rate with its band, gearing for the rate asked.

    Parameters
    ----------
    masses_kg : sequence of float
        Each catch without its bag; none: only the turns are told. [kg]
    width_m, rolled_m : float
        Width fed; what the drive wheel rolls in a turn. [m]
    gear : float
        Turns of the meter to one of the drive wheel. [-]
    area_ha, crank_turns : float or None
        Which area the turns stand for, or the turns; one of the two. [ha, turns]
    asked_kg_ha : float or None
        Rate asked. [kg/ha]
    division_kg : float
        Smallest step of the scale. [kg]
    profile : str
        Units. [-]

    Raises
    ------
    RangeError
        As `machine.crank_test` does.
    """
    from evenstand.machine import turns_for_area

    turns = turns_for_area(area_ha, rolled_m, width_m) if area_ha is not None and crank_turns is None else crank_turns
    if not masses_kg:
        at = shown(area_ha, "area", profile) if area_ha is not None else "that"
        return () if turns is None else (f"{rounded(turns, 1)} turns of the wheel stand for {at}: turn, catch and weigh.",)
    found = crank_test(
        masses_kg, width_m=width_m, rolled_m=rolled_m, gear=gear, area_ha=area_ha if crank_turns is None else None, crank_turns=crank_turns,
        asked_kg_ha=asked_kg_ha, scale_division_kg=division_kg,
    )  # fmt: skip
    span = f"{shown_value(found.low_kg_ha, 'rate', profile)} to {shown(found.high_kg_ha, 'rate', profile)}"
    lines = [f"{shown(found.rate_kg_ha, 'rate', profile)}, {span}, over {rounded(found.crank_turns, 1)} turns."]
    if asked_kg_ha is not None and found.gear_needed is not None:
        off = found.rate_kg_ha / asked_kg_ha - 1
        side = "more" if off > 0 else "less"
        if found.low_kg_ha <= asked_kg_ha <= found.high_kg_ha:
            lines.append(f"{shown(asked_kg_ha, 'rate', profile)} asked lies in that band: leave the gearing.")
        else:
            turn = found.gear_needed / gear - 1
            lines.append(
                f"{rounded(abs(off) * 100, 1)} % {side} than asked: gear {'up' if turn > 0 else 'down'} by "
                f"{rounded(abs(turn) * 100, 1)} %, to {rounded(found.gear_needed, 3)} turns of the meter a turn of the wheel."
            )
    lines.append(f"{shown(found.factor_kg_rev, 'factor', profile)} of the meter.")
    return tuple(lines)


@dataclass(frozen=True, slots=True, kw_only=True)
class RowsAnswer:
    """How evenly rows are fed, in words. sentence: spread and band; lines: range, the odd row, several tests; source: of the band; even:
    whether it lies in the published band."""

    sentence: str
    lines: tuple[str, ...]
    source: str
    even: bool


def rows_answer(tests: Sequence[Sequence[float]], *, divisor_n: bool = False) -> RowsAnswer:
    """Row-to-row distribution on a stated divisor, against the one published band.

    Parameters
    ----------
    tests : sequence of sequences of float
        Each test: what every row gave, in any one unit. [any]
    divisor_n : bool
        Divide by n; else by n - 1. [-]

    Raises
    ------
    RangeError
        As `tally.row_distribution` does, and if the tests are not of as many rows.
    """
    from evenstand.base.errors import RangeError

    rows = {len(t) for t in tests}
    if len(rows) > 1:
        raise RangeError(
            f"tests of {' and '.join(str(n) for n in sorted(rows))} rows",
            where="catches",
            limit="as many rows in each",
            cure="Type 0 for a row that gave nothing.",
        )
    d = row_distribution(list(tests) if len(tests) > 1 else list(tests[0]), ddof=0 if divisor_n else 1)
    even = d.band == "very good"
    lines = [
        f"Largest less smallest is {rounded(d.range * 100, 1)} % of the mean.",
        f"Row {d.worst_row} stands out most: {rounded(abs(d.worst) * 100, 1)} % {'above' if d.worst > 0 else 'below'} the mean.",
    ]
    if d.row_p is not None and d.flow_cv is not None:
        told = "the rows themselves differ" if d.row_p < 0.05 else "it may be scatter alone: no row is told from the others"
        lines.append(f"From test to test the whole flow spread by {rounded(d.flow_cv * 100, 1)} %; {told} (p {rounded(d.row_p, 3)}).")
    return RowsAnswer(
        sentence=f"Rows spread by {rounded(d.cv * 100, 1)} % (coefficient of variation, divisor {d.divisor}): {d.band}.",
        lines=tuple(lines),
        source=d.source,
        even=even,
    )

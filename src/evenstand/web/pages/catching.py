"""At the fill: catch tests, what a display showed against the scale, the crank test, row by row. The use cases are `desk.catching`."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from fastapi import APIRouter, Request, Response

from evenstand.base.errors import EvenstandError, UnitError
from evenstand.base.units import Profile, read_quantity, shown
from evenstand.desk.catching import (
    CatchAnswer,
    CatchNow,
    CatchSaid,
    answer_catch,
    catch_now,
    crank_text,
    expected_text,
    keep_catch,
    rows_answer,
    shown_text,
)
from evenstand.web.asking import bounded
from evenstand.web.forms import Field, Typed
from evenstand.web.naming import day
from evenstand.web.pages.filling import bin_choices
from evenstand.web.site import Site, site_of

router = APIRouter()

STATES = {"good": "holds", "longer": "doubtful", "find out why": "does-not-hold"}
WORDS = {"good": "Good.", "longer": "Catch longer.", "find out why": "Find out why before you use it."}
MOST_ROWS = 400


def catch_fields(bins: tuple[tuple[str, str], ...]) -> tuple[Field, ...]:
    """Fields of the catch test, in the order of the work."""
    return (
        Field(name="where", label="Bin", choices=(("", "no job: just work it out"), *bins)),
        Field(name="turns", label="Turns of the meter", quantity="count", hint="Empty: as planned for the bin." if bins else ""),
        Field(name="tare", label="The empty bag", quantity="catch"),
        Field(name="masses", label="Each catch, with its bag", hint="Two catches of the same turns: 5.21; 5.17"),
        Field(name="division", label="Smallest step of the scale", quantity="catch"),
        Field(name="share", label="Share of the meter caught", hint="All segments: 100 %. Two of eight: 25 %.", quantity="share"),
    )


@router.get("/at-the-fill/catch")
def catch(request: Request) -> Response:
    """What to expect before the catch, and the answer after it; nothing is stored."""
    return _catch(request, request.query_params, keep=False)


@router.post("/at-the-fill/catch")
async def caught(request: Request) -> Response:
    """Work a catch out; with a bin chosen, keep it as the product per turn in force."""
    return _catch(request, await request.form(), keep=True)


def _catch(request: Request, data: Mapping[str, object], *, keep: bool) -> Response:
    site = site_of(request)
    typed = Typed.of(catch_fields(bin_choices(site)), data, site.profile())
    bounded(typed)
    now = _now(site, typed)
    said = _said(typed, now)
    found, kept = None, ""
    if keep and not said.masses_kg and "masses" not in typed.faults:
        typed.faults["masses"] = "Each catch, with its bag is needed."
    if said.masses_kg and said.turns is None and "turns" not in typed.faults:
        typed.faults["turns"] = "Turns of the meter is needed."
    if typed.ok and said.masses_kg:
        try:
            found = answer_catch(now, said, profile=typed.profile)
            if keep and now is not None:
                with site.book() as book:
                    keep_catch(book, now, said, clock=site.clock)
                site.forget()
                kept = f"Kept for bin {now.letter}: the plan and the card use it from now on."
        except EvenstandError as error:
            typed.blame(error)
    if "live" in data:
        typed.quiet()
    shows = _shows(typed.profile, said, found) if found else ()
    return site.page(
        request, "catch.html", status=200 if typed.ok else 422, typed=typed, found=found,
        state=STATES.get(found.verdict, "") if found else "", words=WORDS.get(found.verdict, "") if found else "", kept=kept, shows=shows,
        now=now,
        expected=expected_text(now, said, profile=typed.profile) if now and typed.ok else "", earlier=_earlier(now, typed.profile),
    )  # fmt: skip


def _now(site: Site, typed: Typed) -> CatchNow | None:
    where = typed.values.get("where", "")
    if not where or "where" in typed.faults:
        return None
    try:
        with site.book() as book:
            return catch_now(book, where, clock=site.clock)
    except EvenstandError as error:
        typed.blame(error)
        return None


def _said(typed: Typed, now: CatchNow | None) -> CatchSaid:
    turns, share = typed.number("turns"), typed.number("share")
    said = CatchSaid(
        turns=turns if turns is not None else now.turns if now and not typed.values.get("turns") else None,
        masses_kg=tuple(masses_of(typed, "masses")), tare_kg=typed.number("tare") or 0.0, division_kg=typed.number("division") or 0.0,
        share=1.0 if share is None else share,
    )  # fmt: skip
    for name, value, least in (("turns", said.turns, 0.0), ("share", said.share, 0.0)):
        if value is not None and value <= least and name not in typed.faults:
            typed.faults[name] = f"{_label(typed, name)}: {typed.values.get(name, '')} is not above 0. Correct the value."
    if said.share > 1 and "share" not in typed.faults:
        typed.faults["share"] = f"{_label(typed, 'share')}: more than all of it. At most 100 %."
    for name, value in (("tare", said.tare_kg), ("division", said.division_kg)):
        if value < 0:
            typed.faults[name] = f"{_label(typed, name)}: {typed.values.get(name, '')} is below 0. Correct the value."
    return said


def _label(typed: Typed, name: str) -> str:
    return next(f.label for f in typed.fields if f.name == name)


def masses_of(typed: Typed, name: str, quantity: str = "catch") -> list[float]:
    """'5.21; 5.17' as kilograms. [kg]"""
    out = []
    for piece in (p for p in typed.text(name).split(";") if p.strip()):
        try:
            out.append(read_quantity(piece, quantity, typed.profile, where=_label(typed, name)))
        except UnitError as error:
            typed.faults[name] = str(error)
    return out


def _shows(profile: Profile, said: CatchSaid, found: CatchAnswer) -> tuple[str, ...]:
    """Each catch by itself, and where the interval comes from."""
    lines, result = [], found.result
    part = "" if said.share == 1.0 else f" of {shown(said.share, 'share', profile)} of the meter"
    bag = f" less {shown(said.tare_kg, 'catch', profile)} of bag" if said.tare_kg else ""
    for i, mass in enumerate(said.masses_kg, 1):
        alone = answer_catch(None, CatchSaid(turns=said.turns, masses_kg=(mass,), tare_kg=said.tare_kg, share=said.share))
        factor = shown(alone.result.factor_kg_rev, "factor", profile)
        lines.append(f"Catch {i}: {shown(mass, 'catch', profile)}{bag}, over {said.turns:g} turns{part}: {factor}.")
    lines.append(f"Together: {shown(result.factor_kg_rev, 'factor', profile)}, standard deviation {shown(result.sd, 'factor', profile)}.")
    lines.append(
        f"One catch spreads by {shown(result.cv, 'share', profile)}: what is usual (common practice) until your own catches say otherwise. "
        "The interval is Student's t at 95 %."
    )
    if result.scale_share > 0.05:
        lines.append(f"The scale's smallest step makes {shown(result.scale_share, 'share', profile)} of that variance.")
    return tuple(lines)


def _earlier(now: CatchNow | None, profile: Profile) -> list[tuple[str, str, str, str]]:
    """Catches so far with the change from one to the next, newest first."""
    rows: list[tuple[str, str, str, str]] = []
    before: float | None = None
    for c in now.earlier if now else ():
        value = c.factor.value if c.factor else None
        moved = "" if value is None or before is None else f"{100 * (value / before - 1):+.1f} %".replace("-", "−")
        rows.append((day(c.at), "" if value is None else shown(value, "factor", profile), moved, c.lot))
        before = value if value is not None else before
    return rows[::-1][:12]


def turns_fields() -> tuple[Field, ...]:
    """Fields for displays that show no turns, and for ground drive."""
    return (
        Field(name="old", label="Product per turn typed in now", quantity="factor"),
        Field(name="shown", label="Mass the display showed", quantity="catch"),
        Field(name="weighed", label="Mass weighed, without the bag", quantity="catch"),
        Field(name="step", label="Coarser step of display and scale", quantity="catch"),
        Field(name="area", label="Area the turns stand for", quantity="area", hint="Usual: 0.1 ha or 0.1 ac."),
        Field(name="turns", label="or turns of the wheel made", quantity="count"),
        Field(name="rolled", label="What the wheel rolls in a turn", quantity="width"),
        Field(name="width", label="Width fed", quantity="width"),
        Field(name="gear", label="Turns of the meter to one of the wheel", quantity="count"),
        Field(name="masses", label="Each catch, without its bag", hint="Leave it empty to be told the turns first."),
        Field(name="rate", label="Rate asked", quantity="rate"),
        Field(name="division", label="Smallest step of the scale", quantity="catch"),
    )


SHOWN = ("old", "shown", "weighed", "step")
CRANK = ("area", "turns", "rolled", "width", "gear", "masses", "rate", "division")
PLACES = {
    "old_factor": "old", "shown_kg": "shown", "weighed_kg": "weighed", "area_ha": "area", "crank_turns": "turns", "rolled_m": "rolled",
    "width_m": "width", "scale_division_kg": "division", "asked_kg_ha": "rate",
}  # fmt: skip


@router.get("/at-the-fill/turns")
def turns(request: Request) -> Response:
    """The shown-mass test and the crank test; nothing is stored."""
    from evenstand.web.asking import tie

    site = site_of(request)
    typed = Typed.of(turns_fields(), request.query_params, site.profile())
    bounded(typed)
    numbers = {f.name: typed.number(f.name) for f in typed.fields if f.quantity}
    masses = masses_of(typed, "masses")
    answer: tuple[str, ...] = ()
    try:
        if any(typed.values.get(n) for n in SHOWN):
            answer = _by_mass(typed, numbers)
        elif any(typed.values.get(n) for n in CRANK):
            answer = _by_crank(typed, numbers, masses)
    except EvenstandError as error:
        tie(typed, error, PLACES)
    if "live" in request.query_params:
        typed.quiet()
    with_shown = any(typed.values.get(n) for n in SHOWN)
    return site.page(
        request, "turns.html", status=200 if typed.ok else 422, typed=typed, answer=answer if typed.ok else (), by_mass=with_shown,
        shown_fields=[f for f in typed.fields if f.name in SHOWN], crank_fields=[f for f in typed.fields if f.name in CRANK],
    )  # fmt: skip


def _needed(typed: Typed, names: Sequence[str]) -> bool:
    for name in names:
        if not typed.values.get(name) and name not in typed.faults:
            typed.faults[name] = f"{_label(typed, name)} is needed."
    return typed.ok


def _by_mass(typed: Typed, numbers: Mapping[str, float | None]) -> tuple[str, ...]:
    if not _needed(typed, ("old", "shown", "weighed")):
        return ()
    old, seen, weighed = (numbers[n] or 0.0 for n in ("old", "shown", "weighed"))
    return (shown_text(old, seen, weighed, division_kg=max(numbers["step"] or 0.0, 0.0), profile=typed.profile),)


def _by_crank(typed: Typed, numbers: Mapping[str, float | None], masses: list[float]) -> tuple[str, ...]:
    wanted = ["rolled", "width"] + (["gear"] if masses else [])
    if numbers["turns"] is None:
        wanted.append("area")
    if not _needed(typed, wanted):
        return ()
    return crank_text(
        masses, width_m=numbers["width"] or 0.0, rolled_m=numbers["rolled"] or 0.0, gear=numbers["gear"] or 0.0, area_ha=numbers["area"],
        crank_turns=numbers["turns"], asked_kg_ha=numbers["rate"], division_kg=max(numbers["division"] or 0.0, 0.0), profile=typed.profile,
    )  # fmt: skip


ROWS_FIELDS = (
    Field(
        name="catches", label="What each row gave", kind="area", required=True,
        hint="One number a row in any one unit, with blanks between; another test of the same rows on a new line.",
    ),
    Field(name="divisor", label="Divide by", choices=(("n-1", "rows less one"), ("n", "rows"))),
)  # fmt: skip


@router.get("/at-the-fill/rows")
def rows(request: Request) -> Response:
    """How evenly rows are fed; nothing is stored."""
    site = site_of(request)
    typed = Typed.of(ROWS_FIELDS, request.query_params, site.profile())
    bounded(typed)
    found = None
    if request.query_params:
        tests = _rows(typed)
        try:
            found = rows_answer(tests, divisor_n=typed.values.get("divisor") == "n") if typed.ok else None
        except EvenstandError as error:
            typed.faults["catches"] = "; ".join(str(f) for f in error.faults)
    if "live" in request.query_params:
        typed.quiet()
    return site.page(request, "rows.html", status=200 if typed.ok else 422, typed=typed, found=found)


def _rows(typed: Typed) -> list[list[float]]:
    """Lines of numbers; a decimal comma is read as one."""
    out: list[list[float]] = []
    for line in (x for x in typed.text("catches").splitlines() if x.strip()):
        row = []
        for piece in re.split(r"[;\s]+", line.strip()):
            try:
                row.append(float(piece.replace(",", ".")))
            except ValueError:
                typed.faults["catches"] = f"What each row gave: '{piece[:20]}' is no number. Write numbers with blanks between."
        out.append(row)
    if sum(len(r) for r in out) > MOST_ROWS:
        typed.faults["catches"] = f"What each row gave: more than {MOST_ROWS} numbers. Split the test."
    return out

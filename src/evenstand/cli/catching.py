"""`evenstand catch`: a catch test worked out, and kept where a book is given."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from evenstand.base.errors import require_range
from evenstand.base.estimate import Est
from evenstand.base.units import read_quantity, shown
from evenstand.cli.common import book_option, job_of, print_json, shared_options, units_of, wrapped

if TYPE_CHECKING:
    from evenstand.desk.catching import CatchNow, CatchSaid


@click.command(name="catch")
@click.argument("masses", nargs=-1, required=True)
@click.option("--turns", required=True, help="Turns of the meter shaft in each catch.")
@click.option("--tare", default="0", help="The empty bag.")
@click.option("--division", default="0", help="Smallest step of the scale.")
@click.option("--share", default="100%", show_default=True, help="Share of the meter's segments that were caught.")
@click.option("--expected", default="", help="Product per turn that is typed in now.")
@click.option("--job", default="", help="Job of the book to keep it for.")
@click.option("--bin", "letter", default="", help="Bin it was caught from.")
@book_option
@shared_options
def command(
    masses: tuple[str, ...],
    turns: str,
    tare: str,
    division: str,
    share: str,
    expected: str,
    job: str,
    letter: str,
    folder: str | None,
    as_json: bool,
    profile: str | None,
) -> int:
    """Product per turn from one catch or more, each weighed with its bag.

    \b
    evenstand catch 5.21 --turns 4 --tare 0.18
    evenstand catch "11.4 lb" "11.6 lb" --turns 4 --expected "2.75 lb/turn"
    evenstand catch 12.4 --turns 10 --tare 0.18 --book our-farm --job home-wheat --bin D

    With a bin of a book it is held against what the plan believes, and against the last catch; proofs that are stale are told.
    """
    from evenstand.desk.catching import CatchSaid, answer_catch
    from evenstand.nextup.commissioning import STATE_WORDS
    from evenstand.tally import catch_test

    units = units_of(profile, folder)
    weighed = [read_quantity(m, "catch", units, where=f"catch {i}") for i, m in enumerate(masses, 1)]
    n = read_quantity(turns, "count", units, where="turns")
    part = read_quantity(share, "share", units, where="share")
    bag, step = read_quantity(tare, "catch", units, where="tare"), read_quantity(division, "catch", units, where="division")
    typed = Est(value=read_quantity(expected, "factor", units, where="expected"), basis="typed") if expected else None
    if typed is not None:
        require_range("expected", typed.value, 0, low_open=True, unit="kg/turn")
    result = catch_test(weighed, n, share=part, tare_kg=bag, scale_division_kg=step, expected=typed)
    said = CatchSaid(turns=n, masses_kg=tuple(weighed), tare_kg=bag, division_kg=step, share=part)
    now, kept = _keep(folder, job, letter, said)
    drift, told = "", f"{result.verdict.capitalize()}. {result.why}"
    stale = now.stale if now is not None else ()
    if now is not None:
        answer = answer_catch(now, said, profile=units)
        drift = answer.drift
        if typed is None:
            result = replace(answer.result, verdict=answer.verdict, why=answer.why)
            told = f"{answer.verdict.capitalize()}: {answer.why}"
    if as_json:
        lines = [{"item": x.item.key, "title": x.item.title, "why": x.due or STATE_WORDS[x.state], "since": x.since} for x in stale]
        expected_kg = typed.value if typed else now.believed.value if now and now.believed else None
        print_json({"result": result, "expected_kg_turn": expected_kg, "kept": kept, "drift": drift, "stale": lines})
    else:
        value, low, high = (shown(x, "factor", units) for x in (result.factor_kg_rev, result.low, result.high))
        click.echo(f"{value}, between {low} and {high}.")
        click.echo(wrapped(told, indent=""))
        if drift:
            click.echo(wrapped(f"Since the last catch: {drift}", indent=""))
        for x in stale:
            click.echo(wrapped(f"Stale: {x.item.title}: {x.due or STATE_WORDS[x.state]}.", indent=""))
        if kept:
            click.echo(kept)
    return 1 if result.verdict == "find out why" else 0


def _keep(folder: str | None, job: str, letter: str, said: CatchSaid) -> tuple[CatchNow | None, str]:
    """Keep it in the book, if one is named; what was known of the bin before, and what was kept."""
    source = click.get_current_context().get_parameter_source("folder")
    if not folder or (source is click.core.ParameterSource.ENVIRONMENT and not (job or letter)):
        return None, ""  # a book named by the environment alone keeps nothing
    from evenstand.base.clock import SystemClock
    from evenstand.base.errors import MissingError
    from evenstand.book import Book
    from evenstand.desk.catching import catch_now, keep_catch

    if not job or not letter:
        raise MissingError("a job and a bin are needed to keep a catch", where="--job, --bin", cure="Give both, or leave --book out.")
    with Book.open(folder, write=True, who="command") as book:
        now = catch_now(book, f"{job_of(book, job)}|{letter}", clock=SystemClock())
        keep_catch(book, now, said, clock=SystemClock())
    return now, f"Kept for bin {letter}."

"""`evenstand catch`: a catch test worked out, and kept where a book is given."""

from __future__ import annotations

import click

from evenstand.base.errors import require_range
from evenstand.base.estimate import Est
from evenstand.base.units import read_quantity, shown
from evenstand.cli.common import book_option, print_json, shared_options, units_of


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
    """
    import numpy as np

    from evenstand.tally import catch_test

    units = units_of(profile, folder)
    weighed = [read_quantity(m, "catch", units, where=f"catch {i}") for i, m in enumerate(masses, 1)]
    n = read_quantity(turns, "count", units, where="turns")
    part = read_quantity(share, "share", units, where="share")
    bag, step = read_quantity(tare, "catch", units, where="tare"), read_quantity(division, "catch", units, where="division")
    typed = Est(value=read_quantity(expected, "factor", units, where="expected"), basis="typed") if expected else None
    if typed is not None:
        require_range("expected", typed.value, 0, low_open=True, unit="kg/turn")
    result = catch_test(np.array(weighed), n, share=part, tare_kg=bag, scale_division_kg=step, expected=typed)
    kept = _keep(folder, job, letter, weighed, n, part, bag, step)
    if as_json:
        print_json({"result": result, "expected_kg_turn": typed.value if typed else None, "kept": kept})
    else:
        value, low, high = (shown(x, "factor", units) for x in (result.factor_kg_rev, result.low, result.high))
        click.echo(f"{value}, between {low} and {high}.")
        click.echo(f"{result.verdict.capitalize()}. {result.why}")
        if kept:
            click.echo(kept)
    return 1 if result.verdict == "find out why" else 0


def _keep(folder: str | None, job: str, letter: str, masses: list[float], turns: float, share: float, tare: float, division: float) -> str:
    """Keep it in the book, if one is named."""
    source = click.get_current_context().get_parameter_source("folder")
    if not folder or (source is click.core.ParameterSource.ENVIRONMENT and not (job or letter)):
        return ""  # a book named by the environment alone keeps nothing
    from evenstand.base.clock import SystemClock
    from evenstand.base.errors import MissingError
    from evenstand.book import Book
    from evenstand.desk.planning import plan_job
    from evenstand.desk.recording import record_catch
    from evenstand.model import Job

    if not job or not letter:
        raise MissingError("a job and a bin are needed to keep a catch", where="--job, --bin", cure="Give both, or leave --book out.")
    with Book.open(folder, write=True, who="command") as book:
        planned = {b.bin: b for b in plan_job(book, job).bins}
        if letter not in planned:
            raise MissingError(f"no bin '{letter}' in this job", where="--bin", cure=f"Bins: {', '.join(planned)}.")
        outfit = next(j.outfit for j in book.all(Job) if j.key == job)
        record_catch(
            book,
            outfit=outfit,
            bin=letter,
            product=planned[letter].product,
            masses_kg=masses,
            turns=turns,
            share=share,
            tare_kg=tare,
            scale_division_kg=division,
            clock=SystemClock(),
        )
    return f"Kept for bin {letter}."

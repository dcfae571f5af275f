"""`evenstand call`: the telephone."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenstand.base.errors import Fault, InputError, UnitError
from evenstand.base.units import Profile, read_quantity
from evenstand.cli.common import print_json, shared_options, units_of

if TYPE_CHECKING:
    from evenstand.check.calls import CallAnswer
    from evenstand.desk.calls import KeptCall

# option: (field of CallReadings, quantity, what to ask when prompting)
_NUMBERS = {
    "area_counter": ("area_counter_ha", "area", "Area counter since the job or fill began"),
    "boundary": ("boundary_ha", "area", "Field area from its outline"),
    "area_driven": ("driven_ha", "area", "Area really driven, width times distance"),
    "put": ("put_kg", "mass", "Put into the bin"),
    "before": ("before_kg", "mass", "In the bin before that"),
    "left": ("left_kg", "mass", "Left in the bin now"),
    "full": ("full_kg", "mass", "What the bin holds when full"),
    "rate": ("asked_kg_ha", "rate", "Rate asked for"),
    "rate_seen": ("seen_kg_ha", "rate", "Rate the display holds now"),
    "shown_mass": ("shown_kg", "mass", "Mass the display says was sown"),
    "weighed": ("weighed_kg", "mass", "Mass a scale says was sown"),
    "distance_shown": ("distance_shown_m", "distance", "Distance the display counted"),
    "distance_taped": ("distance_taped_m", "distance", "Distance by the tape"),
    "width_typed": ("width_typed_m", "width", "Width typed for the rate"),
    "width_taped": ("width_taped_m", "width", "Width by the tape"),
    "spacing": ("spacing_m", "spacing", "Row spacing"),
    "factor": ("factor_kg_turn", "factor", "Product per turn typed"),
    "catch": ("catch_kg_turn", "factor", "Product per turn caught"),
}  # fmt: skip
_ASKED = ("area_counter", "boundary", "rate", "rate_seen", "put", "left", "width_typed")


@click.command(name="call")
@click.option("--area-counter", default="", help="What the area counter reads, 63.4 ha.")
@click.option("--boundary", default="", help="The field's area from its outline, 62 ha.")
@click.option("--area-driven", default="", help="Area really driven, by width and distance.")
@click.option("--put", default="", help="Put into the bin, 4000 kg.")
@click.option(
    "--put-how",
    default="ticket",
    show_default=True,
    type=click.Choice(["ticket", "truck-scale", "pads", "cart-scale", "tote", "brim", "conveyor", "glance", "share"]),
    help="How that is known.",
)
@click.option("--before", default="", help="In the bin before that fill, if it was not empty.")
@click.option("--left", default="", help="Left in the bin now, 400 kg.")
@click.option(
    "--left-how", default="glance", show_default=True, type=click.Choice(["glance", "light", "weighed", "empty"]), help="How that is known."
)
@click.option("--full", default="", help="What the bin holds when full.")
@click.option("--rate", default="", help="Rate asked for, 120 kg/ha.")
@click.option("--rate-seen", default="", help="Rate the display holds now.")
@click.option("--shown-mass", default="", help="Mass the display says was sown.")
@click.option("--weighed", default="", help="The same mass by a scale.")
@click.option("--distance-shown", default="", help="Distance the display counted.")
@click.option("--distance-taped", default="", help="The same distance by a tape.")
@click.option("--width-typed", default="", help="Width typed for the rate, 16.3 m.")
@click.option("--width-taped", default="", help="Width by a tape.")
@click.option("--rows", type=int, default=None, help="Number of openers.")
@click.option("--spacing", default="", help="Row spacing, 254 mm.")
@click.option("--factor", default="", help="Product per turn that is typed, 1.25 kg/turn.")
@click.option("--catch", default="", help="Product per turn that was caught.")
@click.option("--dead-runs", default="", help="Runs that give nothing, 37 or 17-24.")
@click.option("--thin-stand", is_flag=True, help="The caller sees a thin stand.")
@click.option("--bin", "letter", default="A", show_default=True, help="Bin the caller speaks of.")
@click.option(
    "--product", "kind", default="seed", show_default=True, type=click.Choice(["seed", "fertilizer", "inoculant"]), help="What is in it."
)
@click.option("--ask", "prompt", is_flag=True, help="Ask for the usual readings one by one; an empty line is 'not known'.")
@click.option("--caller", default="", help="Who rang; kept with the call.")
@click.option("--note", default="", help="What else is to be said; kept with the call.")
@click.option("--keep", type=click.Path(path_type=Path, dir_okay=False), default=None, help="Keep the call as a file, to attach it later.")
@click.option("--attach", type=click.Path(path_type=Path, dir_okay=False), default=None, help="Put a call that was kept into a book.")
@click.option("--list", "listed", is_flag=True, help="The calls of a book, or of one of its jobs.")
@click.option("--job", default="", help="The job the call is about, where it goes into a book.")
@click.option("--outfit", default="", help="The outfit it is about, where no job is known.")
@click.option("--book", "folder", default=None, help="Folder of a book: the call is kept there.")
@shared_options
def command(
    put_how: str,
    left_how: str,
    rows: int | None,
    dead_runs: str,
    thin_stand: bool,
    letter: str,
    kind: str,
    prompt: bool,
    caller: str,
    note: str,
    keep: Path | None,
    attach: Path | None,
    listed: bool,
    job: str,
    outfit: str,
    folder: str | None,
    as_json: bool,
    profile: str | None,
    **said: Any,
) -> int:
    """The telephone: type what the caller reads, get the likely causes, the next reading to ask for and the words to say.

    \b
    evenstand call --area-counter 66 --boundary 62 --width-typed 16.0 --rows 64 --spacing 254mm
    evenstand call --rate 120 --rate-seen 134.5
    evenstand call --put 4000 --left 900 --left-how light --area-counter 29.6 --rate 121
    evenstand call --rate 120 --rate-seen 134.5 --caller "Kim" --keep kim.json
    evenstand call --attach kim.json --book our-farm --job home-wheat

    Exit code 1: something does not hold.
    """
    from evenstand.base.clock import SystemClock
    from evenstand.check.calls import CallReadings, answer_call
    from evenstand.desk.calls import keep_call, write_call

    units = units_of(profile, folder)
    if listed or attach is not None:
        return _in_book(folder, attach, listed, job, outfit, as_json)
    if prompt:
        _prompt(said, units)
    numbers = _read(said, units)
    call = CallReadings(
        **numbers, put_how=put_how, left_how=left_how, rows=rows, dead_runs=read_runs(dead_runs), thin_stand=thin_stand,
        bin=letter, kind=kind,
    )  # fmt: skip
    answer = answer_call(call, units)
    kept = keep_call(call, answer, caller=caller, note=note, clock=SystemClock())
    where = [str(write_call(kept, keep))] if keep is not None else []
    if folder:
        where.append(_attached(folder, kept, job, outfit))
    if as_json:
        print_json({**call_json(answer), "kept": where})
    else:
        for line in call_text(answer):
            click.echo(line)
        for place in where:
            click.echo(f"Kept: {place}")
    return 1 if any(f.state == "does-not-hold" for f in answer.findings) else 0


def _attached(folder: str, kept: KeptCall, job: str, outfit: str) -> str:
    """A call put into a book; says where it is."""
    from evenstand.desk.books import open_book
    from evenstand.desk.calls import attach_call

    with open_book(Path(folder), write=True) as book:
        made = attach_call(book, kept, job=job, outfit=outfit)
    return f"{made.key} in {folder}{f', job {made.job}' if made.job else f', outfit {made.outfit}' if made.outfit else ''}"


def _in_book(folder: str | None, attach: Path | None, listed: bool, job: str, outfit: str, as_json: bool) -> int:
    """A kept call into a book, or the calls of one."""
    from evenstand.base.errors import MissingError
    from evenstand.cli.common import plain, wrapped
    from evenstand.desk.books import open_book
    from evenstand.desk.calls import calls_of, read_call

    if not folder:
        raise MissingError("no book", where="--book", cure="Give the book's folder.")
    if attach is not None:
        where = _attached(folder, read_call(attach), job, outfit)
        if as_json:
            print_json({"kept": [where]})
        else:
            click.echo(f"Kept: {where}")
    if listed:
        with open_book(Path(folder)) as book:
            found = calls_of(book, job=job)
        if as_json:
            print_json({"calls": plain(found)})
            return 0
        for c in found:
            click.echo(f"{c.at[:16].replace('T', ' ')} {c.caller or 'somebody'}{f', {c.job}' if c.job else ''}")
            for text in (c.asked, c.advice, c.note):
                if text:
                    click.echo(wrapped(text))
        if not found:
            click.echo("No calls yet.")
    return 0


def _prompt(said: dict[str, Any], units: Profile) -> None:
    """Ask for what was not given; written to standard error, so that a pipe stays clean."""
    for name in _ASKED:
        if not said[name]:
            said[name] = click.prompt(_NUMBERS[name][2], default="", show_default=False, err=True)


def _read(said: dict[str, Any], units: Profile) -> dict[str, Any]:
    """Every text as a metric number; all faults at once."""
    numbers: dict[str, Any] = {}
    faults: list[Fault] = []
    for name, (field, quantity, _) in _NUMBERS.items():
        if not said[name]:
            continue
        option = f"--{name.replace('_', '-')}"
        try:
            value = read_quantity(said[name], quantity, units, where=option)
        except UnitError as error:
            faults += error.faults
            continue
        may_be_zero = name in ("left", "before", "shown_mass")
        if value < 0 or (value == 0 and not may_be_zero):
            faults.append(
                Fault(where=option, what=f"{said[name]} cannot be", limit="0 or more" if may_be_zero else "above 0", cure="Read it again.")
            )
        numbers[field] = value
    if faults:
        raise InputError(faults)
    return numbers


def read_runs(text: str) -> tuple[int, ...]:
    """Run numbers from '37', '17-24' or '3, 17-24'."""
    out: list[int] = []
    for part in filter(None, (p.strip() for p in text.replace(";", ",").split(","))):
        low, _, high = part.partition("-")
        if not low.strip().isdigit() or (high and not high.strip().isdigit()):
            raise InputError(f"'{part}' is no run number", where="--dead-runs", cure="Write 37, or 17-24.")
        out += range(int(low), int(high or low) + 1)
    return tuple(out)


def call_json(answer: CallAnswer) -> dict[str, Any]:
    """The answer as plain data."""
    from evenstand.cli.common import plain

    return {
        "ratios": [{"name": r.name, "off": r.off, "sd": r.sd, "slips": plain(r.slips)} for r in answer.ratios],
        "findings": plain(answer.findings),
        "likely": list(answer.likely),
        "ask": answer.ask,
        "say": list(answer.say),
        "never": list(answer.never),
    }


def call_text(answer: CallAnswer) -> list[str]:
    """The answer for a terminal at six in the morning: numbers, likely, ask, say."""
    from evenstand.check.calls import likely_text, ratio_text

    out: list[str] = []
    if answer.ratios:
        out += ["The numbers side by side", *(f"  {ratio_text(r)}" for r in answer.ratios), ""]
    if answer.likely:
        out += ["Likely, first things first", *(f"  {n}. {text}" for n, text in enumerate(likely_text(answer.likely), start=1)), ""]
    unsure = [f for f in answer.findings if f.state == "cannot-tell"]
    out += ["Say", *(bullet(text) for text in answer.say), ""]
    out += ["Ask next", bullet(answer.ask)]
    if answer.never:
        out += ["", "Do not say", *(bullet(text) for text in answer.never)]
    if unsure:
        out += ["", "Cannot be told yet", *(bullet(f.claim) for f in unsure)]
    return out


def bullet(text: str) -> str:
    """One item of a list, wrapped with a hanging indent."""
    import textwrap

    return textwrap.fill(text, width=92, initial_indent="  - ", subsequent_indent="    ")

"""`evenstand window`: the air, meter and speed windows."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from evenstand.base.units import Profile, restated, shown
from evenstand.cli.common import book_option, columns, job_of, print_json, shared_options, units_of, wrapped

if TYPE_CHECKING:
    from evenstand.desk.windows import MeterWindow, Windows
    from evenstand.machine import AirWindow

_SAID = ("crop", "rate", "width", "speed", "factor", "meter_range", "rows", "spacing", "fan", "also")


@click.command(name="window")
@click.argument("words", nargs=-1)
@click.option("--crop", default="", help="Crop.")
@click.option("--rate", default="", help="Rate, 120 kg/ha.")
@click.option("--also", multiple=True, help="Another product through the same air, urea=150.")
@click.option("--width", default="", help="Working width, 16.3 m.")
@click.option("--rows", default="", help="Number of openers.")
@click.option("--spacing", default="", help="Row spacing, 254 mm.")
@click.option("--speed", default="", help="Working speed, 7.5 km/h.")
@click.option("--factor", default="", help="Product per turn of the meter, 1.25 kg/turn, or A=1.25,B=1.18.")
@click.option("--meter-range", default="", help="Shaft speeds the meter doses evenly at, 4-60 rpm.")
@click.option("--fan", default="", help="Fan speed proven on this outfit, 4300 rpm.")
@click.option("--proven-rate", default="", help="All product through that air when it was proven, 196 kg/ha.")
@click.option("--proven-speed", default="", help="Ground speed of that day.")
@click.option("--proven-width", default="", help="Width of that day, if it was another.")
@click.option("--proven-product", default="", help="Seed that ran then, as wheat.")
@click.option("--proven-height", default="", help="Height above sea level then, 550 m.")
@click.option("--proven-temperature", default="", help="Air temperature then, 15 °C.")
@click.option("--proven-pressure", default="", help="Air pressure then, at the fan and not reduced to sea level, 94.5 kPa.")
@click.option("--height", default="", help="Height above sea level now.")
@click.option("--temperature", default="", help="Air temperature now.")
@click.option("--pressure", default="", help="Air pressure now, at the fan.")
@click.option("--humidity", default="", help="Relative humidity now, 60 %.")
@click.option("--proven-split", default="", help="Share of the fan's air this stream got then, 50 %.")
@click.option("--split", default="", help="Share it gets now.")
@click.option("--second-fan", default="", help="A second proven fan speed, at another load.")
@click.option("--second-rate", default="", help="All product through that air then, same ground speed and width.")
@click.option("--fan-set", default="", help="What the fan is set to now.")
@click.option("--fan-max", default="", help="Fastest speed its maker allows.")
@click.option("--steady", default="", help="Fan speed, tool down, no product; the set speed unless given.")
@click.option("--under-load", default="", help="Fan speed once product flows.")
@click.option("--at-lift", default="", help="Lowest fan speed while the tool is lifted.")
@click.option("--cold", is_flag=True, help="The oil was still cold.")
@click.option("--puff", default="", help="Puff test: seconds until the last opener blew.")
@click.option("--silent", default="", help="Puff test: openers that never blew.")
@click.option("--lines", type=int, default=None, help="Lines of this air, for the published opinions on one of them.")
@click.option("--bore", default="", help="Inside diameter of a line, 64 mm.")
@click.option("--grain", default="", help="Diameter of the grain, 4 mm.")
@click.option("--grain-density", default="", help="Density of the grain itself, 1350 kg/m³.")
@click.option("--job", default="", help="A job of the book instead of typed values.")
@book_option
@shared_options
def command(
    words: tuple[str, ...],
    proven_product: str,
    cold: bool,
    lines: int | None,
    job: str,
    folder: str | None,
    as_json: bool,
    profile: str | None,
    **said: Any,
) -> int:
    """Fan, meter and ground speed: what to set, within which limits, and what that rests on.

    \b
    evenstand window wheat --rate 121 --also map=75 --speed 7.6 --width 16.256 --factor A=1.25,B=1.52 --meter-range "4-60 rpm" \\
        --fan 4300 --proven-rate 196 --proven-speed 7.6 --proven-height 300 --proven-temperature 10 --height 1000 --temperature 25
    evenstand window --fan-set 4300 --under-load 4150 --at-lift 3500
    evenstand window --book FOLDER --job JOB

    Without a fan speed proven on the outfit there is no number: it says how to prove one. Exit code 1 if something does not hold.
    """
    from evenstand.desk.planning import Said
    from evenstand.desk.windows import AIR_FIELDS, AirSaid, job_windows, typed_windows

    units = units_of(profile, folder)
    plain_said = {name: said[name] for name in _SAID}
    numbers = {name: text for name, text in said.items() if name in AIR_FIELDS}
    air = AirSaid(proven_product=proven_product, numbers=numbers, lines=lines, cold=cold)
    if job or (folder and not words and not any(plain_said.values())):
        from evenstand.base.errors import MissingError
        from evenstand.book import Book

        if not folder:
            raise MissingError("a book and a job go together", where="--book, --job", cure="Give both.")
        with Book.open(folder) as book:
            windows = job_windows(book, job_of(book, job), air, units)
    else:
        windows = typed_windows(Said(words=words, **plain_said), air, units)
    if as_json:
        print_json(windows)
    else:
        click.echo("\n".join(window_text(windows, units)))
    return 1 if windows.state == "does-not-hold" else 0


def window_text(windows: Windows, units: Profile) -> list[str]:
    """The windows as lines for a terminal."""
    out = ["Fan", *_fan_text(windows.fan, units), ""]
    if windows.readings:
        out += ["Readings at the fan"]
        for finding in windows.readings:
            out.append(wrapped(f"{_STATES[finding.state]}: {finding.claim} {finding.settle_by}".rstrip(), bullet="- "))
        out.append("")
    if windows.meters:
        out += ["Meters"]
        for meter in windows.meters:
            out += _meter_text(meter, units)
        out += ["", "Ground speed", wrapped(windows.speed_claim), ""]
    if windows.opinions:
        out += ["Published opinions on drop-out in one line: weak, no setting"]
        out += columns([(o.method, shown(o.speed_m_s, "air_speed", units), restated(o.warning, units)) for o in windows.opinions])
        out.append("")
    return out[:-1]


_STATES = {"holds": "Holds", "doubtful": "Doubtful", "does-not-hold": "Does not hold", "cannot-tell": "Cannot tell"}


def _fan_text(fan: AirWindow, units: Profile) -> list[str]:
    """Setting, limits, what mattered, what is missing and what is published."""
    out = [wrapped(fan.claim if fan.state == "cannot-tell" else f"{_STATES[fan.state]}: {fan.claim}")]
    if fan.rev_s is not None:
        span = f"{shown(fan.low_rev_s, 'fan', units)} to {shown(fan.high_rev_s, 'fan', units)} by rule"
        rows: list[tuple[str, ...]] = [
            ("Set" if fan.state == "holds" else "About", shown(fan.rev_s, "fan", units), span),
            ("Alarm, low", shown(fan.alarm_low_rev_s, "fan", units), "common practice"),
            ("Alarm, high", shown(fan.alarm_high_rev_s, "fan", units), "common practice"),
        ]
        rows += [
            (f"{i.name.capitalize()} {i.ratio:.2f} times", f"{i.factor - 1:+.1%}", f"{i.slope:+.2f} % a per cent") for i in fan.mattered
        ]
        out += columns(rows)
        out.append(wrapped(f"{fan.working[0]} = {fan.working[1]} = {fan.working[2]}", bullet="= "))
    out += [wrapped(f"needs {text}", bullet="- ") for text in fan.missing]
    band = () if fan.band is None else (fan.band.text,)
    return out + [wrapped(restated(text, units), bullet="- ") for text in (*fan.notes, *band)]


def _meter_text(meter: MeterWindow, units: Profile) -> list[str]:
    """One bin: its verdict, its shaft, and the rates it doses evenly at this speed."""
    parts = [f"{shown(meter.rate_kg_ha, 'rate', units)}"]
    if meter.shaft_turns_s is not None:
        parts.append(f"shaft {shown(meter.shaft_turns_s, 'shaft', units)}")
    if meter.rate_low_kg_ha is not None and meter.rate_high_kg_ha is not None:
        parts.append(
            f"even from {shown(meter.rate_low_kg_ha, 'rate', units)} to {shown(meter.rate_high_kg_ha, 'rate', units)} at this speed"
        )
    word = "" if meter.state == "cannot-tell" else f"{_STATES[meter.state]}: "
    return [wrapped(f"{meter.bin}  {meter.product}: {', '.join(parts)}."), wrapped(f"{word}{meter.claim}", indent="      ")]

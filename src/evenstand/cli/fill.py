"""`evenstand fill`: the fill check."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from evenstand.base.errors import Fault, InputError, MissingError, UnitError
from evenstand.base.units import Profile, read_quantity, rounded, shown
from evenstand.cli.common import plain, print_json, shared_options, units_of, wrapped

if TYPE_CHECKING:
    from evenstand.check import FillSeries
    from evenstand.model import Finding

_PUT_HOW = ("ticket", "truck-scale", "pads", "cart-scale", "tote", "brim", "conveyor", "glance", "share")
_LEFT_HOW = ("glance", "light", "weighed", "empty")
_MISSING = {
    "dose": "Give the rate asked for, such as --dose 121.",
    "area": "Give the hectares since the fill, such as --area 29.6.",
    "put": "Give what went in, such as --put 4000.",
    "left": "Give what is left in the bin, such as --left 400.",
}
_FIELD_OVERLAP = "1-4 %"


@click.command(name="fill")
@click.option("--area", default="", help="Hectares since the fill, 29.6 ha.")
@click.option(
    "--area-from",
    default="counter",
    show_default=True,
    type=click.Choice(["counter", "field"]),
    help="The counter counts ground sown twice; a field's outline does not.",
)
@click.option("--put", default="", help="Put in, 4000 kg.")
@click.option("--put-how", default="ticket", show_default=True, type=click.Choice(_PUT_HOW), help="How that is known.")
@click.option("--left", default="", help="In the bin now, 400 kg.")
@click.option("--left-how", default="glance", show_default=True, type=click.Choice(_LEFT_HOW), help="How that is known.")
@click.option("--dose", default="", help="Dose as proven, else the rate asked, 121 kg/ha.")
@click.option("--dose-sd", default="2 %", show_default=True, help="How well the dose is known, one standard deviation.")
@click.option("--before", default="0 kg", show_default=True, help="In the bin before the fill.")
@click.option("--full", default="", help="What the bin holds when full, for a glance.")
@click.option("--put-sd", default="", help="Standard deviation of what went in, if you know it better.")
@click.option("--left-sd", default="", help="Standard deviation of the level, if you know it better.")
@click.option("--overlap", default="", help=f"Ground sown twice, for --area-from field, {_FIELD_OVERLAP} unless given.")
@click.option(
    "--fill", "more", multiple=True, help="Several fills: 'AREA; PUT; LEFT' each, the last with a level; '-' where nobody looked."
)
@click.option("--bin", "letter", default="", help="Letter of the bin, for the sentence.")
@click.option("--product", default="", help="Name of the product, for the sentence.")
@shared_options
def command(as_json: bool, profile: str | None, more: tuple[str, ...], area_from: str, **said: Any) -> int:
    """Fill check: hectares since the fill, what went in, what is left, in one sentence with its band.

    \b
    evenstand fill --area 29.6 --put 4000 --left 400 --left-how light --dose 121
    evenstand fill --dose 121 --fill "29 ha; 4000 kg; -" --fill "31 ha; 4000 kg; 450 kg" --left-how light
    """
    from evenstand.check import fill_check, fill_series

    units = units_of(profile)
    reader = _Reader(said, units)
    dose, dose_sd, before = reader.number("dose", "rate"), reader.number("dose_sd", "share"), reader.number("before", "mass")
    full = reader.number("full", "mass", needed=False)
    overlap = _overlap(said["overlap"], area_from)
    words = {"bin": said["letter"], "product": said["product"], "profile": units}
    if more:
        fills = [_several(text, reader, said, full, last=i == len(more) - 1) for i, text in enumerate(more)]
        reader.stop()
        series = fill_series(fills, dose, level_before_kg=before, dose_sd=dose_sd, overlap=overlap, **words)
        _print(series.finding, series, as_json, units)
        return 1 if series.finding.state == "does-not-hold" else 0
    area, put, left = reader.number("area", "area"), reader.number("put", "mass"), reader.number("left", "mass")
    put_sd, left_sd = reader.number("put_sd", "mass", needed=False), reader.number("left_sd", "mass", needed=False)
    reader.stop()
    put_sd = put_sd if put_sd is not None else _put_sd(said["put_how"], put, full)
    finding = fill_check(
        area,
        put,
        left,
        dose,
        level_before_kg=before,
        put_sd_kg=put_sd,
        level_sd_kg=left_sd if left_sd is not None else level_sd(said["left_how"], left, full or before + put),
        dose_sd=dose_sd,
        overlap=overlap,
        **words,
    )
    _print(finding, None, as_json, units)
    return 1 if finding.state == "does-not-hold" else 0


class _Reader:
    """Reads options, gathers every fault, and stops once."""

    def __init__(self, said: dict[str, Any], units: Profile) -> None:
        self.said, self.units = said, units
        self.faults: list[Fault] = []

    def number(self, name: str, quantity: str, *, needed: bool = True) -> Any:
        """The option as a metric number; a stand-in 0 where it is missing, until `stop`."""
        option, text = f"--{name.replace('_', '-')}", self.said[name]
        if not text:
            if needed:
                self.faults.append(Fault(where=option, what="is missing", cure=_MISSING.get(name, f"Give {option}.")))
            return 0.0 if needed else None
        return self.value(text, quantity, option)

    def value(self, text: str, quantity: str, where: str) -> float:
        """A text as a metric number."""
        try:
            value = read_quantity(text, quantity, self.units, where=where)
            if value < 0 or (value == 0 and quantity in ("area", "rate")):
                limit = "above 0" if quantity in ("area", "rate") else "0 or more"
                self.faults.append(Fault(where=where, what=f"{text} cannot be", limit=limit, cure="Read it again."))
            return value
        except UnitError as error:
            self.faults += error.faults
            return 0.0

    def stop(self) -> None:
        """Raise if anything was wrong."""
        if self.faults:
            missing = all(f.what == "is missing" for f in self.faults)
            raise MissingError(self.faults) if missing else InputError(self.faults)


def _put_sd(how: str, put_kg: float, full_kg: float | None) -> float:
    from evenstand.reference.practice import fill_sd

    return fill_sd(how, put_kg, bin_full_kg=full_kg)


def level_sd(how: str, level_kg: float, full_kg: float) -> float:
    """How well a level is known by the way it was seen. [kg]"""
    from evenstand.check.calls import level_spread

    return level_spread(how, level_kg, full_kg)


def _overlap(text: str, area_from: str) -> tuple[float, float]:
    if area_from == "counter" and not text:
        return 0.0, 0.0
    parts = (text or _FIELD_OVERLAP).replace("%", "").replace("to", "-").split("-")
    try:
        values = [float(p.strip().replace(",", ".")) / 100 for p in parts]
    except ValueError:
        raise InputError(f"'{text}' is no band", where="--overlap", cure="Write 1-4 %.") from None
    return (0.0, values[0]) if len(values) == 1 else (values[0], values[1])


def _several(text: str, reader: _Reader, said: dict[str, Any], full: float | None, *, last: bool) -> Any:
    """One fill out of 'AREA; PUT; LEFT'."""
    from evenstand.check import FillTaken

    parts = [p.strip() for p in text.split(";")]
    if len(parts) == 2:
        parts.append("-")
    if len(parts) != 3:
        raise InputError(f"'{text}' is not AREA; PUT; LEFT", where="--fill", cure="Write '29 ha; 4000 kg; 400 kg'.")
    area, put = reader.value(parts[0], "area", "--fill, area"), reader.value(parts[1], "mass", "--fill, put")
    left = None if parts[2] in ("-", "") else reader.value(parts[2], "mass", "--fill, left")
    how = said["left_how"] if last else "glance"
    return FillTaken(
        area_ha=area,
        put_kg=put,
        put_sd_kg=_put_sd(said["put_how"], put, full),
        level_kg=left,
        level_sd_kg=None if left is None else level_sd(how, left, full or put),
    )


def _print(finding: Finding, series: FillSeries | None, as_json: bool, units: Profile) -> None:
    if as_json:
        print_json({"finding": plain(finding), "series": None if series is None else plain(series)})
        return
    for line in fill_text(finding, series, units):
        click.echo(line)


def fill_text(finding: Finding, series: FillSeries | None, units: Profile) -> list[str]:
    """The sentence first, then what it rests on."""
    out = [wrapped(finding.claim, indent=""), "", *(f"  {line}" for line in finding.evidence)]
    if series is not None:
        out += [
            f"  in all {shown(series.used_kg, 'mass', units)} used, {shown(series.expected_kg, 'mass', units)} asked for",
            f"  {more_text(series)}",
        ]
        if series.odd is not None:
            out.append(f"  fill {series.odd} differs by about one load while the others agree: is one missing or doubled?")
    if finding.suspects:
        from evenstand.check.calls import likely_text

        out += ["", "It may be", *(f"  {n}. {t}" for n, t in enumerate(likely_text(finding.suspects[0]), start=1))]
    if finding.settle_by:
        out += ["", wrapped(f"What would settle it: {finding.settle_by}.", indent="")]
    if finding.not_claimed:
        out += [wrapped(f"Not said: {finding.not_claimed}", indent="")]
    return out


def more_text(series: FillSeries) -> str:
    """How far the running total is from seeing 2 %."""
    now = f"known to ± {rounded(100 * series.sd, 1)} % (1 sd)"
    if series.more_fills is None:
        return f"{now}; fills alone will never show 2 %: the dose itself is not known well enough, catch again"
    if series.more_fills == 0:
        return f"{now}: an error of 2 % would show"
    return f"{now}: {series.more_fills} more such fill{'s' if series.more_fills > 1 else ''} until an error of 2 % would show"

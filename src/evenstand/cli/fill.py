"""`evenstand fill`: the fill check."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from evenstand.base.errors import Fault, InputError, MissingError, UnitError
from evenstand.base.units import Profile, read_quantity, shown
from evenstand.cli.common import book_option, job_of, plain, print_json, shared_options, units_of, wrapped

if TYPE_CHECKING:
    from evenstand.check import FillSeries
    from evenstand.desk.filling import Total
    from evenstand.model import Finding

_PUT_HOW = ("ticket", "truck-scale", "pads", "cart-scale", "tote", "brim", "conveyor", "glance", "share")
_LEFT_HOW = ("glance", "light", "weighed", "empty")
_LOOKS = ("light", "empty", "quarter", "half", "three-quarters")
_MISSING = {
    "dose": "Give the rate asked for, such as --dose 121.",
    "area": "Give the hectares since the fill, such as --area 29.6.",
    "put": "Give what went in, such as --put 4000.",
    "delivery": "Give what the conveyor delivers in a minute, such as --delivery 300.",
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
@click.option("--minutes", default="", help="Minutes the conveyor ran, instead of --put.")
@click.option("--delivery", default="", help="What the conveyor delivers, 300 kg/min; with a job: as learned unless given.")
@click.option("--light-at", default="", help="Counter when the low-level light came on; with a job, instead of --area and --looks.")
@click.option("--before", default="0 kg", show_default=True, help="In the bin before the fill.")
@click.option("--full", default="", help="What the bin holds when full, for a glance.")
@click.option("--put-sd", default="", help="Standard deviation of what went in, if you know it better.")
@click.option("--left-sd", default="", help="Standard deviation of the level, if you know it better.")
@click.option("--overlap", default="", help=f"Ground sown twice, for --area-from field, {_FIELD_OVERLAP} unless given.")
@click.option(
    "--fill", "more", multiple=True, help="Several fills: 'AREA; PUT; LEFT' each, the last with a level; '-' where nobody looked."
)
@click.option("--bin", "letter", default="", help="Letter of the bin; two letters, A+C, for bins of one product together.")
@click.option("--product", default="", help="Name of the product, for the sentence.")
@click.option("--counter", default="", help="What the area counter shows now; with a job, instead of --area.")
@click.option("--looks", default="", type=click.Choice(["", *_LOOKS]), help="What the bin looks like; with a job, instead of --left.")
@click.option("--job", default="", help="Job of the book: what it knows of the bin need not be typed.")
@book_option
@shared_options
def command(
    as_json: bool, profile: str | None, more: tuple[str, ...], area_from: str, counter: str, looks: str, job: str, folder: str | None,
    **said: Any,
) -> int:  # fmt: skip
    """Fill check: hectares since the fill, what went in, what is left, in one sentence with its band.

    \b
    evenstand fill --area 29.6 --put 4000 --left 400 --left-how light --dose 121
    evenstand fill --dose 121 --fill "29 ha; 4000 kg; -" --fill "31 ha; 4000 kg; 450 kg" --left-how light
    evenstand fill --book our-farm --job home-wheat --bin D --area 29.6 --looks light
    """
    from evenstand.check import FillTaken, fill_check, fill_series
    from evenstand.desk.filling import total_of

    units = units_of(profile, folder)
    if job:
        return _of_book(folder, job, counter, looks, area_from, said, units, as_json, more)
    reader = _Reader(said, units)
    dose, dose_sd, before = reader.number("dose", "rate"), reader.number("dose_sd", "share"), reader.number("before", "mass")
    full = reader.number("full", "mass", needed=False)
    overlap = _overlap(said["overlap"], area_from)
    words = {"bin": said["letter"], "product": said["product"], "profile": units}
    if more:
        fills = [_several(text, reader, said, full, last=i == len(more) - 1) for i, text in enumerate(more)]
        reader.stop()
        series = fill_series(fills, dose, level_before_kg=before, dose_sd=dose_sd, overlap=overlap, **words)
        _print(series.finding, series, as_json, units, total_of(fills, dose, before_kg=before, overlap=overlap, finding=series.finding))
        return 1 if series.finding.state == "does-not-hold" else 0
    if said["light_at"]:
        raise InputError(
            "the counter alone tells no area", where="--light-at", cure="Give --job and --bin, or --area and --left-how light."
        )
    area, (put, conveyed_sd), left = reader.number("area", "area"), _put(reader), reader.number("left", "mass")
    put_sd, left_sd = reader.number("put_sd", "mass", needed=False), reader.number("left_sd", "mass", needed=False)
    reader.stop()
    how = said["put_how"] if conveyed_sd is None else "conveyor"
    put_sd = put_sd if put_sd is not None else conveyed_sd if conveyed_sd is not None else _put_sd(how, put, full)
    left_sd = left_sd if left_sd is not None else level_sd(said["left_how"], left, full or before + put)
    finding = fill_check(
        area,
        put,
        left,
        dose,
        level_before_kg=before,
        put_sd_kg=put_sd,
        level_sd_kg=left_sd,
        dose_sd=dose_sd,
        overlap=overlap,
        **words,
    )
    one = [FillTaken(area_ha=area, put_kg=put, put_sd_kg=put_sd, level_kg=left, level_sd_kg=left_sd, how=how)]
    _print(finding, None, as_json, units, total_of(one, dose, before_kg=before, overlap=overlap, finding=finding))
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

    def seconds(self) -> float | None:
        """--minutes as seconds."""
        from evenstand.desk.fill_sources import read_minutes

        try:
            return read_minutes(self.said["minutes"], where="--minutes")
        except UnitError as error:
            self.faults += error.faults
            return None

    def stop(self) -> None:
        """Raise if anything was wrong."""
        if self.faults:
            missing = all(f.what == "is missing" for f in self.faults)
            raise MissingError(self.faults) if missing else InputError(self.faults)


def _put(reader: _Reader) -> tuple[Any, float | None]:
    """What went in, and how well it is known where that came from the conveyor's time."""
    from evenstand.base.estimate import Est
    from evenstand.tally import conveyor_mass

    if reader.said["put"] or not reader.said["minutes"]:
        return reader.number("put", "mass"), None
    ran_s, delivery = reader.seconds(), reader.number("delivery", "mass_flow")
    if reader.faults or ran_s is None:
        return 0.0, None
    found = conveyor_mass(ran_s, Est(value=delivery, basis="typed", source="typed"))
    return found.value, found.sd


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
        how=said["put_how"],
    )


def _of_book(
    folder: str | None, job: str, counter: str, looks: str, area_from: str, said: dict[str, Any], units: Profile, as_json: bool,
    more: tuple[str, ...],
) -> int:  # fmt: skip
    """The check of a bin of the book; what is typed comes before what is on record, and nothing is kept."""
    from evenstand.book import Book
    from evenstand.desk.fill_bins import bin_now
    from evenstand.desk.filling import FillSaid, answer_fill

    if not folder or more or not said["letter"]:
        cure = "Give --book, --job and --bin, and one fill at a time." if not more else "Leave --fill out: the book knows the fills."
        raise InputError("a job, its book and a bin go together", where="--job", cure=cure)
    reader = _Reader(said | {"counter": counter}, units)
    numbers = {
        name: reader.number(name, quantity, needed=False)
        for name, quantity in (
            ("area", "area"),
            ("counter", "area"),
            ("put", "mass"),
            ("left", "mass"),
            ("dose", "rate"),
            ("light_at", "area"),
            ("delivery", "mass_flow"),
        )
    }
    ran_s = reader.seconds()
    typed = click.get_current_context().get_parameter_source
    given = click.core.ParameterSource.COMMANDLINE
    before = reader.number("before", "mass", needed=False) if typed("before") == given else None
    reader.stop()
    with Book.open(folder) as book:
        now = bin_now(book, f"{job_of(book, job)}|{said['letter']}")
    answer = answer_fill(
        now,
        FillSaid(
            area_ha=numbers["area"], counter_ha=numbers["counter"], put_kg=numbers["put"], left_kg=numbers["left"],
            put_how=said["put_how"] if typed("put_how") == given else "", before_kg=before, look=looks, left_how=said["left_how"],
            dose_kg_ha=numbers["dose"], new_ground_only=area_from == "field",
            light_at_ha=numbers["light_at"], ran_s=ran_s, delivery_kg_s=numbers["delivery"],
        ),
        profile=units,
    )  # fmt: skip
    _print(answer.finding, None, as_json, units, answer.total, answer.taken)
    return 1 if answer.finding.state == "does-not-hold" else 0


def _print(finding: Finding, series: FillSeries | None, as_json: bool, units: Profile, total: Total, taken: tuple[str, ...] = ()) -> None:
    from evenstand.desk.filling import total_text

    text = total_text(total)
    if as_json:
        told = {"fills": total.fills, "change": total.change, "sd": total.sd, "more": total.more, "text": text, "taken": list(taken)}
        print_json({"finding": plain(finding), "series": None if series is None else plain(series), "total": told})
        return
    lines = fill_text(finding, series, units)
    first = lines.index("")
    for line in [*lines[: first + 1], *(wrapped(t) for t in taken), *lines[first + 1 :], "", wrapped(text, indent="")]:
        click.echo(line)


def fill_text(finding: Finding, series: FillSeries | None, units: Profile) -> list[str]:
    """The sentence first, then what it rests on."""
    out = [wrapped(finding.claim, indent=""), "", *(f"  {line}" for line in finding.evidence)]
    if series is not None:
        out += [
            f"  in all {shown(series.used_kg, 'mass', units)} used, {shown(series.expected_kg, 'mass', units)} asked for",
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

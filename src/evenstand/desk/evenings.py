"""What an evening asks in the shed: how much seed to treat, and which bins to empty before a humid night."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from evenstand.agronomy import Keeping, TreatClock, TreatTonight, bins_overnight, critical_humidity, plant_before, treat_tonight
from evenstand.agronomy.salts import reference_key
from evenstand.base.errors import InputError, MissingError, UnitError, require_range
from evenstand.base.estimate import Est
from evenstand.desk.planning import job_inputs
from evenstand.expect import plan_for
from evenstand.model import Job, Outfit, Product
from evenstand.reference import default, source, sources, table

if TYPE_CHECKING:
    from evenstand.book import Book
    from evenstand.expect import PlanInputs
    from evenstand.model import Lot, Plan

MOST_HOURS = 96  # of one forecast
MOST_LABEL_H = 9000.0  # a year and a little: longer is a slip of the finger


@dataclass(frozen=True, slots=True, kw_only=True)
class TreatSaid:
    """What was typed for a night's treating; None is not typed, and the job tells it where it can.

    area_ha still to sow, area_sd_ha how far off that may be [ha]; rate_kg_ha of treated seed, rate_sd_kg_ha [kg/ha]; overlap_low,
    overlap_high [-]; treated_kg already and not yet sown, treated_sd_kg [kg]; batch_kg: seed in one batch [kg]; cost_stop: of running
    short once [money]; cost_short_kg, cost_left_kg [money/kg]; chance_short: largest chance of running short [-]; most_left_kg: cap on
    what may be left [kg]; treated_at: ISO moment of what is treated already, label_hours: until it must be sown [h].
    """

    job: str
    area_ha: float
    area_sd_ha: float = 0.0
    rate_kg_ha: float | None = None
    rate_sd_kg_ha: float | None = None
    overlap_low: float | None = None
    overlap_high: float | None = None
    treated_kg: float = 0.0
    treated_sd_kg: float = 0.0
    batch_kg: float | None = None
    cost_stop: float | None = None
    cost_short_kg: float | None = None
    cost_left_kg: float | None = None
    chance_short: float | None = None
    most_left_kg: float | None = None
    treated_at: str = ""
    label_hours: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TreatAnswer:
    """How much to treat. seed: its name; area, rate [ha, kg/ha] and overlap [-] as reckoned with, treated [kg]; choice;
    without_cap: what it would be if the cap did not hold it down, None where it does not; label_hours: the clocks go by [h]; clock_now:
    of what is treated already, clock_tonight: of what is treated tonight, None where nothing is there to be timed; told: what the job
    told, in words; label: whose hours they are, "" as typed now."""

    seed: str
    area: Est
    rate: Est
    overlap: tuple[float, float]
    treated: Est
    choice: TreatTonight
    without_cap: TreatTonight | None
    label_hours: float | None
    clock_now: TreatClock | None
    clock_tonight: TreatClock | None
    told: tuple[str, ...]
    label: str


def treat_for_job(book: Book, said: TreatSaid, *, now: str) -> TreatAnswer:
    """How much of a job's seed to treat tonight, and until when it must be sown.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    said : TreatSaid
        What was typed. [see the class]
    now : str
        ISO moment. [-]

    Returns
    -------
    TreatAnswer
        Nothing is stored. [metric]

    Raises
    ------
    MissingError
        If the job sows no seed, or nothing says how bad running short is.
    RangeError
        If a number is outside its range.
    InputError
        If the moment of treating is not understood.
    """
    if said.label_hours is not None:
        require_range("label_hours", said.label_hours, 0, MOST_LABEL_H, unit="h")
    inputs = job_inputs(book, said.job)
    seed = next((a for a in inputs.job.asks if a.product not in inputs.products or inputs.products[a.product].kind == "seed"), None)
    if seed is None:
        raise MissingError("no seed is asked for on this job", where="job", cure="Choose another job.")
    plan, lot = plan_for(inputs), inputs.lots.get(seed.product)
    rate, told = _rate(said, plan, seed.product, seed.rate_kg_ha)
    low, high = (inputs.outfit.overlap_low, inputs.outfit.overlap_high) if inputs.outfit else (0.0, 0.0)
    overlap = (low if said.overlap_low is None else said.overlap_low, high if said.overlap_high is None else said.overlap_high)
    area, treated = Est(value=said.area_ha, sd=said.area_sd_ha), Est(value=said.treated_kg, sd=said.treated_sd_kg)

    def choose(cap_kg: float | None) -> TreatTonight:
        return treat_tonight(
            area,
            rate,
            overlap=overlap,
            treated_kg=treated,
            batch_kg=said.batch_kg,
            cost_stop=said.cost_stop,
            cost_short_kg=said.cost_short_kg,
            cost_left_kg=said.cost_left_kg,
            chance_short=said.chance_short,
            most_left_kg=cap_kg,
        )

    choice, free = choose(said.most_left_kg), None
    if said.most_left_kg is not None:
        free = choose(None)
        free = free if free.choice.treat_kg > choice.choice.treat_kg else None
    clock_now, clock_tonight, hours, label = _clocks(said, inputs, plan, lot, rate.value, choice, now)
    return TreatAnswer(
        seed=inputs.products[seed.product].name if seed.product in inputs.products else seed.product,
        area=area,
        rate=rate,
        overlap=overlap,
        treated=treated,
        choice=choice,
        without_cap=free,
        label_hours=hours,
        clock_now=clock_now,
        clock_tonight=clock_tonight,
        told=told,
        label=label,
    )


def _rate(said: TreatSaid, plan: Plan, product: str, asked_kg_ha: float) -> tuple[Est, tuple[str, ...]]:
    """Rate with its spread, typed or as the job and its catches have it. [kg/ha]"""
    value = asked_kg_ha if said.rate_kg_ha is None else said.rate_kg_ha
    if said.rate_sd_kg_ha is not None:
        return Est(value=value, sd=said.rate_sd_kg_ha), ()
    known = [b.factor_kg_turn.relative_sd for b in plan.bins if b.product == product and b.factor_kg_turn is not None]
    if known:
        return Est(value=value, sd=max(known) * value), (f"How sure the rate is: {max(known):.1%}, as product per turn is known",)
    share = default("factor-between-lots").high
    return Est(value=value, sd=share * value), (f"How sure the rate is: {share:.0%}, common practice without a catch",)


def _clocks(
    said: TreatSaid, inputs: PlanInputs, plan: Plan, lot: Lot | None, rate_kg_ha: float, choice: TreatTonight, now: str
) -> tuple[TreatClock | None, TreatClock | None, float | None, str]:
    """The label's clock for what is treated already and for what is treated tonight."""
    hours = said.label_hours if said.label_hours is not None else (lot.sow_within_h if lot else None)
    begun = said.treated_at or (lot.treated_at if lot else "")
    label = f", as typed with lot “{lot.label or lot.key}”" if said.label_hours is None and lot is not None else ""
    share = inputs.job.day_hours / 24 if inputs.job.day_hours else None
    here = _moment(now, "now")

    def clock(at: str, kg: float) -> TreatClock | None:
        if hours is None or kg <= 0:
            return None
        begun_at = _moment(at, "treated_at")
        if begun_at > here:
            raise InputError(f"{at} is still to come", where="treated_at", cure="Type when it was treated.")
        return plant_before(
            begun_at.isoformat(),
            here.isoformat(),
            hours,
            left_kg=kg,
            rate_kg_ha=rate_kg_ha,
            capacity_ha_h=plan.low_ha_h,
            working_share=share,
        )

    return clock(begun, said.treated_kg) if begun else None, clock(now, said.treated_kg + choice.choice.treat_kg), hours, label


def _moment(text: str, where: str) -> datetime:
    """An ISO day or moment; without a zone it is this machine's own time."""
    try:
        found = datetime.fromisoformat(text.strip().replace("Z", "+00:00"))
        return (found if found.tzinfo is not None else found.astimezone()).astimezone(UTC)
    except (ValueError, OverflowError, OSError):
        raise InputError(f"'{text}' is no day or time", where=where, cure="Write 2027-05-09 or 2027-05-09 21:00.") from None


@dataclass(frozen=True, slots=True, kw_only=True)
class NightBins:
    """What lies in the bins of an outfit tonight. outfit, name; bins: letter -> product keys, as the jobs have them."""

    outfit: str
    name: str
    bins: Mapping[str, tuple[str, ...]]
    labels: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class NightSaid:
    """What was typed for a night. humidity: forecast, one value or one an hour [-]; temperature_c: the same [°C]; bins: (outfit, letter)
    -> product keys; own: critical humidity by product key, from the supplier [-]; first_hour: of the forecast, on the clock [h]."""

    humidity: tuple[float, ...]
    bins: Mapping[tuple[str, str], tuple[str, ...]]
    temperature_c: tuple[float, ...] = ()
    own: Mapping[str, float] = field(default_factory=dict)
    first_hour: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NightBin:
    """One bin tonight. outfit, bin; products: names; keeping; sentence, note: with publishers in place of source keys; source: in words;
    from_hour: clock hour from which it is above, None without a first hour or where it never is [h]."""

    outfit: str
    bin: str
    products: tuple[str, ...]
    keeping: Keeping
    sentence: str
    note: str
    source: str
    from_hour: int | None


def bins_of_night(book: Book) -> tuple[NightBins, ...]:
    """All outfits with what the job to be finished first puts into each bin.

    Parameters
    ----------
    book : Book
        Open for reading. [-]

    Returns
    -------
    tuple of NightBins
        Fertilizers only: of seed no critical humidity is held. [-]
    """
    products = {p.key: p for p in book.all(Product)}
    jobs = sorted(book.all(Job), key=lambda j: (j.finish_by or "9999", j.key))
    out = []
    for outfit in book.all(Outfit):
        held: dict[str, tuple[str, ...]] = {}
        for job in jobs:
            for ask in job.asks if job.outfit == outfit.key else ():
                if ask.product in products and products[ask.product].kind == "fertilizer":
                    for letter in ask.bins:
                        held.setdefault(letter, (ask.product,))
        letters = {b.letter: held.get(b.letter, ()) for b in outfit.bins}
        out.append(NightBins(outfit=outfit.key, name=outfit.name, bins=letters, labels={b.letter: b.label for b in outfit.bins}))
    return tuple(out)


def bins_to_empty(book: Book, said: NightSaid) -> tuple[NightBin, ...]:
    """Bins against the humidity of the night, those to empty first.

    Parameters
    ----------
    book : Book
        Open for reading. [-]
    said : NightSaid
        What was typed. [see the class]

    Returns
    -------
    tuple of NightBin
        Empty bins are left out. [-]

    Raises
    ------
    InputError
        If the forecast is longer than a forecast is.
    RangeError
        If a humidity or temperature is outside its range.
    """
    if len(said.humidity) > MOST_HOURS:
        raise InputError(f"{len(said.humidity)} hours", where="humidity", limit=f"at most {MOST_HOURS}", cure="Type tonight's hours only.")
    products = {p.key: p for p in book.all(Product)}
    keys = {f"{outfit}\n{letter}": tuple(_table_key(products, p) for p in held) for (outfit, letter), held in said.bins.items() if held}
    own = {_table_key(products, p): value for p, value in said.own.items()}
    one = said.humidity[0] if len(said.humidity) == 1 else said.humidity or None
    told = bins_overnight(keys, one, temperature_c=said.temperature_c or None, own_critical=own)
    out = []
    for key, keeping in told:
        outfit, _, letter = key.partition("\n")
        names = {_table_key(products, p): products[p].name if p in products else p for p in said.bins[(outfit, letter)]}
        out.append(_night_bin(outfit, letter, names, keeping, said.first_hour))
    return tuple(out)


def _night_bin(outfit: str, letter: str, names: Mapping[str, str], keeping: Keeping, first_hour: int | None) -> NightBin:
    start = None
    if first_hour is not None and keeping.first_hour is not None:
        start = (first_hour + keeping.first_hour) % 24
    cited = str(source(keeping.source)) if keeping.source in sources() else keeping.source
    return NightBin(
        outfit=outfit,
        bin=letter,
        products=tuple(names.values()),
        keeping=keeping,
        sentence=_published(keeping.sentence, names),
        note=_published(keeping.note, names),
        source=cited,
        from_hour=start,
    )


def _published(text: str, names: Mapping[str, str]) -> str:
    """A sentence with publishers for source keys and the book's names for bare product keys. [text]"""
    for key, found in sources().items():
        if f"({key})" in text:
            text = text.replace(f"({key})", f"({found.publisher or found.title})")
    for key, name in names.items():
        if key in table("fertilizers"):
            continue  # it is called by its name already
        if text.startswith(f"{key}:") or text.startswith(f"{key} "):
            text = name + text[len(key) :]
        text = text.replace(f" {key} takes up", f" {name} takes up")
    return f"{text[:1].upper()}{text[1:]}"


def _table_key(products: Mapping[str, Product], key: str) -> str:
    """The fertilizer of the cited table that a product is, its own key where it is none."""
    if critical_humidity(key) or key not in products:
        return key
    return reference_key(products[key].analysis) or key


def hours_of(text: str, *, where: str, share: bool) -> tuple[float, ...]:
    """'82 85 90' as one number an hour.

    Parameters
    ----------
    text : str
        Numbers parted by blanks or semicolons, per cent or degrees Celsius. [text]
    where : str
        Named in a fault. [-]
    share : bool
        Per cent, and numbers up to 1 as they are. [-]

    Returns
    -------
    tuple of float
        As shares, or as typed. [- or °C]

    Raises
    ------
    InputError
        Naming the piece that is no number.
    """
    import re

    from evenstand.base.units import read_number

    pieces: Sequence[str] = [p.strip(",") for p in re.split(r"[\s;]+", text.replace("%", " ").strip()) if p.strip(",")]
    out = []
    for piece in pieces:
        try:
            number, unit = read_number(piece, where=where)
        except UnitError:
            number, unit = 0.0, piece
        if unit:
            raise InputError(f"'{piece[:40]}' is no number", where=where, cure="Write one number an hour: 82 85 90.")
        out.append((number if 0 <= number <= 1 else number / 100) if share else number)
    return tuple(out)

"""What people enter: jobs, fills, catches, readings, loads, lots, outlines. Each is checked, stored with history, and given back."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from evenstand.base.clock import Clock, iso
from evenstand.base.errors import Fault, InputError, MissingError, require_range
from evenstand.base.estimate import Est
from evenstand.desk.fill_sources import load_for
from evenstand.model import Ask, Boundary, Fill, HowKnown, Job, Load, LoadKind, Lot, MeterFactor, Outfit, Product, Reading
from evenstand.reference import fill_sd

if TYPE_CHECKING:
    from evenstand.book import Book, CatchRecord
    from evenstand.tally import CatchTest

_STOPWATCH_SD_S = 10.0
"""How well minutes of a conveyor are noted: common practice. [s]"""


def slug(text: str) -> str:
    """A short key from a name: letters and digits with dashes."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:40] or "unnamed"


def free_key(book: Book, kind: type[Any], wanted: str) -> str:
    """`wanted`, or `wanted-2`, `wanted-3`, ... if it is taken."""
    taken: set[str] = {x.key for x in book.all(kind)}
    key, n = wanted, 1
    while key in taken:
        n += 1
        key = f"{wanted}-{n}"
    return key


def new_job(
    book: Book,
    *,
    crop: str,
    outfit: str,
    field_key: str = "",
    area_ha: float | None = None,
    target_plants_m2: float | None = None,
    survival: float | None = None,
    depth_m: float | None = None,
    texture: str = "",
    finish_by: str = "",
    asks: Sequence[tuple[str, float | None]] = (),
    clock: Clock,
) -> Job:
    """Make a job and keep it. Rates in kg/ha, area in ha, survival as a share, depth in m.

    Raises
    ------
    InputError
        Listing products without a rate, rates without a product, doubled products, and numbers out of range.
    """
    faults = []
    wanted = []
    seen: set[str] = set()
    for i, (product, rate) in enumerate(asks, 1):
        if product and rate is None:
            faults.append(Fault(where=f"rate{i}", what=f"no rate for {product}", cure="Type its rate, or leave the product out."))
        elif rate is not None and not product:
            faults.append(Fault(where=f"product{i}", what="a rate without a product", cure="Choose the product."))
        elif product and rate is not None:
            if product in seen:
                faults.append(Fault(where=f"product{i}", what=f"{product} stands twice", cure="Give it one rate."))
            elif not 0 < rate <= 5000:
                faults.append(Fault(where=f"rate{i}", what=f"{rate:g} kg/ha", limit="0 < rate <= 5000", cure="Correct it."))
            else:
                wanted.append(Ask(product=product, rate_kg_ha=rate))
            seen.add(product)
    if area_ha is not None and not 0 < area_ha <= 1e5:
        faults.append(Fault(where="area", what=f"{area_ha:g} ha", limit="0 < area", cure="Correct it."))
    if survival is not None and not 0 < survival <= 1:
        faults.append(Fault(where="survival", what=f"{survival:g}", limit="0 < survival <= 1", cure="Type 85 % or 0.85."))
    if faults:
        raise InputError(faults)
    season = clock.now().year
    job = Job(
        key=free_key(book, Job, slug(f"{crop} {field_key}")),
        crop=crop.lower(),
        season=season,
        field_key=field_key,
        outfit=outfit,
        area_ha=area_ha,
        asks=tuple(wanted),
        target_plants_m2=target_plants_m2,
        survival=survival,
        depth_m=depth_m,
        texture=texture,
        finish_by=finish_by,
    )
    book.put(job, why="new job")
    return job


def remark_card(book: Book, *, outfit: str, line: str, yours: str, clock: Clock) -> None:
    """Keep what the owner's display calls a line of the value card."""
    from evenstand.book import CardRemark

    book.put(CardRemark(outfit=outfit, line=line, yours=yours.strip(), at=iso(clock.now())), why="word of the display")


def record_fill(
    book: Book,
    *,
    job: str,
    bin: str,
    put_kg: float,
    how: HowKnown,
    clock: Clock,
    area_ha: float | None = None,
    level_before_kg: float | None = None,
    load: str = "",
    at: str = "",
    low_light_at_ha: float | None = None,
    put_sd_kg: float | None = None,
    ran_s: float | None = None,
) -> Fill:
    """Keep a fill; how well its mass is known follows from how it is known. Masses in kg, counter in ha.

    load: the truck load or delivery it came out of, whose lot it takes; low_light_at_ha: the counter when the low-level light came on,
    before this fill; put_sd_kg: how well the mass is known, where better is known than its way tells; ran_s: how long the conveyor ran
    for it [s], from which its delivery is learned if the fill was weighed.

    Raises
    ------
    InputError
        If the load carries another product.
    MissingError
        If the job, the bin or the load does not exist.
    RangeError
        For a mass below zero, an area counter that runs backwards, or a light that came on before the fill before or after this one.
    """
    jobs = {j.key: j for j in book.all(Job)}
    if job not in jobs:
        raise MissingError(f"no job '{job}'", where="job", cure=f"Jobs: {', '.join(sorted(jobs)) or 'none yet'}.")
    outfit = next((o for o in book.all(Outfit) if o.key == jobs[job].outfit), None)
    letters = [b.letter for b in outfit.bins] if outfit else []
    if bin not in letters:
        raise MissingError(f"no bin '{bin}'", where="bin", cure=f"Bins: {', '.join(letters) or 'none known yet'}.")
    require_range("put", put_kg, 0, 60_000, low_open=True, unit="kg")
    earlier = [f for f in book.all(Fill, job=job) if f.bin == bin and f.area_ha is not None]
    if area_ha is not None:
        require_range("area", area_ha, max((f.area_ha or 0.0 for f in earlier), default=0.0), 1e5, unit="ha")
    if low_light_at_ha is not None:
        _light_between(low_light_at_ha, earlier, area_ha)
    product = product_in(book, jobs[job], bin)
    source = load_for(book, load, product)
    fill = Fill(
        key=free_key(book, Fill, f"{job}-{bin}-{len(book.all(Fill, job=job)) + 1}".lower()),
        outfit=jobs[job].outfit,
        bin=bin,
        product=product,
        lot=source.lot if source is not None else "",
        job=job,
        at=at or iso(clock.now()),
        put_kg=put_kg,
        put_sd_kg=put_sd_kg if put_sd_kg is not None else fill_sd(how, put_kg, bin_full_kg=_full_kg(book, outfit, bin, product)),
        how=how,
        area_ha=area_ha,
        level_before_kg=level_before_kg,
        level_before_sd_kg=None
        if level_before_kg is None
        else fill_sd("glance", max(level_before_kg, 1.0), bin_full_kg=_full_kg(book, outfit, bin, product)),
        low_light_at_ha=low_light_at_ha,
        load=load,
    )
    if ran_s is None:
        book.put(fill, why="fill")
        return fill
    with book.batch("fill"):
        book.put(fill, why="fill")
        record_reading(
            book, job=job, clock=clock, reading=Reading(quantity=f"conveyor_time:{bin}", value=ran_s, sd=_STOPWATCH_SD_S, at=fill.at)
        )
    return fill


def _light_between(light_ha: float, earlier: Sequence[Fill], area_ha: float | None) -> None:
    """Refuse a light that did not come on between the fill before and this one."""
    if area_ha is None:
        cure = "Type what the area counter showed at this fill too."
        raise MissingError("the hectares at this fill are missing", where="area", cure=cure)
    require_range("light_at", light_ha, max((f.area_ha or 0.0 for f in earlier), default=0.0), area_ha, low_open=True, unit="ha")


def product_in(book: Book, job: Job, bin: str) -> str:
    """What the plan puts into a bin."""
    from evenstand.desk.planning import plan_job

    for b in plan_job(book, job.key).bins:
        if b.bin == bin:
            return b.product
    return job.asks[0].product if job.asks else ""


def _full_kg(book: Book, outfit: Outfit | None, bin: str, product: str) -> float | None:
    """What a bin holds when full, where size and density are known. [kg]"""
    known = {p.key: p for p in book.all(Product)}
    if outfit is None or product not in known:
        return None
    capacity, density = outfit.bin(bin).capacity_m3, known[product].density_kg_m3
    return capacity.value * density.value if capacity and density else None


def record_reading(book: Book, *, job: str, reading: Reading, clock: Clock, by: str = "") -> None:
    """Keep one reading of a job, with its provenance."""
    from evenstand.book import JobReading

    at = reading.at or iso(clock.now())
    key = free_key(book, JobReading, slug(f"{job} {reading.quantity} {at}"))
    book.put(JobReading(key=key, job=job, reading=dataclasses.replace(reading, at=at), by=by), why="reading")


def record_catch(
    book: Book,
    *,
    outfit: str,
    bin: str,
    product: str,
    masses_kg: Sequence[float],
    turns: float,
    clock: Clock,
    share: float = 1.0,
    tare_kg: float = 0.0,
    scale_division_kg: float = 0.0,
    lot: str = "",
) -> tuple[CatchRecord, CatchTest]:
    """Keep a catch test, and the product per turn that came of it as the factor in force. Masses in kg with the bag.

    Returns
    -------
    tuple
        (the record, the result with its band). [kg/turn]
    """
    import numpy as np

    from evenstand.book import CatchRecord
    from evenstand.tally import catch_test

    result = catch_test(np.array(masses_kg, dtype=float), turns, share=share, tare_kg=tare_kg, scale_division_kg=scale_division_kg)
    at = iso(clock.now())
    factor = Est(value=result.factor_kg_rev, sd=result.sd, basis="measured", source="catch test")
    record = CatchRecord(
        key=free_key(book, CatchRecord, slug(f"{outfit} {bin} {at}")),
        outfit=outfit,
        bin=bin,
        product=product,
        masses_kg=tuple(float(m) for m in masses_kg),
        turns=turns,
        share=share,
        tare_kg=tare_kg,
        scale_division_kg=scale_division_kg,
        lot=lot,
        factor=factor,
        at=at,
    )
    with book.batch():
        book.put(record, why="catch test")
        book.put(MeterFactor(outfit=outfit, bin=bin, product=product, lot=lot, kg_turn=factor, at=at, how="catch"), why="catch test")
    return record, result


def add_load(
    book: Book,
    *,
    kind: LoadKind,
    product: str,
    mass_kg: float | None,
    how: HowKnown,
    clock: Clock,
    lot: str = "",
    ticket: str = "",
    from_key: str = "",
    to_key: str = "",
    part_of: str = "",
    order: str = "",
    job: str = "",
    share: float | None = None,
    share_sd: float | None = None,
    note: str = "",
) -> Load:
    """Keep a load on its way; an unknown mass stays unknown. share: which part of the load `part_of` it was judged to be. [kg, -]"""
    if mass_kg is not None:
        require_range("mass", mass_kg, 0, 200_000, low_open=kind != "left-over", unit="kg")  # nothing left over is said with 0
    if share is not None:
        require_range("share", share, 0, 1, low_open=True)
    at = iso(clock.now())
    load = Load(
        key=free_key(book, Load, slug(f"{kind} {product} {ticket or at}")),
        kind=kind,
        product=product,
        lot=lot,
        mass_kg=mass_kg,
        sd_kg=None if mass_kg is None else fill_sd(how, mass_kg),
        how=how,
        from_key=from_key,
        to_key=to_key,
        part_of=part_of,
        ticket=ticket,
        at=at,
        order=order,
        job=job,
        share=share,
        share_sd=share_sd,
        note=note,
    )
    book.put(load, why="load")
    return load


def add_lot(
    book: Book,
    *,
    product: str,
    label: str,
    tkw_g: float | None = None,
    germination: float | None = None,
    density_kg_m3: float | None = None,
    treatment: str = "",
    treated_at: str = "",
    sow_within_h: float | None = None,
) -> Lot:
    """Keep a lot with its tests; a thousand-kernel mass and a density carry one per cent until tested closer. [g, -, kg/m³]"""
    if germination is not None:
        require_range("germination", germination, 0, 1, low_open=True)
    if sow_within_h is not None:
        require_range("label_hours", sow_within_h, 0, 10_000, low_open=True, unit="h")

    def est(value: float | None, share: float) -> Est | None:
        return None if value is None else Est(value=value, sd=share * value, basis="measured", source=label)

    lot = Lot(
        key=free_key(book, Lot, slug(label or product)),
        product=product,
        label=label,
        tkw_g=est(tkw_g, 0.01),
        germination=est(germination, 0.02),
        density_kg_m3=est(density_kg_m3, 0.01),
        treatment=treatment,
        treated_at=treated_at,
        sow_within_h=sow_within_h,
    )
    book.put(lot, why="new lot")
    return lot


def import_outline(book: Book, path: Path | str, *, layer: str | None = None, field: str | None = None, crs: str | None = None) -> Boundary:
    """Read a field's outline from a file and keep it. The file's own hash is kept with it."""
    from evenstand.field import read_boundary

    boundary = read_boundary(path, layer=layer, field=field, crs=crs)
    boundary = dataclasses.replace(boundary, key=free_key(book, Boundary, slug(boundary.name or Path(path).stem)))
    book.put(boundary, why=f"outline from {Path(path).name}")
    return boundary


def sow_on(book: Book, job: str, outline: Boundary) -> None:
    """Say which field a job is sown on; its area is the outline's where none was typed."""
    kept = next(j for j in book.all(Job) if j.key == job)
    area = kept.area_ha if kept.area_ha is not None else outline.area_ha
    book.put(dataclasses.replace(kept, field_key=outline.key, area_ha=area), why="field of the job")

"""Texts of a blend question: products, needs, limits and bins as people write them."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal

from evenstand.agronomy import PLACEMENTS, BlendLimit, BlendProduct, FreeBin
from evenstand.base.errors import EvenstandError, Fault, InputError, MissingError
from evenstand.base.units import Profile, read_number, read_quantity
from evenstand.reference import Figure, figure, source, table

LABEL_NUTRIENTS = ("N", "P2O5", "K2O", "S", "Ca", "Mg", "Cl", "B", "Cu", "Fe", "Mn", "Mo", "Zn")
_FORMS: Mapping[str, Literal["granular", "liquid", "ammonia"]] = {
    "dry": "granular", "granular": "granular", "liquid": "liquid", "liquid under pressure": "ammonia", "ammonia": "ammonia",
}  # fmt: skip
_GRADE = re.compile(r"\b(\d+(?:[.,]\d+)?)-(\d+(?:[.,]\d+)?)-(\d+(?:[.,]\d+)?)(?:-(\d+(?:[.,]\d+)?))?\b")
_CELLS = ("product", "price", "grade", "stock", "available", "least", "into", "form", "density")
_SIDE = re.compile(r"\s*(<=|>=|≤|≥|\bat most\b|\bat least\b)\s*")


def attempt(faults: list[Fault], read: Callable[[], Any]) -> Any:
    """The value, or None with its faults noted."""
    try:
        return read()
    except EvenstandError as error:
        faults += error.faults
        return None


def spoken_product(text: str) -> dict[str, str]:
    """'urea 46-0-0=610/t; stock 40 kg/ha; into side-band; N 46 %' as cells."""
    head, *more = [part.strip() for part in text.split(";")]
    name, _, price = (part.strip() for part in head.partition("="))
    cells = {"product": name} | ({"price": price} if price else {})
    for part in filter(None, more):
        word, _, rest = part.partition(" ")
        if word.lower() in ("liquid", "ammonia", "granular"):
            cells["form"] = word
            if rest.strip():
                cells["density"] = rest
        elif word.lower() in _CELLS:
            cells[word.lower()] = rest
        else:
            for piece in part.split(","):
                nutrient, _, share = piece.strip().partition(" ")
                cells[nutrient.lower()] = share
    return {k: v.strip() for k, v in cells.items()}


def product_of(
    cells: Mapping[str, str],
    where: str,
    units: Profile,
    area: float | None,
    bins: Sequence[FreeBin],
    in_row: bool,
    notes: list[str],
    origins: dict[str, list[str]],
) -> BlendProduct:
    faults: list[Fault] = []
    name = cells.get("product", "").strip()
    if not name:
        raise InputError("has no name", where=where, cure="Write the name first, as urea=610/t.")
    typed = _typed_analysis(name, cells, where, faults)
    known = _known(_GRADE.sub("", name))
    analysis, origin = (typed, "typed") if typed else _built_in(known, name, where, faults, notes, origins)

    def number(cell: str, quantity: str) -> float | None:
        value = attempt(faults, lambda: read_quantity(cells[cell], quantity, units, where=f"{where}, {cell}")) if cells.get(cell) else None
        if value is not None and value < 0:
            faults.append(Fault(where=f"{where}, {cell}", what=f"{cells[cell]} is below 0", limit="0 or more", cure="Correct it."))
        return value

    said_form = cells.get("form", "").lower() or (str(table("fertilizers")[known]["form"]) if known else "dry")
    if said_form not in _FORMS:
        faults.append(Fault(where=f"{where}, form", what=f"'{said_form}' is not known", cure="Use granular, liquid or ammonia."))
    form = _FORMS.get(said_form, "granular")
    into = placements_of(cells["into"], f"{where}, into", faults) if cells.get("into") else _default_places(form, bins, in_row)
    price, density, least = number("price", "price_mass"), number("density", "density"), number("least", "rate")
    stock, available = _amount(cells, "stock", where, units, area, faults), _amount(cells, "available", where, units, area, faults)
    if faults:
        raise InputError(faults)
    return BlendProduct(
        key=name,
        analysis=analysis,
        price_kg=price,
        stock_kg_ha=stock or 0.0,
        available_kg_ha=available,
        least_kg_ha=least or 0.0,
        placements=into,
        form=form,
        density_kg_l=None if density is None else density / 1e3,
        source=origin,
    )


def _typed_analysis(name: str, cells: Mapping[str, str], where: str, faults: list[Fault]) -> dict[str, float]:
    """Shares from nutrient cells, else from a grade in its own cell or in the name."""
    known = {n.lower(): n for n in LABEL_NUTRIENTS}
    shares = {}
    for cell, text in cells.items():
        if cell in _CELLS or not cell:
            continue
        if cell not in known:
            cure = {"p": "Write P2O5: 1 % P is 2.29 % P2O5.", "k": "Write K2O: 1 % K is 1.20 % K2O."}
            usual = f"Use {', '.join(LABEL_NUTRIENTS)}."
            faults.append(Fault(where=where, what=f"'{cell}' is no nutrient and no heading", cure=cure.get(cell, usual)))
            continue
        share = attempt(faults, lambda t=text, c=cell: _share(t, f"{where}, {known[c]}"))  # type: ignore[misc]
        if share:
            shares[known[cell]] = share
    grade = _GRADE.search(cells.get("grade", "")) or _GRADE.search(name)
    if cells.get("grade") and not _GRADE.search(cells["grade"]):
        faults.append(Fault(where=f"{where}, grade", what=f"'{cells['grade']}' is no grade", cure="Write N-P2O5-K2O-S, as 21-0-0-24."))
    if not shares and grade:
        numbers = (float((g or "0").replace(",", ".")) / 100 for g in grade.groups())
        shares = {n: v for n, v in zip(LABEL_NUTRIENTS, numbers, strict=False) if v > 0}
    if sum(shares.values()) > 1 + 1e-9:
        what = f"its nutrients make {100 * sum(shares.values()):.0f} % together"
        faults.append(Fault(where=where, what=what, limit="100 %", cure="Read the label again."))
    return shares


def _share(text: str, where: str) -> float:
    """A share; a bare number up to 1 could be either and is refused."""
    number, symbol = read_number(text, where=where)
    if not symbol and 0 < number <= 1:
        raise InputError(f"{text} can be read two ways", where=where, cure=f"Write {number:g} % or {100 * number:g} %.")
    value = read_quantity(text, "share", where=where)
    if not 0 <= value <= 1:
        raise InputError(f"{text} is no share", where=where, limit="0 to 100 %", cure="Correct it.")
    return value


def _known(name: str) -> str:
    """Key of a built-in product by its key or name; '' for none."""
    wanted = "-".join(name.lower().replace("_", " ").replace("-", " ").split())
    for key, entry in table("fertilizers").items():
        plain = "-".join(_GRADE.sub("", str(entry["name"])).lower().split())
        if wanted in (key, plain):
            return str(key)
    return ""


def _built_in(
    known: str, name: str, where: str, faults: list[Fault], notes: list[str], origins: dict[str, list[str]]
) -> tuple[dict[str, float], str]:
    """Shares of a built-in product with their source; a printed range must be typed."""
    if not known:
        listed = ", ".join(k for k, e in table("fertilizers").items() if e.get("analysis"))
        faults.append(
            Fault(where=where, what=f"no analysis of '{name}' is known", cure=f"Write its grade, as 46-0-0, or one of: {listed}.")
        )
        return {}, ""
    shares, keys = {}, set()
    for nutrient in table("fertilizers")[known].get("analysis", {}):
        printed: Figure = figure("fertilizers", known, "analysis", nutrient)
        if printed.low != printed.high:
            what = f"{nutrient} is {100 * printed.low:g} to {100 * printed.high:g} % by product"
            cure = f'Type it from the label: "{name}=PRICE; {nutrient} {100 * printed.low:g} %".'
            faults.append(Fault(where=where, what=what, cure=cure))
        shares[nutrient] = printed.value
        keys.add(printed.source)
        if printed.note:
            notes.append(f"{name}: {printed.note}")
    cited = "; ".join(sorted(str(source(k)) for k in keys))
    origins.setdefault(cited, []).append(f"{name} {', '.join(f'{n} {100 * v:g} %' for n, v in shares.items())}")
    return shares, ", ".join(sorted(keys))


def analyses_note(origins: Mapping[str, Sequence[str]]) -> list[str]:
    """Where built-in analyses come from, a line a source.

    Parameters
    ----------
    origins : mapping of str to sequence of str
        Source -> products with their analyses. [-]

    Returns
    -------
    list of str
        Lines. [-]
    """
    return [f"Analyses: {'; '.join(products)}. By {cited}. The label comes first." for cited, products in origins.items()]


def placements_of(text: str, where: str, faults: list[Fault]) -> tuple[str, ...]:
    words = [w.strip().lower().replace(" ", "-") for w in re.split(r"[,+/|]|\bor\b|\band\b", text) if w.strip()]
    unknown = [w for w in words if w not in PLACEMENTS]
    if unknown or not words:
        faults.append(Fault(where=where, what=f"'{text}' is no placement", cure=f"Use {', '.join(PLACEMENTS)}."))
    return tuple(q for q in PLACEMENTS if q in words)


def _default_places(form: str, bins: Sequence[FreeBin], in_row: bool) -> tuple[str, ...]:
    """Where the bins of its form lead; without bins the band, and the seed row where something is said about it. Ammonia: bands."""
    fed = [q for q in PLACEMENTS if any(q in b.feeds and b.form == form for b in bins)]
    usual = fed or (["seed-row", "side-band"] if in_row else ["side-band"])
    return tuple(q for q in usual if form != "ammonia" or q != "seed-row") or ("side-band",)


def _amount(cells: Mapping[str, str], cell: str, where: str, units: Profile, area: float | None, faults: list[Fault]) -> float | None:
    """A rate, or a mass over the area. [kg/ha]"""
    text, place = cells.get(cell, ""), f"{where}, {cell}"
    if not text:
        return None

    def read() -> float:
        _, symbol = read_number(text, where=place)
        if symbol and "/" not in symbol:
            if area is None:
                raise MissingError(f"{text} is a mass", where=place, cure="Give --area too, or write it a hectare, as 40 kg/ha.")
            return read_quantity(text, "load", units, where=place) / area
        return read_quantity(text, "rate", units, where=place)

    value = attempt(faults, read)
    if value is not None and value < 0:
        faults.append(Fault(where=place, what=f"{text} is below 0", limit="0 or more", cure="Correct it."))
    return None if value is None else float(value)


def _nutrient(text: str, where: str) -> str:
    for nutrient in LABEL_NUTRIENTS:
        if text.strip().lower() == nutrient.lower():
            return nutrient
    raise InputError(f"'{text.strip()}' is no nutrient of a label", where=where, cure=f"Use {', '.join(LABEL_NUTRIENTS)}.")


def needs_of(text: str, units: Profile) -> dict[str, tuple[float | None, float | None]]:
    """'N=80', 'S=10-20 kg/ha', 'N=80, P2O5=30'."""
    out: dict[str, tuple[float | None, float | None]] = {}
    for part in re.split(r"[,;]\s*(?=[A-Za-z])", text):
        name, sign, amount = part.partition("=")
        if not sign:
            raise InputError(f"'{part}' has no =", where="--need", cure="Write N=80 or S=10-20.")
        nutrient = _nutrient(name, "--need")
        ends = re.split(r"(?<=\d)\s*(?:-|–|\bto\b|\.\.)\s*(?=\d)", amount.strip())
        if len(ends) > 2:
            raise InputError(f"'{amount}' is no range", where=f"--need {nutrient}", cure="Write 10-20.")
        symbol = read_number(ends[-1], where=f"--need {nutrient}")[1]
        values = [rate_of(e if read_number(e)[1] else f"{e} {symbol}".strip(), units, f"--need {nutrient}") for e in ends]
        if len(values) == 2 and values[0] > values[1]:
            raise InputError(f"{amount.strip()} falls", where=f"--need {nutrient}", limit="least first", cure="Turn it round.")
        out[nutrient] = (values[0], values[1] if len(values) == 2 else None)
    return out


def rate_of(text: str, units: Profile, where: str) -> float:
    value = read_quantity(text, "rate", units, where=where)
    if value < 0:
        raise InputError(f"{text} is below 0", where=where, limit="0 or more", cure="Correct it.")
    return value


def limit_of(text: str, units: Profile) -> BlendLimit:
    """'seed-row N+K2O <= 30', 'side-band mass at most 250', 'seed-row P2O5 >= 10'."""
    parts = _SIDE.split(text)
    if len(parts) != 3:
        raise InputError(f"'{text}' has no 'at most' or 'at least'", where="--limit", cure='Write "seed-row N+K2O <= 30".')
    head, sign, amount = parts
    words = head.strip().replace("seed row", "seed-row").replace("side band", "side-band").replace("mid row", "mid-row").split()
    places = tuple(w.lower() for w in words if w.lower() in PLACEMENTS)
    rest = "".join(w for w in words if w.lower() not in PLACEMENTS) or "mass"
    nutrients = () if rest.lower() == "mass" else tuple(_nutrient(n, f"--limit {text}") for n in rest.split("+"))
    value = rate_of(amount, units, f"--limit {text}")
    key = " ".join((*places, "+".join(nutrients) or "mass"))
    if sign in (">=", "≥", "at least"):
        return BlendLimit(key=f"{key}, least", least_kg_ha=value, nutrients=nutrients, placements=places, note="typed")
    return BlendLimit(key=key, most_kg_ha=value, nutrients=nutrients, placements=places, note="typed")


def bin_of(text: str) -> FreeBin:
    """'A: seed-row', 'B: seed-row or side-band', 'T: mid-row, liquid'."""
    letter, sign, rest = text.partition(":")
    if not sign:
        letter, _, rest = text.strip().partition(" ")
    form: Literal["granular", "liquid", "ammonia"] = "granular"
    for word in ("granular", "liquid", "ammonia"):
        if re.search(rf"\b{word}\b", rest.lower()):
            form = word
            rest = re.sub(rf",?\s*\b{word}\b", "", rest, flags=re.IGNORECASE)
    faults: list[Fault] = []
    feeds = placements_of(rest, f"--bin {text}", faults)
    if faults or not letter.strip():
        raise InputError(faults or "has no letter", where=f"--bin {text}", cure="Write A: seed-row.")
    return FreeBin(key=letter.strip(), feeds=feeds, form=form)

"""The pocket page: one file for a phone at the field edge, with no server, no network and, if need be, no scripts."""

from __future__ import annotations

import base64
import json
from importlib.resources import files
from typing import Any

from evenstand.base.units import Profile, profile_unit, shown, unit_of
from evenstand.desk.sheets import SheetContext
from evenstand.drawing.tokens import COLOURS, FONT_FAMILY, FONT_FILES, custom_properties
from evenstand.model import BinPlan
from evenstand.paper.cab import hazards_of
from evenstand.paper.catches import catch_data
from evenstand.paper.slip import slip_data
from evenstand.paper.wording import bin_name, figures, heading, key

PUT_WAYS = (
    ("ticket", "ticket"), ("truck-scale", "truck scale"), ("pads", "pads"), ("tote", "tote"), ("brim", "brim-full"),
    ("conveyor", "conveyor by time"), ("glance", "by eye"),
)  # fmt: skip
QUANTITIES = ("area", "rate", "mass", "catch", "factor", "distance", "pulse")
LEAST_DOSE_SD = 0.01
UNPROVEN_DOSE_SD = 0.02


def pocket_numbers(context: SheetContext) -> dict[str, Any]:
    """Everything the page's script computes with: bins, bands, units, ways of knowing, known slips.

    Parameters
    ----------
    context : SheetContext
        Plan and outfit. [metric]

    Returns
    -------
    dict
        Plain JSON data in metric units, with the factors to the profile's units. [metric]
    """
    from evenstand.reference import fill_sd

    outfit, profile = context.outfit, context.profile
    ways = {how: fill_sd(how, 1.0) for how, _ in PUT_WAYS} | {"cart-scale": fill_sd("cart-scale", 1.0)}
    return {
        "mark": context.plan.input_hash[:3] or "0",
        "units": {quantity: _unit(quantity, profile) for quantity in QUANTITIES},
        "bins": [_bin(context, b) for b in context.plan.bins],
        "ways": ways,
        "overlap": [0.0, outfit.overlap_high if outfit else 0.03],
        "pulse_m": outfit.pulse_m.value if outfit and outfit.pulse_m else None,
        "slips": slip_numbers(outfit.rows if outfit else None),
    }


def slip_numbers(rows: int | None) -> dict[str, Any]:
    """The slips the finder knows, the prior weights of digit swaps, and how far a number read off is rounded.

    Parameters
    ----------
    rows : int or None
        Number of openers of the outfit. [-]

    Returns
    -------
    dict
        `known`: rows of kind, name, ratio, sentence, where to look, weight, from the one table of the slip finder, so that the
        page cannot know others than the program. [-]
    """
    from evenstand.check.slips import known_slips, row_slips
    from evenstand.reference.figures import figure

    known = [list(row) for row in (*known_slips(), *row_slips(rows))]
    near, far, rounding = (figure("causes", "slip-odds", name).value for name in ("digits-near", "digits-far", "rounding"))
    return {"known": known, "near": near, "far": far, "rounding": rounding}


def _unit(quantity: str, profile: Profile) -> dict[str, Any]:
    unit = unit_of(quantity, profile_unit(quantity, profile))
    return {"symbol": unit.symbol, "factor": unit.factor, "decimals": unit.decimals}


def _bin(context: SheetContext, b: BinPlan) -> dict[str, Any]:
    of_outfit = next((x for x in context.outfit.bins if x.letter == b.bin), None) if context.outfit else None
    light = of_outfit.low_light_kg if of_outfit else None
    factor = b.factor_kg_turn
    band = None
    if b.catch_kg and b.catch_low_kg is not None and b.catch_high_kg is not None:
        band = [b.catch_low_kg / b.catch_kg, b.catch_high_kg / b.catch_kg]
    return {
        "letter": b.bin,
        "name": bin_name(context, b.bin),
        "product": context.product_name(b.product),
        "rate_kg_ha": b.rate_kg_ha,
        "dose_sd": max(factor.relative_sd, LEAST_DOSE_SD) if factor else UNPROVEN_DOSE_SD,
        "full_kg": b.full_kg.value if b.full_kg else None,
        "low_light_kg": light.value if light else None,
        "low_light_sd_kg": light.sd if light else None,
        "has_scale": bool(of_outfit and of_outfit.has_scale),
        "factor_kg_turn": factor.value if factor else None,
        "factor_sd_kg_turn": (b.standing_kg_turn or factor).sd if factor else None,
        "turns": b.catch_turns,
        "band": band,
    }


def pocket_page(context: SheetContext) -> str:
    """The whole page as one HTML document.

    Parameters
    ----------
    context : SheetContext
        Farm, job, plan and outfit; the profile's units are what the page reads and shows. [metric]

    Returns
    -------
    str
        HTML with styles, script, typeface and numbers inside; it asks for nothing from outside. [HTML]
    """
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    folder = files("evenstand.paper")
    read = {name: (folder / "templates" / name).read_text(encoding="utf-8") for name in _PARTS}
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    numbers = json.dumps(pocket_numbers(context), ensure_ascii=False).replace("<", "\\u003c")
    profile = context.profile
    catches = catch_data(context)
    return environment.from_string(read["pocket.html"]).render(
        head=heading(context, "Pocket page"),
        style=Markup(f"{_faces()}\n:root {{\n{custom_properties()}\n}}\n{read['pocket.css']}"),
        script=Markup(read["pocket_sums.js"] + read["pocket_page.js"]),
        numbers=Markup(numbers),
        theme=COLOURS["paper"],
        bins=[_row(context, b) for b in context.plan.bins],
        slip=slip_data(context),
        catches=catches,
        put_ways=PUT_WAYS,
        units={quantity: profile_unit(quantity, profile) for quantity in QUANTITIES},
        stops=[
            {
                "by": f"by pass {s.after_pass}" + (f", no later than {s.latest_pass}" if s.latest_pass > s.after_pass else ""),
                "at": figures(s.at_ha, "area", profile),
                "left": ", ".join(f"{letter} {figures(kg, 'mass', profile)}" for letter, kg in s.left_kg.items()),
                "add": ", ".join(f"{letter} {figures(kg, 'mass', profile)}" for letter, kg in s.add_kg.items() if kg > 0) or "nothing",
            }
            for s in context.plan.stops
        ],
        hazards=hazards_of(context),
        cautions=context.plan.cautions,
    )


_PARTS = ("pocket.html", "pocket.css", "pocket_sums.js", "pocket_page.js")


def _row(context: SheetContext, b: BinPlan) -> dict[str, Any]:
    profile = context.profile
    need = next((line for line in context.plan.card if line.bin == b.bin and line.key.startswith("factor") and line.state == "needs"), None)
    return {
        "letter": b.bin,
        "name": bin_name(context, b.bin),
        "product": context.product_name(b.product),
        "rate": shown(b.rate_kg_ha, "rate", profile),
        "factor": shown(b.factor_kg_turn.value, "factor", profile) if b.factor_kg_turn else "needs a catch test",
        "shaft": shown(b.shaft_turns_s, "shaft", profile) if b.shaft_turns_s is not None else "not known yet",
        "full": figures(b.full_kg.value, "mass", profile) if b.full_kg else "not known yet",
        "full_kg": b.full_kg.value if b.full_kg else None,
        "low_light": key(_low_light(context, b.bin), "mass", profile)["n"],
        "how": need.how if need else "",
        "turns": f"{b.catch_turns:.0f}" if b.catch_turns else "",
    }


def _low_light(context: SheetContext, letter: str) -> float | None:
    of_outfit = next((x for x in context.outfit.bins if x.letter == letter), None) if context.outfit else None
    return of_outfit.low_light_kg.value if of_outfit and of_outfit.low_light_kg else None


def _faces() -> str:
    """The typeface as part of the page. [CSS]"""
    folder = files("evenstand.paper") / "fonts"
    rules = []
    for name, weight in (("regular", 400), ("bold", 700)):
        data = base64.b64encode((folder / FONT_FILES[name]).read_bytes()).decode("ascii")
        rules.append(
            f'@font-face {{ font-family: "{FONT_FAMILY}"; font-weight: {weight}; '
            f'src: url(data:font/ttf;base64,{data}) format("truetype"); }}'
        )
    return "\n".join(rules)

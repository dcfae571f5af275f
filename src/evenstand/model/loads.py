"""Product on its way: order, delivery, yard, truck box, fill, left over."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

LoadKind = Literal["delivery", "yard", "truck", "fill", "left-over", "return"]
HowKnown = Literal["ticket", "truck-scale", "pads", "cart-scale", "tote", "brim", "conveyor", "glance", "share"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """A quantity of a product that was ordered [kg]. price_kg: agreed, money per kilogram [1/kg], None where none was; supplier: as the
    owner calls them; ordered_at: ISO moment or day; wanted_by: ISO day on which it must be there; closed_at: ISO moment at which the
    owner said that no more is to come of it, "" while the rest is still owed."""

    key: str
    product: str
    quantity_kg: float
    price_kg: float | None = None
    supplier: str = ""
    lot: str = ""
    ordered_at: str = ""
    wanted_by: str = ""
    closed_at: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """One movement of a product. mass_kg may be unknown; sd_kg is how well it is known. [kg]

    from_key/to_key: where it came from and went ("yard", "truck", "A:B" for outfit A bin B); part_of: the load it was split from;
    share, share_sd: which part of that load it was judged to be, and how well [-]; job: the field it is promised to or went to;
    order: the order a delivery belongs to.
    """

    key: str
    kind: LoadKind
    product: str
    lot: str = ""
    mass_kg: float | None = None
    sd_kg: float | None = None
    how: HowKnown = "ticket"
    from_key: str = ""
    to_key: str = ""
    part_of: str = ""
    ticket: str = ""
    at: str = ""
    order: str = ""
    job: str = ""
    share: float | None = None
    share_sd: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fill:
    """Product put into a bin. area_ha: the area counter at that moment [ha]; level_before_kg: what was still in [kg]."""

    key: str
    outfit: str
    bin: str
    product: str
    lot: str = ""
    job: str = ""
    at: str = ""
    put_kg: float
    put_sd_kg: float
    how: HowKnown = "ticket"
    area_ha: float | None = None
    level_before_kg: float | None = None
    level_before_sd_kg: float | None = None
    low_light_at_ha: float | None = None
    load: str = ""

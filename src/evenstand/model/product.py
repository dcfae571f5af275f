"""What is sown, what is spread with it, and the lots it comes in."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from evenstand.base.estimate import Est

ProductKind = Literal["seed", "fertilizer", "inoculant"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """A product. `analysis`: share of mass as N, P2O5, K2O, S [-]; density_kg_m3: loose bulk density [kg/m³];
    price_kg: money per kilogram [1/kg], None where no price is known."""

    key: str
    name: str
    kind: ProductKind
    crop: str = ""
    analysis: dict[str, float] = field(default_factory=dict)
    density_kg_m3: Est | None = None
    price_kg: float | None = None
    form: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """A delivered quantity of a product with its tests. tkw_g: mass of a thousand kernels as sown, treated if treated [g];
    germination [-]; density_kg_m3 of this lot [kg/m³]; treated_at: ISO day or moment; sow_within_h: hours the label gives from
    treating to sowing [h]."""

    key: str
    product: str
    label: str = ""
    tkw_g: Est | None = None
    germination: Est | None = None
    density_kg_m3: Est | None = None
    treatment: str = ""
    treated_at: str = ""
    sow_within_h: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MeterFactor:
    """Product per turn of a bin's meter shaft, for one lot and setting. kg_turn [kg/turn]; at: ISO time;
    how: "catch", "shown-mass", "crank", "displacement", "typed"."""

    outfit: str
    bin: str
    product: str
    lot: str = ""
    setting: str = ""
    kg_turn: Est
    at: str = ""
    how: str = "typed"

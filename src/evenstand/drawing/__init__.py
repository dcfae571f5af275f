"""Pictures: one list of shapes with roles, written for a page or for paper, and the tokens of the project's look."""

from evenstand.drawing.field_plan import field_plan
from evenstand.drawing.pass_strips import Mark, Strip, pass_strips
from evenstand.drawing.run_map import run_map
from evenstand.drawing.shapes import Drawing
from evenstand.drawing.trail_map import place_rows, trail_map
from evenstand.drawing.trails import strips_of, strips_of_passes
from evenstand.drawing.writers import page_svg, paper_svg, raster

__all__ = [
    "Drawing",
    "Mark",
    "Strip",
    "field_plan",
    "page_svg",
    "paper_svg",
    "pass_strips",
    "place_rows",
    "raster",
    "run_map",
    "strips_of",
    "strips_of_passes",
    "trail_map",
]

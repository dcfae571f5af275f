"""Fields: outlines in their own frame, headland rounds and passes, turns."""

from evenstand.field.boundaries import Area, boundary_geojson, list_areas, read_areas, read_boundary, write_boundary
from evenstand.field.driving import drive_strips, plan_passes
from evenstand.field.frames import frame_for, from_frame, to_frame
from evenstand.field.outlines import add_obstacles, boundary_from_rings, boundary_from_shape, sown_shape
from evenstand.field.turning import Turn, dubins_length, dubins_path, shortest_turn, turn_length

__all__ = [
    "Area", "Turn", "add_obstacles", "boundary_from_rings", "boundary_from_shape", "boundary_geojson", "drive_strips", "dubins_length",
    "dubins_path", "frame_for", "from_frame", "list_areas", "plan_passes", "read_areas", "read_boundary", "shortest_turn", "sown_shape",
    "to_frame", "turn_length", "write_boundary",
]  # fmt: skip

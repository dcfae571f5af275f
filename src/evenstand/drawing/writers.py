"""Two writers for one list of shapes: a page's SVG with classes, and paper's SVG with everything written out."""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterable
from html import escape

from evenstand.drawing.shapes import Area, Circle, Drawing, Line, Point, Polyline, Rect, Shape, Text
from evenstand.drawing.tokens import FONT_FAMILY, PAPER_COLOURS, PATTERNS, ROLE_STYLES, Role

RASTER_OVER = 5000


def page_svg(drawing: Drawing, *, key: str = "drawing", raster_over: int = RASTER_OVER) -> str:
    """The drawing as SVG for a page: classes `r-ROLE`, colour tokens, `<title>` and `<desc>` for screen readers.

    Parameters
    ----------
    drawing : Drawing
        What to write. [-]
    key : str
        Prefix of the ids, different for each drawing on a page. [-]
    raster_over : int
        Above this many shapes all but the text is sent as one picture, made here. [shapes]

    Returns
    -------
    str
        An `<svg>` element that fits its container and keeps its proportions. [SVG]
    """
    vector, image = _split(drawing, raster_over)
    body = [image, *(_write(shape, _page_attributes) for shape in vector)]
    size = f"0 0 {drawing.width:g} {drawing.height:g}"
    return (
        f'<svg class="drawing" xmlns="http://www.w3.org/2000/svg" viewBox="{size}" role="img" '
        f'aria-labelledby="{key}-title {key}-desc">'
        f'<title id="{key}-title">{escape(drawing.title)}</title><desc id="{key}-desc">{escape(drawing.description)}</desc>'
        f"{_patterns('var(--ink)')}{''.join(body)}</svg>"
    )


def paper_svg(drawing: Drawing) -> str:
    """The drawing as SVG for paper: black inks, line patterns and sizes written into each shape, no class and no variable.

    Returns
    -------
    str
        A whole SVG document, `drawing.width` / 4 millimetres wide. [SVG]
    """
    body = "".join(_write(shape, _paper_attributes) for shape in drawing.shapes)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{drawing.width / 4:g}mm" height="{drawing.height / 4:g}mm" '
        f'viewBox="0 0 {drawing.width:g} {drawing.height:g}" font-family="{FONT_FAMILY}">'
        f"{_patterns(PAPER_COLOURS['ink'])}{body}</svg>"
    )


def _split(drawing: Drawing, raster_over: int) -> tuple[Iterable[Shape], str]:
    """All shapes, or the text alone and an image of the rest. [-]"""
    if len(drawing.shapes) <= raster_over:
        return drawing.shapes, ""
    flat = tuple(shape for shape in drawing.shapes if not isinstance(shape, Text))
    bare = Drawing(width=drawing.width, height=drawing.height, shapes=flat, title=drawing.title, description=drawing.description)
    data = base64.b64encode(raster(bare)).decode("ascii")
    image = f'<image href="data:image/png;base64,{data}" x="0" y="0" width="{drawing.width:g}" height="{drawing.height:g}"/>'
    return (shape for shape in drawing.shapes if isinstance(shape, Text)), image


def raster(drawing: Drawing, *, pixels_unit: float = 2.0) -> bytes:
    """The drawing as a PNG picture, in the inks of paper.

    Parameters
    ----------
    drawing : Drawing
        What to draw. [-]
    pixels_unit : float
        Pixels for each drawing unit. [1/unit]

    Returns
    -------
    bytes
        PNG. [-]
    """
    import json

    import typst

    source = '#set page(width: auto, height: auto, margin: 0pt)\n#image(bytes(json(bytes(sys.inputs.data))), format: "svg")'
    made = typst.compile(
        source.encode(),
        format="png",
        ppi=pixels_unit * 25.4 * 4,
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(paper_svg(drawing))},
    )
    return bytes(made)


def _patterns(ink: str) -> str:
    """Line patterns as `<defs>`; drawn upright and turned, so that they tile without seams."""
    tiles = []
    for name, (spacing, width, angle) in PATTERNS.items():
        tiles.append(
            f'<pattern id="{name}" width="{spacing:g}" height="{spacing:g}" patternUnits="userSpaceOnUse" '
            f'patternTransform="rotate({angle:g})">'
            f'<rect width="{spacing:g}" height="{width:g}" fill="{ink}"/></pattern>'
        )
    return f"<defs>{''.join(tiles)}</defs>"


def _write(shape: Shape, attributes: Callable[[Role, bool], str]) -> str:
    """One shape as an element; an open line is never filled."""
    style = attributes(shape.role, not isinstance(shape, Line | Polyline))
    title = f"<title>{escape(shape.title)}</title>" if shape.title else ""
    match shape:
        case Line():
            (x1, y1), (x2, y2) = shape.start, shape.end
            return _element("line", f'x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}"{style}', title)
        case Polyline():
            return _element("polyline", f'points="{_points(shape.points)}"{style}', title)
        case Area():
            path = "".join(f"M{_points(ring)}Z" for ring in shape.rings)
            return _element("path", f'd="{path}" fill-rule="evenodd"{style}', title)
        case Rect():
            x, y = shape.corner
            corner = f' rx="{_n(shape.round)}"' if shape.round else ""
            return _element("rect", f'x="{_n(x)}" y="{_n(y)}" width="{_n(shape.width)}" height="{_n(shape.height)}"{corner}{style}', title)
        case Circle():
            x, y = shape.centre
            return _element("circle", f'cx="{_n(x)}" cy="{_n(y)}" r="{_n(shape.radius)}"{style}', title)
        case Text():
            return _text(shape, style, title)


def _text(shape: Text, style: str, title: str) -> str:
    x, y = shape.at
    turn = f' transform="rotate({_n(shape.turn_deg)} {_n(x)} {_n(y)})"' if shape.turn_deg else ""
    anchor = "" if shape.anchor == "start" else f' text-anchor="{shape.anchor}"'
    place = f'x="{_n(x)}" y="{_n(y)}"{anchor}{turn}'
    halo = ""
    if shape.halo:  # an edge of paper behind the letters, as its own element: not every reader of SVG knows paint-order
        size = ROLE_STYLES[shape.role]
        weight = ' font-weight="700"' if size.bold else ""
        halo = (
            f'<text {place} font-size="{size.size:g}"{weight} fill="none" stroke="{PAPER_COLOURS["paper"]}" stroke-width="4" '
            f'stroke-linejoin="round" aria-hidden="true">{escape(shape.text)}</text>'
        )
    return f"{halo}<text {place}{style}>{title}{escape(shape.text)}</text>"


def _page_attributes(role: Role, filled: bool) -> str:
    return f' class="r-{role}"' if filled else f' class="r-{role} r-unfilled"'


def _paper_attributes(role: Role, filled: bool) -> str:
    style = ROLE_STYLES[role]
    parts = [f'fill="{_paper_paint(style.fill) if filled else "none"}"']
    if style.size:
        parts.append(f'font-size="{style.size:g}"')
        if style.bold:
            parts.append('font-weight="700"')
    else:
        parts += [f'stroke="{_paper_paint(style.stroke)}"', f'stroke-width="{style.width:g}"']
        if style.dash:
            parts.append(f'stroke-dasharray="{" ".join(f"{d:g}" for d in style.dash)}"')
    return " " + " ".join(parts)


def _paper_paint(name: str) -> str:
    if name in PATTERNS:
        return f"url(#{name})"
    return name if name == "none" else PAPER_COLOURS[name]


def _element(tag: str, attributes: str, title: str) -> str:
    return f"<{tag} {attributes}>{title}</{tag}>" if title else f"<{tag} {attributes}/>"


def _points(points: tuple[Point, ...]) -> str:
    return " ".join(f"{_n(x)},{_n(y)}" for x, y in points)


def _n(value: float) -> str:
    """A coordinate to a tenth of a unit, without a trailing zero. [text]"""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text

"""Task data as plain records: devices and their elements, products, fields, tasks, and what each value means."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from evenstand.base.errors import Fault, FileError
from evenstand.formats.iso11783.folders import MAIN, TaskFiles
from evenstand.formats.iso11783.markup import Element, parse

KINDS = {1: "device", 2: "function", 3: "bin", 4: "section", 5: "unit", 6: "connector", 7: "navigation"}
MOST_FILES = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Presentation:
    """How a whole number is shown: (raw + offset) * scale, with so many decimals, in a unit."""

    offset: int = 0
    scale: float = 1.0
    decimals: int = 0
    unit: str = ""

    def shown(self, raw: float) -> float:
        """The value in the unit of the presentation."""
        return (raw + self.offset) * self.scale


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviceElement:
    """A part of a device: key such as "DET-2", kind (a key of `KINDS`), name, number, the part it belongs to, fixed properties by
    data dictionary number, and the presentation and name of each value it gives, by that number."""

    key: str
    kind: int
    name: str
    number: int
    device: str
    parent: str
    properties: dict[int, int] = field(default_factory=dict)
    presentations: dict[int, Presentation] = field(default_factory=dict)
    names: dict[int, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskInfo:
    """A task: key, name, field, status number, time logs and grids as elements of the file, products by device element."""

    key: str
    name: str
    field_key: str
    status: str
    logs: tuple[str, ...]
    element: Element
    products: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskData:
    """One set of task data. version: major number, 3 or 4; root: all elements, external files put in their place."""

    version: int
    origin: str
    root: Element
    elements: dict[str, DeviceElement]
    devices: dict[str, str]
    products: dict[str, str]
    fields: dict[str, str]
    presentations: dict[str, Presentation]
    tasks: tuple[TaskInfo, ...]

    def task(self, wanted: str | None, where: str) -> TaskInfo:
        """The task of that key or name; the only one with a time log where none is named.

        Raises
        ------
        FileError
            If it is not there, or several could be meant: they are listed.
        """
        if wanted is None:
            logged = [t for t in self.tasks if t.logs]
            if len(logged) == 1:
                return logged[0]
            if not logged:
                raise FileError("no task holds a time log", where=where, cure="Export the task with its log from the machine.")
            raise FileError(f"{len(logged)} tasks hold time logs: {_listed(logged)}", where=where, cure="Say which one with --task.")
        found = [t for t in self.tasks if wanted in (t.key, t.name)]
        if len(found) == 1:
            return found[0]
        what = f"{len(found)} tasks are called '{wanted}'" if found else f"there is no task '{wanted}'"
        raise FileError(f"{what}; there are {_listed(self.tasks)}", where=where, cure="Give the key, such as TSK-1.")


def _listed(tasks: tuple[TaskInfo, ...] | list[TaskInfo]) -> str:
    shown = ", ".join(f"{t.key} '{t.name}' ({len(t.logs)} log{'s' if len(t.logs) != 1 else ''})" for t in tasks[:12])
    return shown + (f" and {len(tasks) - 12} more" if len(tasks) > 12 else "") if tasks else "none"


def read_task_data(files: TaskFiles) -> TaskData:
    """Read TASKDATA.XML and the files it draws in.

    Raises
    ------
    FileError
        If it is no task data, or a file it names is missing or damaged.
    """
    root = parse(files.read(MAIN), f"{files.name}, {MAIN}")
    if root.tag != "ISO11783_TaskData":
        raise FileError(f"its root is <{root.tag[:40]}>, not ISO11783_TaskData", where=files.name, cure="Give task data of a machine.")
    root = replace_externals(root, files)
    version = _whole(root, "VersionMajor", files.name)
    elements: dict[str, DeviceElement] = {}
    for device in root.all("DVC"):
        elements |= {e.key: e for e in _elements(device, files.name)}
    return TaskData(
        version=version,
        origin=root.get("ManagementSoftwareManufacturer") or root.get("TaskControllerManufacturer"),
        root=root,
        elements=elements,
        devices={d.get("A"): d.get("B") for d in root.all("DVC")},
        products={p.get("A"): p.get("B") for p in root.all("PDT")},
        fields={p.get("A"): p.get("C") for p in root.all("PFD")},
        presentations={p.get("A"): _presentation(p, files.name) for p in root.all("VPN")},
        tasks=tuple(_task(t, root) for t in root.all("TSK")),
    )


def replace_externals(root: Element, files: TaskFiles) -> Element:
    """Put the contents of external files where they are named; each file once, none within another."""
    drawn: list[Element] = []
    seen: set[str] = set()
    for child in root.children:
        if child.tag != "XFR":
            drawn.append(child)
            continue
        name = f"{child.get('A')}.XML"
        if name.upper() in seen or len(seen) >= MOST_FILES:
            raise FileError(f"{name} is drawn in twice, or too many files are", where=files.name, limit=f"{MOST_FILES} files, each once")
        seen.add(name.upper())
        outer = parse(files.read(name), f"{files.name}, {name}")
        if outer.tag != "XFC":
            raise FileError(f"{name} is no external file of task data (<{outer.tag[:40]}>)", where=files.name, cure="Export it again.")
        drawn += [c for c in outer.children if c.tag != "XFR"]
    return replace(root, children=drawn)


def _task(task: Element, root: Element) -> TaskInfo:
    names = {p.get("A"): p.get("B") for p in root.all("PDT")}
    products = {a.get("E"): names.get(a.get("A"), a.get("A")) for a in task.all("PAN") if a.get("E")}
    return TaskInfo(
        key=task.get("A"),
        name=task.get("B"),
        field_key=task.get("E"),
        status=task.get("G"),
        logs=tuple(log.get("A") for log in task.all("TLG")),
        element=task,
        products=products,
    )


def _elements(device: Element, where: str) -> Iterator[DeviceElement]:
    """The parts of a device, with the values each refers to."""
    shows = {_whole(p, "A", where): _presentation(Element("VPN", {"A": "", **_shift(p)}), where) for p in device.all("DVP")}
    values: dict[int, tuple[int, str, Presentation | None]] = {}
    fixed: dict[int, tuple[int, int, str, Presentation | None]] = {}
    for v in device.all("DPD"):
        values[_whole(v, "A", where)] = (ddi_of(v.get("B"), where), v.get("E"), shows.get(_whole(v, "F", where, -1)))
    for v in device.all("DPT"):
        fixed[_whole(v, "A", where)] = (ddi_of(v.get("B"), where), _whole(v, "C", where), v.get("D"), shows.get(_whole(v, "E", where, -1)))
    by_object = {_whole(e, "B", where): e.get("A") for e in device.all("DET")}
    for part in device.all("DET"):
        refers = [_whole(r, "A", where) for r in part.all("DOR")]
        yield DeviceElement(
            key=part.get("A"),
            kind=_whole(part, "C", where),
            name=part.get("D"),
            number=_whole(part, "E", where, 0),
            device=device.get("A"),
            parent=by_object.get(_whole(part, "F", where, 0), ""),
            properties={fixed[r][0]: fixed[r][1] for r in refers if r in fixed},
            presentations={values[r][0]: shown for r in refers if r in values and (shown := values[r][2]) is not None},
            names={values[r][0]: values[r][1] for r in refers if r in values and values[r][1]},
        )


def _shift(shown: Element) -> dict[str, str]:
    """The attributes of a device's presentation under the letters of a general one: both have offset, scale, decimals, unit in B to E."""
    return {k: v for k, v in shown.attributes.items() if k in "BCDE"}


def _presentation(shown: Element, where: str) -> Presentation:
    try:
        scale = float(shown.get("C", "1"))
    except ValueError as error:
        raise FileError(f"the scale '{shown.get('C')[:20]}' is no number", where=where, cure="Export it again.") from error
    return Presentation(offset=_whole(shown, "B", where, 0), scale=scale, decimals=_whole(shown, "D", where, 0), unit=shown.get("E"))


def ddi_of(text: str, where: str) -> int:
    """A data dictionary number from its four hexadecimal digits."""
    try:
        return int(text, 16)
    except ValueError as error:
        raise FileError(f"'{text[:20]}' is no data dictionary number", where=where, limit="four hexadecimal digits") from error


def _whole(element: Element, letter: str, where: str, default: int | None = None) -> int:
    text = element.get(letter)
    if text == "" and default is not None:
        return default
    try:
        return int(text)
    except ValueError as error:
        name = f"<{element.tag}> {letter}"
        raise FileError(
            [Fault(where=where, what=f"{name} is '{text[:20]}', no whole number", cure="Export the task data again.")]
        ) from error

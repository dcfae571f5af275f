"""docs/api.md says of each fixed name whether it works; what works can be called, what does not exist is not there."""

from __future__ import annotations

import importlib
import inspect
import re

import pytest


def rows(root):
    package = ""
    for line in (root / "docs" / "api.md").read_text().splitlines():
        if line.startswith("## "):
            package = line[3:].strip()
        match = re.match(r"\| `(\w+)\(", line)
        if match:
            yield package, match.group(1), "does not exist" not in line


def test_the_page_is_right_about_every_name(root):
    listed = list(rows(root))
    assert len(listed) > 35
    for package, name, works in listed:
        try:
            module = importlib.import_module(package)
        except ModuleNotFoundError:
            assert not works, package
            continue
        assert hasattr(module, name) == works, f"{package}.{name}"


def test_the_arguments_on_the_page_are_the_arguments_there_are(root):
    text = (root / "docs" / "api.md").read_text()
    for package, name, works in rows(root):
        if not works:
            continue
        inside = re.search(rf"`{name}\(([^)]*)\)`", text).group(1)
        named = [a.strip() for a in inside.split(",") if a.strip() not in {"...", "*"}]
        parameters = inspect.signature(getattr(importlib.import_module(package), name)).parameters
        assert [a for a in named if a not in parameters] == [], name


@pytest.mark.parametrize("page", ["ARCHITECTURE.md", "README.md", "CONTRIBUTING.md"])
def test_every_local_link_leads_somewhere(root, page):
    for target in re.findall(r"\]\((?!http)([^)#]+)", (root / page).read_text()):
        assert (root / target).exists(), f"{page}: {target}"


def test_nothing_in_the_project_raises_not_implemented(root):
    word = "NotImplemented" + "Error"
    assert [str(p) for p in (root / "src").rglob("*.py") if f"raise {word}" in p.read_text()] == []


def test_every_command_is_in_the_readme(root):
    from evenstand.cli import COMMANDS

    readme = (root / "README.md").read_text()
    missing = [c for c in COMMANDS if f"evenstand {c}" not in readme and f"make {c}" not in readme]
    assert missing == []

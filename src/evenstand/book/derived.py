"""Results that can be made again, kept by the hash of what they were made from: a cache, never history."""

from __future__ import annotations

import base64
import dataclasses
import json
import types
import typing
from collections.abc import Mapping
from functools import cache
from typing import Any

import numpy as np


def to_text(result: Any) -> str:
    """A tree of dataclasses, tuples, mappings, arrays and plain values as JSON."""
    return json.dumps(_plain(result), ensure_ascii=False)


def from_text(kept: type, text: str) -> Any:
    """The tree of `to_text`, given its outermost type."""
    return _restored(kept, json.loads(text))


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, np.ndarray):
        data = base64.b64encode(np.ascontiguousarray(value).tobytes()).decode()
        return {"array": data, "dtype": str(value.dtype), "shape": list(value.shape)}
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(v) for v in value]
    return value


@cache
def _hints(kept: type) -> dict[str, Any]:
    return typing.get_type_hints(kept)


@cache
def _way(hint: Any) -> tuple[str, tuple[Any, ...]]:
    """How values of a type are restored, worked out once: the way, and the inner types."""
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin is typing.Union or isinstance(hint, types.UnionType):
        return _way(next(a for a in arguments if a is not type(None)))
    if origin is tuple:
        return ("row" if arguments[-1] is Ellipsis else "tuple"), arguments
    if origin is dict:
        return "dict", arguments
    if isinstance(hint, type) and dataclasses.is_dataclass(hint):
        return "thing", (hint,)
    return "as it is", ()


def _restored(hint: Any, value: Any) -> Any:
    if value is None:
        return None
    if isinstance(value, dict) and "array" in value and "dtype" in value:
        array = np.frombuffer(base64.b64decode(value["array"]), dtype=value["dtype"]).reshape(value["shape"])
        return array  # frombuffer of bytes is read-only
    way, inner = _way(hint)
    if way == "row":
        return tuple(_restored(inner[0], v) for v in value)
    if way == "tuple":
        return tuple(_restored(h, v) for h, v in zip(inner, value, strict=True))
    if way == "dict":
        return {k: _restored(inner[1], v) for k, v in value.items()}
    if way == "thing":
        hints = _hints(inner[0])
        return inner[0](**{name: _restored(hints[name], v) for name, v in value.items() if name in hints})
    return value

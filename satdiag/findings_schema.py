"""The JSON Schema (2020-12) of the findings document, made from the dataclasses of `findings`."""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Mapping
from typing import Any, Literal

from satdiag.findings import Findings, key_of
from satdiag.vocabulary import CLASS_OF, FAULTS


def findings_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of the findings document, made from the dataclasses."""
    definitions: dict[str, Any] = {}
    whole = schema_of(Findings, definitions)
    definitions["Verdict"]["properties"]["fault"] = {"enum": [*FAULTS, "none", "other", None]}
    definitions["Verdict"]["properties"]["class"] = {
        "enum": [*dict.fromkeys(CLASS_OF.values()), "none", "other", None]
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "satdiag findings",
        "description": "What `satdiag analyse PATH --json` prints. Unknown is null. Units stand in the keys.",
        **whole,
        "$defs": definitions,
    }


def schema_of(kind: Any, definitions: dict[str, Any]) -> dict[str, Any]:
    origin, parts = typing.get_origin(kind), typing.get_args(kind)
    if dataclasses.is_dataclass(kind) and isinstance(kind, type):
        return _object_schema(kind, definitions)
    if origin in (types.UnionType, typing.Union):
        return {"anyOf": [schema_of(part, definitions) for part in parts]}
    if origin is Literal:
        return {"enum": list(parts)}
    if origin is tuple:
        return _array_schema(parts, definitions)
    if origin is Mapping or (isinstance(origin, type) and issubclass(origin, Mapping)):
        return {"type": "object", "additionalProperties": schema_of(parts[1], definitions)}
    names = {bool: "boolean", int: "integer", float: "number", str: "string", types.NoneType: "null"}
    return {"type": names[kind]}


def _array_schema(parts: tuple[Any, ...], definitions: dict[str, Any]) -> dict[str, Any]:
    if len(parts) == 2 and parts[1] is Ellipsis:
        return {"type": "array", "items": schema_of(parts[0], definitions)}
    items = [schema_of(part, definitions) for part in parts]
    return {"type": "array", "prefixItems": items, "minItems": len(items), "maxItems": len(items)}


def _object_schema(kind: type, definitions: dict[str, Any]) -> dict[str, Any]:
    name = kind.__name__
    if name not in definitions:
        definitions[name] = {}
        hints = typing.get_type_hints(kind)
        keys = [part.name for part in dataclasses.fields(kind)]
        properties = {key_of(key): schema_of(hints[key], definitions) for key in keys}
        definitions[name].update(
            {
                "type": "object",
                "description": (kind.__doc__ or "").strip().splitlines()[0],
                "properties": properties,
                "required": list(properties),
            }
        )
    return {"$ref": f"#/$defs/{name}"}

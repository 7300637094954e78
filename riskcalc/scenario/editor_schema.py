"""A JSON Schema of the scenario file, so that editors complete and check it while it is written."""

from __future__ import annotations

from dataclasses import MISSING, fields
from typing import Any

from riskcalc.scenario.schema import Scenario
from riskcalc.scenario.sources import SHARED_TABLES
from riskcalc.scenario.uncertain import DISTRIBUTION_MARK, KINDS
from riskcalc.uncertainty.quantity import Fixed, Quantity

_LOOSE = "Part"


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a scenario file.

    A table that says `from` may leave any key to the shared file, so its needed keys are not demanded.
    """
    schema = _with_references(Scenario.model_json_schema())
    definitions = schema["$defs"]
    for name in list(definitions):
        definitions[name + _LOOSE] = _loosened(definitions[name])
    kinds: tuple[type[Quantity], ...] = (Fixed, *KINDS.values())
    definitions["Distribution"] = {"anyOf": [_distribution(kind) for kind in kinds]}
    for table in SHARED_TABLES:
        reference = _reference_in(schema["properties"][table])
        name = reference.rsplit("/", 1)[-1]
        for version in (name, name + _LOOSE):
            definitions[version]["properties"]["from"] = {
                "type": "string",
                "description": "file to take this table from",
            }
        whole, part = ({"$ref": f"#/$defs/{version}"} for version in (name, name + _LOOSE))
        schema["properties"][table] = {
            "description": schema["properties"][table].get("description", table),
            "if": {"required": ["from"]},
            "then": part,
            "else": whole,
        }
    schema["required"] = [key for key in schema["required"] if key != "name"]
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "riskcalc scenario"
    schema["$comment"] = "made by riskcalc schema"
    return schema


def _distribution(kind: type[Quantity]) -> dict[str, Any]:
    properties: dict[str, Any] = {} if kind is Fixed else {"distribution": {"const": kind.kind}}
    needed = [] if kind is Fixed else ["distribution"]
    for field in fields(kind):
        if kind is Fixed and field.name in ("minimum", "maximum"):
            continue
        if field.name in ("source", "note", "file", "column"):
            properties[field.name] = {"type": "string"}
        elif field.name in ("values", "weights"):
            properties[field.name] = {"type": "array", "items": {"type": "number"}, "minItems": 1}
        else:
            properties[field.name] = {"type": "number"}
        if field.default is MISSING and kind.kind != "empirical":
            needed.append(field.name)
    return {
        "type": "object",
        "title": kind.kind,
        "description": (kind.__doc__ or "").splitlines()[0],
        "properties": properties,
        "required": needed,
        "additionalProperties": False,
    }


def _loosened(part: Any) -> Any:
    """Return a copy that demands no key and refers to copies that demand none either."""
    if isinstance(part, dict):
        return {
            key: (value + _LOOSE if key == "$ref" and not value.endswith("/Distribution") else _loosened(value))
            for key, value in part.items()
            if key != "required"
        }
    return [_loosened(item) for item in part] if isinstance(part, list) else part


def _with_references(part: Any) -> Any:
    if part == DISTRIBUTION_MARK:
        return {"$ref": "#/$defs/Distribution"}
    if isinstance(part, dict):
        return {key: _with_references(value) for key, value in part.items() if key != "kind_of_source"}
    return [_with_references(item) for item in part] if isinstance(part, list) else part


def _reference_in(part: dict[str, Any]) -> str:
    options = [part, *part.get("anyOf", ()), *part.get("allOf", ())]
    return next(str(option["$ref"]) for option in options if "$ref" in option)

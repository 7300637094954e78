"""From the errors of the schema to sentences with file, key, what was given and what is accepted."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

from pydantic import BaseModel

from riskcalc.errors import Problem
from riskcalc.scenario.complaints import OWN_ERROR, Complaint, did_you_mean, listed, nearest, shown
from riskcalc.scenario.fields import Location, all_keys, declared_at, table_in
from riskcalc.scenario.layers import Tree

#: Problems told in words; a file with more is no scenario.
MOST_TOLD = 100


def problems_of(errors: Sequence[Any], model: type[BaseModel], tree: Tree, file: str) -> list[Problem]:
    """Return one problem for each thing the schema found wrong, in the order it was found.

    Parameters
    ----------
    errors
        `ValidationError.errors()` of `model`.
    tree
        Where each key came from.
    file
        The scenario file, for keys that stand nowhere.
    """
    found = []
    meant = {_meant(tuple(error["loc"]), model) for error in errors[:MOST_TOLD] if error["type"] == "extra_forbidden"}
    for error in errors[:MOST_TOLD]:
        location = tuple(error["loc"])
        if error["type"] == "missing" and location in meant:
            continue  # told once, at the misspelt key
        for complaint in _complaints(error, location, model):
            path = (*location, *complaint.path)
            where = tree.file_of(path, file)
            found.append(Problem(where, dotted(path), complaint.given, complaint.accepted, complaint.hint))
    if len(errors) > MOST_TOLD:
        found.append(Problem(file, "", f"{len(errors) - MOST_TOLD} more problems", "a scenario; mend the others first"))
    return found


def dotted(path: Location) -> str:
    """Return `kit.arrays.rail.input` or `correlations[1].value`; list entries count from 1."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            name = part if re.fullmatch(r"[\w-]+", part) else shown(part)
            text += f".{name}" if text else name
    return text


def _complaints(error: Any, location: Location, model: type[BaseModel]) -> Iterator[Complaint]:
    kind, given = error["type"], shown(error.get("input"))
    owner, field = declared_at(model, location)
    about = field.description if field is not None and field.description else ""
    if kind == OWN_ERROR:
        for complaint in error["ctx"]["complaints"]:
            yield _explained(complaint, about)
        return
    if kind == "missing":
        is_table = field is not None and table_in(field.annotation)[0] is not None
        hint = f"add [{dotted(location)}] with its keys below it" if is_table else ""
        yield Complaint((), "nothing", f"needed: {about}", hint)
    elif kind == "extra_forbidden":
        yield _unknown_key(location, given, owner, model)
    elif kind == "literal_error":
        choices = _choices(error["ctx"]["expected"])
        text = error.get("input")
        hint = did_you_mean(text, choices) if isinstance(text, str) else ""
        yield Complaint((), given, "one of " + _named(error, choices), hint)
    elif kind in ("model_type", "dict_type", "model_attributes_type"):
        yield Complaint((), given, f"a table: {about}", _table_hint(location, model))
    elif kind == "tuple_type":
        name = dotted(location)
        yield Complaint((), given, f"a list of tables, each starting with [[{name}]]")
    elif kind == "string_type":
        yield Complaint((), given, "a text in quotes")
    else:
        yield Complaint((), given, f"{about or 'another value'} ({error['msg']})")


def _table_hint(location: Location, model: type[BaseModel]) -> str:
    _, field = declared_at(model, location)
    entry, named = table_in(field.annotation) if field is not None else (None, False)
    if named and entry is not None and location[-1] in entry.model_fields:
        return f"give the entry a name: [{dotted(location[:-1])}.first], with this key below it"
    return f"write [{dotted(location)}] and its keys below it"


def _explained(complaint: Complaint, about: str) -> Complaint:
    """Return the complaint with the meaning of its key, where that was asked for."""
    if not (complaint.about_key and about and not complaint.path):
        return complaint
    return replace(complaint, accepted=f"{complaint.accepted} ({about})")


def _unknown_key(location: Location, given: str, owner: type[BaseModel] | None, model: type[BaseModel]) -> Complaint:
    word = str(location[-1])
    known = list(owner.model_fields) if owner is not None else []
    hint = _belongs(word, str(location[0]), model) or did_you_mean(word, known)
    if word == "from":
        hint = "from may stand in the tables of the top level, such as [kit]"
    table = f"a key of [{dotted(location[:-1])}]" if len(location) > 1 else "a key or table of a scenario"
    return Complaint((), given, table if hint else f"{table}: " + ", ".join(known), hint)


def _meant(location: Location, model: type[BaseModel]) -> Location:
    """Return the key that an unknown one was probably meant to be; itself when there is none."""
    owner, _ = declared_at(model, location)
    if owner is None or _belongs(str(location[-1]), str(location[0]), model):
        return location
    return (*location[:-1], *nearest(str(location[-1]), owner.model_fields))


def _belongs(word: str, table: str, model: type[BaseModel]) -> str:
    """Return where a key of that very name stands, preferring the table it was written in."""
    places = [key for key in _every_key(model) if key.rpartition(".")[2] == word]
    near = [key for key in places if key.startswith(f"{table}.")] or places
    if not near:
        return ""
    above = near[0].rpartition(".")[0]
    return f"this key belongs in [{above}]" if above else f"[{word}] stands at the top level"


@cache
def _every_key(model: type[BaseModel]) -> tuple[str, ...]:
    return tuple(all_keys(model))


def _named(error: Any, choices: Sequence[str]) -> str:
    quoted = "'" in error["ctx"]["expected"]
    return listed(choices) if quoted else ", ".join(choices[:-1]) + f" or {choices[-1]}"


def _choices(expected: str) -> list[str]:
    quoted = re.findall(r"'([^']*)'", expected)
    return quoted or re.findall(r"[\w.]+", expected.replace(" or ", " "))

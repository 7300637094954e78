"""What a check of one value has to say, on its way from the check to the reader of the message."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pydantic_core import PydanticCustomError

from riskcalc.output import clean_text

#: Type of the errors raised by our own checks; `scenario.problems` unpacks them again.
OWN_ERROR = "riskcalc"
LONGEST_SHOWN = 80


@dataclass(frozen=True)
class Complaint:
    """One thing wrong at `path` below the key that is being checked.

    `about_key` asks for the meaning of the key to be told along with what is accepted.
    """

    path: tuple[str | int, ...]
    given: str
    accepted: str
    hint: str = ""
    about_key: bool = False


def refusal(complaints: Sequence[Complaint]) -> PydanticCustomError:
    """Return the error that carries the complaints through pydantic."""
    return PydanticCustomError(OWN_ERROR, "refused", {"complaints": tuple(complaints)})


def refuse(
    given: object, accepted: str, hint: str = "", *, path: tuple[str | int, ...] = (), about_key: bool = False
) -> PydanticCustomError:
    """Return the error for one complaint."""
    return refusal([Complaint(path, shown(given), accepted, hint, about_key)])


def shown(value: object) -> str:
    """Return a value as its author wrote it, shortened to one line."""
    try:
        text = _written(value)
    except ValueError:  # an integer of thousands of digits cannot be turned into text
        text = "a very long number"
    return printable(text)


def printable(text: str) -> str:
    """Return a text on one line, without control characters, shortened."""
    text = clean_text("".join(char if char.isprintable() else " " for char in text[: LONGEST_SHOWN + 1]))
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 3] + "..."


def nearest(word: str, known: Iterable[str], *, count: int = 1, cutoff: float = 0.6) -> list[str]:
    """Return the known words that look most like `word`, best first; empty when none is alike by `cutoff` (1: the same)."""
    choices = {choice.lower(): choice for choice in known}
    close = difflib.get_close_matches(str(word).lower()[:LONGEST_SHOWN], choices, n=count, cutoff=cutoff)
    return [choices[match] for match in close]


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return `did you mean "..."?`, or nothing when no known word is near."""
    close = nearest(word, known)
    return f'did you mean "{close[0]}"?' if close else ""


def listed(words: Iterable[str], *, joiner: str = "or") -> str:
    """Return `"a", "b" or "c"`."""
    quoted = [f'"{word}"' for word in words]
    return quoted[0] if len(quoted) == 1 else ", ".join(quoted[:-1]) + f" {joiner} {quoted[-1]}"


def _written(value: object, depth: int = 0) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value[: LONGEST_SHOWN + 1]}"'
    if isinstance(value, dict):
        if depth > 2:
            return "{...}"
        return "{" + ", ".join(f"{key} = {_written(item, depth + 1)}" for key, item in list(value.items())[:6]) + "}"
    if isinstance(value, list | tuple):
        return "[...]" if depth > 2 else "[" + ", ".join(_written(item, depth + 1) for item in value[:13]) + "]"
    return "nothing" if value is None else str(value)

"""What is wrong with an input, said so that its author can mend it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

LONGEST_LINE = 2000


def with_extra(name: str) -> str:
    """Return what is accepted where an optional library is missing: the command that fits how riskcalc was installed."""
    from_copy = (Path(__file__).parents[1] / "pyproject.toml").is_file()
    how = (
        f"pip install -e '.[{name}]' in the copy of the repository" if from_copy else f"pip install 'riskcalc[{name}]'"
    )
    return f"an installation with the extra that it needs: {how}"


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong: where it stands, what was given, what is accepted."""

    file: str
    key: str
    given: str
    accepted: str
    hint: str = ""

    def __str__(self) -> str:
        lines = [f"{self.file}: {self.key}" if self.key else self.file]
        lines.append(f"  given:    {self.given}")
        lines.append(f"  accepted: {self.accepted}")
        if self.hint:
            lines.append(f"  hint:     {self.hint}")
        return "\n".join(_one_line(line) for line in lines)


def _one_line(text: str) -> str:
    """Return a text that cannot move the cursor or fake another line, however it came out of a file."""
    text = text if len(text) <= LONGEST_LINE else f"{text[: LONGEST_LINE - 3]}..."
    return text if text.isprintable() else "".join(char if char.isprintable() else " " for char in text)


class InputError(Exception):
    """Bad input; carries every problem found, never only the first."""

    def __init__(self, problems: Problem | Iterable[Problem]) -> None:
        self.problems = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    def __reduce__(self) -> tuple[type[InputError], tuple[tuple[Problem, ...]]]:
        """Travel between processes with the problems, not with their text."""
        return type(self), (self.problems,)


def one_problem(file: object, key: str, given: object, accepted: str, hint: str = "") -> InputError:
    """Return the error for a single problem; shorthand for the common case."""
    return InputError(Problem(str(file), key, str(given), accepted, hint))


@dataclass(frozen=True)
class Question:
    """One thing that is possible but unusual, to be asked where the answer stands.

    key : what it is about, a dotted key where there is one. given : what was given, with its unit. usual : the usual
    range. effect : what it does to the answer. source : where the usual range comes from.
    """

    key: str
    given: str
    usual: str
    effect: str
    source: str

    def __str__(self) -> str:
        return f"{self.key} is {self.given}; usual: {self.usual} ({self.source}). {self.effect}"

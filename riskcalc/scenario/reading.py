"""`read_scenario`: from a path to a checked, frozen scenario, or to every problem at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel, TypeAdapter, ValidationError

from riskcalc.errors import InputError, Problem
from riskcalc.scenario.alternative import Alternative, alternative_complaints
from riskcalc.scenario.claims import Claim, claims_complaints
from riskcalc.scenario.complaints import Complaint, shown
from riskcalc.scenario.correlations import correlation_complaints
from riskcalc.scenario.dispatch import Dispatch, dispatch_complaints
from riskcalc.scenario.fields import declared_bounds
from riskcalc.scenario.home import Home, home_complaints
from riskcalc.scenario.kit import Kit, kit_complaints
from riskcalc.scenario.layers import OVERRIDE, Tree, override_tree
from riskcalc.scenario.outages import Outages, outage_complaints
from riskcalc.scenario.prices import Prices, path_complaints
from riskcalc.scenario.problems import dotted, problems_of
from riskcalc.scenario.purchase import Purchase, purchase_complaints
from riskcalc.scenario.schema import Reading, Scenario
from riskcalc.scenario.site import Site, site_complaints
from riskcalc.scenario.sources import SHARED_TABLES, Sources, data_paths, fill_columns, fill_metered_use
from riskcalc.scenario.study import Study, study_complaints
from riskcalc.scenario.tariff import Tariff, tariff_complaints
from riskcalc.scenario.tenure import Tenure, tenure_complaints


@dataclass(frozen=True)
class Parts:
    """The tables that are sound by themselves; None for those that are absent or broken."""

    currency: str | None = None
    site: Site | None = None
    home: Home | None = None
    tariff: Tariff | None = None
    prices: Prices | None = None
    kit: Kit | None = None
    dispatch: Dispatch | None = None
    purchase: Purchase | None = None
    tenure: Tenure | None = None
    alternative: Alternative | None = None
    outages: Outages | None = None
    study: Study | None = None
    claims: tuple[Claim, ...] = ()
    present: frozenset[str] = frozenset()


def read_scenario(path: str | Path, overrides: Sequence[str] = (), *, leave_out: Sequence[str] = ()) -> Scenario:
    """Return the scenario in a TOML file, with what it takes `from` other files and what `overrides` change.

    Parameters
    ----------
    path
        The scenario file.
    overrides
        Texts `dotted.key=value`; they win over the files, later ones over earlier ones.
    leave_out
        Tables of the file that are passed over as if they were not there.

    Raises
    ------
    InputError
        With every problem found, each naming the file and key where it stands, what was given, what is accepted.
    """
    scenario_path = Path(path)
    file = scenario_path.as_posix()
    sources = Sources(scenario_path)
    own = {name: table for name, table in sources.read_toml(scenario_path).items() if name not in leave_out}
    changes = list(_changes(overrides, sources))
    tree = _layered(own, changes, scenario_path, sources)
    if "name" not in tree.tables:
        tree.lay({"name": scenario_path.stem}, file)
    given = frozenset(dotted(key) for key in tree.origin) - (frozenset() if "name" in own else {"name"})
    paths = data_paths(tree, sources, file)
    failed = fill_columns(tree, sources, file)
    fill_metered_use(tree, sources, paths, file)
    scenario, found = checked(tree, file)
    problems = [
        *sources.problems,
        *_foreign_money(tree, sources),
        *(problem for problem in found if not _below(problem.key, failed) and not _follows(problem, sources.unread)),
    ]
    if problems or scenario is None:
        raise InputError(dict.fromkeys(problems))
    scenario._reading = Reading(tuple(sources.files.values()), given, paths, tuple(overrides))  # noqa: SLF001
    return scenario


def _foreign_money(tree: Tree, sources: Sources) -> Iterator[Problem]:
    """Yield the prices that a shared file states in another currency than that of the scenario."""
    currency = tree.tables.get("currency")
    for path, where in tree.origin.items():
        theirs = sources.currency_of(where)
        if theirs is None or theirs == currency or "{money}" not in declared_bounds(Scenario, dotted(path)).unit:
            continue
        accepted = f"a price in {shown(currency)}, the currency of the scenario"
        hint = "state this price in the scenario itself, or in a file of its own"
        yield Problem(where, dotted(path), f"a price in {theirs}", accepted, hint)


def checked(tree: Tree, file: str) -> tuple[Scenario | None, list[Problem]]:
    """Return the scenario that the tree holds, None when it is not sound, and every problem found."""
    scenario, problems = None, []
    try:
        scenario = Scenario.model_validate(tree.tables)
    except ValidationError as error:
        errors = error.errors(include_url=False)
        problems = problems_of(errors, Scenario, tree, file)
        broken = {str(item["loc"][0]) for item in errors if item["loc"]}
        complaints: Iterable[Complaint] = cross_complaints(_sound_parts(tree.tables, broken))
    else:
        complaints = _all_complaints(scenario, tree)
    for complaint in complaints:
        where = tree.file_of(complaint.path, file)
        problems.append(Problem(where, dotted(complaint.path), complaint.given, complaint.accepted, complaint.hint))
    return scenario, problems


def _changes(overrides: Sequence[str], sources: Sources) -> Iterator[dict[str, Any]]:
    for text in overrides:
        tree, problem = override_tree(text)
        if problem is not None:
            sources.problems.append(problem)
        elif tree is not None:
            yield tree


def _layered(own: dict[str, Any], changes: Sequence[dict[str, Any]], path: Path, sources: Sources) -> Tree:
    tree = Tree()
    for table in SHARED_TABLES:
        said: tuple[object, Path | None] | None = None
        for layer, where in ((own, path), *((change, None) for change in changes)):
            held = layer.get(table)
            if isinstance(held, dict) and "from" in held:
                said = held["from"], where
        if said is not None:
            target, where = said
            # What an override names is relative to the folder the command runs in.
            anchor = Path(OVERRIDE) if where is None else path
            sources.lay_shared(tree, table, target, where, anchor=anchor, chain=(path,))
    tree.lay(_without_from(own), path.as_posix())
    for change in changes:
        tree.lay(_without_from(change), OVERRIDE)
    return tree


def _without_from(layer: dict[str, Any]) -> dict[str, Any]:
    return {
        key: {name: item for name, item in value.items() if name != "from"}
        if key in SHARED_TABLES and isinstance(value, dict)
        else value
        for key, value in layer.items()
    }


def _all_complaints(scenario: Scenario, tree: Tree) -> Iterator[Complaint]:
    yield from cross_complaints(_parts({name: getattr(scenario, name) for name in Scenario.model_fields}, tree.tables))
    by_hand = {dotted(path) for path, where in tree.origin.items() if where == OVERRIDE}
    yield from correlation_complaints(scenario.correlations, scenario.quantities(), set_by_hand=by_hand)


def cross_complaints(parts: Parts) -> Iterator[Complaint]:
    """Yield everything that does not fit together; each table's own file says what that is."""
    kit, study = parts.kit, parts.study
    if "kit" in parts.present and "purchase" not in parts.present:
        yield Complaint(("purchase",), "nothing", "needed with [kit]: [purchase] with price = ...")
    if "purchase" in parts.present and "kit" not in parts.present:
        yield Complaint(("kit",), "nothing", "needed with [purchase]: the kit that is bought", "or remove [purchase]")
    checks: tuple[tuple[BaseModel | None, Callable[..., Iterator[Complaint]], tuple[Any, ...]], ...] = (
        (parts.site, site_complaints, (parts.home,)),
        (parts.home, home_complaints, (kit,)),
        (parts.tariff, tariff_complaints, (parts.site, parts.currency)),
        (parts.prices, path_complaints, (study,)),
        (kit, kit_complaints, (parts.home,)),
        (parts.dispatch, dispatch_complaints, (parts.tariff, kit)),
        (parts.purchase, purchase_complaints, (kit,)),
        (parts.tenure, tenure_complaints, (kit,)),
        (parts.alternative, alternative_complaints, (kit,)),
        (parts.outages, outage_complaints, (kit,)),
        (study, study_complaints, (kit,)),
    )
    for table, complaints, beside in checks:
        if table is not None:
            yield from complaints(table, *beside)
    yield from claims_complaints(parts.claims)


def _sound_parts(tables: dict[str, Any], broken: set[str]) -> Parts:
    """Read again, one by one, the tables that are not to blame, so that what lies between them is still checked."""
    sound = {}
    for name, field in Scenario.model_fields.items():
        if name in tables and name not in broken:
            sound[name] = TypeAdapter(field.annotation).validate_python(tables[name]) if field.annotation else None
    return _parts(sound, tables)


def _parts(values: dict[str, Any], tables: dict[str, Any]) -> Parts:
    held: dict[str, Any] = {name: value for name, value in values.items() if isinstance(value, BaseModel)}
    claims = values.get("claims") or ()
    return Parts(currency=values.get("currency"), claims=claims, present=frozenset(tables), **held)


def _follows(problem: Problem, unread: set[str]) -> bool:
    """Return whether a key is only missing because the file that should bring it could not be read."""
    return problem.given == "nothing" and problem.key.split(".")[0] in unread


def _below(key: str, paths: Sequence[tuple[str | int, ...]]) -> bool:
    return any(key == dotted(path) or key.startswith(f"{dotted(path)}.") for path in paths)

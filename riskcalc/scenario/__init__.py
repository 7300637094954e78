"""The scenario: what is read, checked and frozen before anything is computed."""

from riskcalc.scenario.assumptions import Assumption, assumptions
from riskcalc.scenario.claims import Claim
from riskcalc.scenario.dispatch import FOUND
from riskcalc.scenario.editor_schema import json_schema
from riskcalc.scenario.kit import array_inputs, array_surfaces
from riskcalc.scenario.reading import read_scenario
from riskcalc.scenario.schema import FileUsed, Scenario, bounds_of, family_of, unit_of
from riskcalc.uncertainty.quantity import Quantity

__all__ = [
    "FOUND",
    "Assumption",
    "Claim",
    "FileUsed",
    "Quantity",
    "Scenario",
    "array_inputs",
    "array_surfaces",
    "assumptions",
    "bounds_of",
    "family_of",
    "json_schema",
    "read_scenario",
    "unit_of",
]

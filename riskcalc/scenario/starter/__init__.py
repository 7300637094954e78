"""A first scenario from a few answers: questions, a shelf of invented kits, and the text of the file."""

from riskcalc.scenario.starter.questions import QUESTIONS, Answers, Question
from riskcalc.scenario.starter.shelf import Kit, shelf_kits
from riskcalc.scenario.starter.text import scenario_text

__all__ = ["QUESTIONS", "Answers", "Kit", "Question", "scenario_text", "shelf_kits"]

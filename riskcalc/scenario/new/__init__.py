"""A first scenario from a few answers: questions, a shelf of invented kits, and the text of the file."""

from riskcalc.scenario.new.questions import QUESTIONS, Answers, Question
from riskcalc.scenario.new.shelf import Kit, shelf_kits
from riskcalc.scenario.new.text import scenario_text

__all__ = ["QUESTIONS", "Answers", "Kit", "Question", "scenario_text", "shelf_kits"]

"""Options side by side on common draws: which is best, how sure that is, what a wrong choice would cost."""

from riskcalc.answers.comparison_result import draw_table, page_dict, result
from riskcalc.answers.option_figures import Pair, best_shares, pairs, regrets, value_of_knowing
from riskcalc.answers.options import Comparison, Option, comparison
from riskcalc.answers.question import Entry
from riskcalc.answers.stay import StayCurve, StayPair, stay_curves, stay_pairs, stays_to_follow

__all__ = [
    "Comparison",
    "Entry",
    "Option",
    "Pair",
    "StayCurve",
    "StayPair",
    "best_shares",
    "comparison",
    "draw_table",
    "page_dict",
    "pairs",
    "regrets",
    "result",
    "stay_curves",
    "stay_pairs",
    "stays_to_follow",
    "value_of_knowing",
]

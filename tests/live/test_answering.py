"""Answers that sharpen: the last is the one `assess` gives, the rough ones are its first draws."""

import threading

import numpy as np
import pytest

from riskcalc.live.answering import Answering, Outrun, Pin, first_screen, of_first_draws, rounds
from riskcalc.study.model import assessment

FEW = ["study.draws=512", "study.horizon_years=3", "study.pool_years=16", "study.step_minutes=30"]


def test_the_last_round_has_the_bits_of_assess(read_small):
    scenario = read_small(*FEW)
    found = list(rounds(scenario, stop=lambda: False))
    whole = assessment(scenario)
    assert [part.draws for part in found] == [128, 256, 512]
    np.testing.assert_array_equal(found[-1].valuation.net_present_value, whole.valuation.net_present_value)
    np.testing.assert_array_equal(found[-1].valuation.payback_years, whole.valuation.payback_years)


def test_the_rough_answer_is_about_as_sure_as_it_says(read_small):
    """The futures of a scramble meet the same years, and the error says so: the answer lies within four errors of the last."""
    rough, *_, last = rounds(read_small(*FEW), stop=lambda: False)
    assert set(rough.design.unit) == set(last.design.unit)
    shown = first_screen(rough, [], all_draws=512)
    worth, odds = shown["net_present_value"]["mean"], shown["odds"]
    assert worth["standard_error"] > 0.0
    assert abs(worth["value"] - last.valuation.net_present_value.mean()) < 4.0 * worth["standard_error"]
    assert abs(odds["value"] - np.isfinite(last.valuation.payback_years).mean()) <= 4.0 * odds["standard_error"] + 1e-9
    assert not shown["last"]


def test_a_round_holds_the_first_draws_of_each_scramble(read_small):
    rough, *_, last = rounds(read_small(*FEW), stop=lambda: False)
    worth = last.valuation.net_present_value
    few = of_first_draws(worth, rough.draws, scrambles=last.design.scrambles)
    np.testing.assert_array_equal(few, rough.valuation.net_present_value)
    assert of_first_draws(few, last.draws, scrambles=last.design.scrambles) is None


def test_a_newer_change_ends_what_runs(read_small):
    with pytest.raises(Outrun):
        list(rounds(read_small(*FEW), stop=lambda: True))


def test_an_answer_differs_from_itself_by_nothing(read_small):
    *_, found = rounds(read_small(*FEW), stop=lambda: False)
    money = found.valuation
    pin = Pin("itself", {}, money.net_present_value, np.isfinite(money.payback_years).astype(float))
    shown = first_screen(found, [pin], all_draws=found.draws)["pins"][0]
    assert shown["better_by"] == {"value": 0.0, "standard_error": 0.0}
    assert shown["odds_up_by"] == {"value": 0.0, "standard_error": 0.0}


def test_only_the_newest_question_is_answered_to_the_end(read_small):
    told, done = [], threading.Event()

    def tell(answer):
        told.append(answer)
        if answer.get("last"):
            done.set()

    answering = Answering(tell)
    answering.ask(read_small(*FEW, "purchase.price=1000"))
    newest = answering.ask(read_small(*FEW, "purchase.price=10"))
    assert done.wait(120)
    assert [answer["question"] for answer in told if answer["last"]] == [newest]
    assert answering.found is not None
    assert answering.found.values["purchase.price"][0] == 10


def test_a_fault_of_ours_is_told_and_not_waited_for(read_small, monkeypatch):
    """A page must not wait for an answer that cannot come."""
    told, done = [], threading.Event()

    def tell(answer):
        told.append(answer)
        done.set()

    def broken(*_arguments, **_settings):
        raise ZeroDivisionError("broken")

    monkeypatch.setattr("riskcalc.live.answering.rounds", broken)
    number = Answering(tell).ask(read_small(*FEW))
    assert done.wait(60)
    assert told[0]["question"] == number
    assert "ZeroDivisionError" in told[0]["problems"][0]["given"]

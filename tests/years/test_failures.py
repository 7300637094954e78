"""When electronics fail: the default lives, and where they come from."""

import numpy as np
import pytest

from riskcalc.scenario import read_scenario


@pytest.fixture
def life_of(small_file):
    """A function that returns the default life of the electronics of a kit by its coupling."""
    kept = [line for line in small_file.read_text().splitlines() if not line.startswith(("electronics_life", "scale"))]
    small_file.write_text("\n".join(kept))

    def life(coupling):
        changes = (f'kit.coupling="{coupling}"',)
        return read_scenario(small_file, changes).quantities()["kit.ageing.electronics_life_years"]

    return life


@pytest.mark.published
@pytest.mark.parametrize("coupling", ["whole_home", "plug_in"])
def test_inverters_fail_as_often_as_in_homes(life_of, coupling, record_property):
    """34.3 % of the inverters of 1,195 homes had failed once after 15 years (Bucher, Wandel & Joss, WCPEC-8, 2022)."""
    failed = float(life_of(coupling).cumulative(np.array(15.0)))
    source = "Bucher, Wandel & Joss, WCPEC-8, 2022"
    record_property("published", ("inverters failed after 15 years", source, 0.343, failed))
    assert failed == pytest.approx(0.343, abs=0.005)


def test_a_portable_unit_is_less_certain_and_never_eternal(life_of):
    """Where nothing is published the range is wide: one in ten fails within 6 years, one in ten lives beyond 24."""
    life = life_of("sockets")
    assert life.is_uncertain
    assert "judgement" in life.source
    assert 0.08 < float(life.cumulative(np.array(6.0))) < 0.18
    assert 0.08 < 1.0 - float(life.cumulative(np.array(24.0))) < 0.18

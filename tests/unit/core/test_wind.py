"""Wind on a panel against the standard formula and a crane manual's worked example."""

import pytest

from monitor.core.wind import area_limit_m_s, pressure_pa


@pytest.mark.parametrize(("wind_m_s", "pa"), [(10.0, 62.50), (9.8, 60.03), (14.0, 122.50), (20.0, 250.0)])
def test_dynamic_pressure(wind_m_s: float, pa: float) -> None:
    """EN 13001-2, FEM, DIN: q = v²/1.6 (from memory)."""
    assert pressure_pa(wind_m_s) == pytest.approx(pa, abs=5e-3)


def test_twice_the_speed_is_four_times_the_pressure() -> None:
    """Square law, as a tower-crane technical note restates it."""
    assert pressure_pa(2 * 7.3) == pytest.approx(4 * pressure_pa(7.3))


@pytest.mark.parametrize(("chart_km_h", "printed_km_h", "unrounded_km_h"), [(36.0, 18.0, 18.59), (50.0, 25.0, 25.82)])
def test_large_area_example(chart_km_h: float, printed_km_h: float, unrounded_km_h: float) -> None:
    """A crane manual applying EN 13000: 2 t, 9 m², cw 1; it prints the reduction rounded to 0.5."""
    limit = area_limit_m_s(chart_km_h, 2000.0, 1.0, 9.0)
    assert limit == pytest.approx(unrounded_km_h, abs=0.005)
    assert round(limit / chart_km_h, 1) * chart_km_h == pytest.approx(printed_km_h)


@pytest.mark.parametrize(("load_kg", "area_m2", "cw", "limit"), [(750.0, 10.0, 1.6, 2.13), (500.0, 6.0, 1.2, 2.60)])
def test_glass_is_always_limited_by_its_area(load_kg: float, area_m2: float, cw: float, limit: float) -> None:
    assert area_limit_m_s(9.0, load_kg, cw, area_m2) == pytest.approx(limit, abs=0.005)


def test_small_area_keeps_the_charts_limit() -> None:
    assert area_limit_m_s(9.0, 5000.0, 1.0, 2.0) == 9.0

"""Whole plans through the command, each figure worked out again here by hand: statics, BTH-1's end points, friction.

Four pads of 1000 cm² at the corners of 1.2 m x 0.8 m, circuits on the diagonals, warning level 50 kPa: 5000 N a pad.
"""

import json
import math
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main

G = 9.80665
PAD_N = 5000.0
CORNERS = {"A1": (-0.6, 0.4), "B1": (0.6, 0.4), "A2": (0.6, -0.4), "B2": (-0.6, -0.4)}
SUM_X2, SUM_Y2 = 4 * 0.36, 4 * 0.16
POLAR = SUM_X2 + SUM_Y2


@pytest.fixture
def plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Any:
    def judged(*given: str, more: str = "", basis: str = "asme-bth-1") -> dict[str, Any]:
        pads = "".join(
            f'[lifter.pads.{pad}]\ncircuit = "{pad[0]}"\nx_mm = {x * 1000:g}\ny_mm = {y * 1000:g}\narea_cm2 = 1000\n'
            for pad, (x, y) in CORNERS.items()
        )
        site = tmp_path / "site.toml"
        site.write_text(
            f'site = "quayside"\n[broker]\nembedded = true\n[[lifter]]\nid = "dock-6"\nbasis = "{basis}"\nwll_kg = 5000\n'
            f"{more}\n[lifter.circuits.A]\nwarning_kpa = 50\n[lifter.circuits.B]\nwarning_kpa = 50\n{pads}"
        )
        assert main(["plan", "--site", str(site), "--lifter", "dock-6", *given, "--json"]) == 0
        answer: dict[str, Any] = json.loads(capsys.readouterr().out)
        return answer

    return judged


def of_pads(answer: dict[str, Any], name: str) -> dict[str, float]:
    return {pad["id"]: pad[name] for pad in answer["pads"]}


def test_symmetrical_and_upright(plan: Any) -> None:
    answer = plan("--weight", "300", "--tilt-deg", "90", "90", "--rotation-deg", "0", "0")
    assert answer["rated_kg"] == pytest.approx(4 * PAD_N / (4 * G))  # Nv = 4 upright
    assert answer["governs"] == "basis"
    assert answer["margin_kg"] == pytest.approx(509.858 - 300.0, abs=1e-3)
    assert answer["use_ratio"] == pytest.approx(300.0 / 509.858, abs=1e-6)
    assert of_pads(answer, "normal_n") == pytest.approx(dict.fromkeys(CORNERS, 0.0), abs=1e-6)
    assert of_pads(answer, "in_plane_n") == pytest.approx(dict.fromkeys(CORNERS, 300 * G / 4))
    assert of_pads(answer, "use_ratio") == pytest.approx(dict.fromkeys(CORNERS, 4 * 300 * G / 4 / PAD_N))
    assert answer["needed_kpa"] == pytest.approx(dict.fromkeys("AB", 50 * 300 * G / PAD_N))
    # a diagonal left: W/2 a pad, s/mu against 5000 N
    assert answer["if_lost"]["A"] == {"factor": pytest.approx(PAD_N / (300 * G / 2 / 0.5)), "needed_factor": None}
    assert answer["verdict"] == "within_limits"
    assert answer["wind_limit_m_s"] is None


def test_symmetrical_from_flat_to_upright_is_hardest_in_between(plan: Any) -> None:
    answer = plan("--weight", "300", "--tilt-deg", "0", "90")
    assert answer["governs"] == "friction"
    assert answer["rated_kg"] == pytest.approx(4 * PAD_N / (2 * math.sqrt(1 + 1 / 0.5**2) * G))
    assert answer["at_tilt_deg"] == pytest.approx(math.degrees(math.atan(1 / 0.5)))
    tilt = math.atan(2.0)
    assert of_pads(answer, "normal_n") == pytest.approx(dict.fromkeys(CORNERS, 300 * G * math.cos(tilt) / 4))
    assert of_pads(answer, "in_plane_n") == pytest.approx(dict.fromkeys(CORNERS, 300 * G * math.sin(tilt) / 4))


def test_eccentric_and_flat(plan: Any) -> None:
    at = {"x": 0.15, "y": -0.10}
    given = ("--weight", "200", "--cg-x-mm", "150", "--cg-y-mm", "-100", "--tilt-deg", "0", "0")
    answer = plan(*given)
    shares = {pad: 1 / 4 + at["x"] * x / SUM_X2 + at["y"] * y / SUM_Y2 for pad, (x, y) in CORNERS.items()}
    assert sum(shares.values()) == pytest.approx(1.0)
    assert of_pads(answer, "normal_n") == pytest.approx({pad: 200 * G * share for pad, share in shares.items()})
    assert answer["worst_pad"] == {"id": "A2", "use_ratio": pytest.approx(2 * 200 * G * shares["A2"] / PAD_N)}
    assert answer["governs"] == "worst_pad"
    assert answer["rated_kg"] == pytest.approx(PAD_N / (2 * G * shares["A2"]))
    assert answer["best_offset"] == pytest.approx(
        {"x_mm": 150.0, "y_mm": -100.0, "rated_kg": 4 * PAD_N / (2 * G), "fits": True}
    )
    # the diagonal left cannot balance a load that lies beside it
    assert answer["if_lost"]["A"]["factor"] == 0.0


@pytest.mark.parametrize(("turn_deg", "down"), [(0, (0, -1)), (90, (-1, 0)), (180, (0, 1)), (-90, (1, 0))])
def test_eccentric_upright_and_turned(plan: Any, turn_deg: int, down: tuple[float, float]) -> None:
    """Turned to the left by 90 degrees, the panel's own left side is down. Elastic vector method about the middle."""
    given = (
        "--weight",
        "200",
        "--cg-x-mm",
        "150",
        "--cg-y-mm",
        "-100",
        "--cg-depth-mm",
        "50",
        "--tilt-deg",
        "90",
        "90",
    )
    answer = plan(*given, "--rotation-deg", str(turn_deg), str(turn_deg))
    weight_n = 200 * G
    torque = 0.15 * down[1] - (-0.10) * down[0]
    slides, pulls = {}, {}
    for pad, (x, y) in CORNERS.items():
        slides[pad] = weight_n * math.hypot(down[0] / 4 - torque * y / POLAR, down[1] / 4 + torque * x / POLAR)
        # the depth pulls the upper row and presses the lower one, W d = 2 n (distance of the rows)
        pulls[pad] = max(0.0, weight_n * 0.05 * (-down[0] * x / SUM_X2 - down[1] * y / SUM_Y2))
    assert of_pads(answer, "in_plane_n") == pytest.approx(slides)
    assert of_pads(answer, "normal_n") == pytest.approx(pulls, rel=1e-4, abs=1e-3)
    uses = {pad: 4 * math.hypot(pulls[pad], slides[pad]) / PAD_N for pad in CORNERS}
    assert of_pads(answer, "use_ratio") == pytest.approx(uses, rel=1e-4)
    assert answer["worst_pad"]["id"] == max(uses, key=lambda pad: uses[pad])
    assert answer["rated_kg"] == pytest.approx(200 / max(uses.values()), rel=1e-4)


def test_factor_two_with_a_circuit_lost(plan: Any) -> None:
    """EN 13155, second circuit alone with factor 2 (restated by a glass-safety institute): a diagonal of 2 x 5000 N."""
    given = ("--tilt-deg", "90", "90", "--rotation-deg", "0", "0")
    carries_kg = 2 * PAD_N * 0.5 / (2 * G)
    heavy, light = (
        plan("--weight", f"{kg}", *given, basis="en-13155", more="tilt_allowance_deg = 0")
        for kg in (carries_kg + 0.1, carries_kg - 0.1)
    )
    assert heavy["if_lost"]["B"]["factor"] == pytest.approx(2.0 * carries_kg / (carries_kg + 0.1))
    assert heavy["if_lost"]["B"]["needed_factor"] == 2.0
    assert heavy["verdict"] == "outside_limits"
    assert heavy["margin_kg"] > 0.0  # with both circuits it would hold
    assert light["verdict"] == "within_limits"


def test_en_at_the_tilt_allowance(plan: Any) -> None:
    """Twice W (cos + sin/mu) at 6 degrees beyond flat, on both sides of it (allowance from memory of EN 13155)."""
    answer = plan("--weight", "100", "--tilt-deg", "0", "0", basis="en-13155")
    beyond = math.radians(6)
    assert answer["rated_kg"] == pytest.approx(4 * PAD_N / (2 * G * (math.cos(beyond) + math.sin(beyond) / 0.5)))


def test_wet_against_dry(plan: Any) -> None:
    dry, wet, oily = (
        plan("--weight", "100", "--tilt-deg", "90", "90", "--surface", word)["rated_kg"]
        for word in ("dry", "wet", "oily")
    )
    assert wet / dry == pytest.approx(0.2 / 0.5)
    assert oily / dry == pytest.approx(0.1 / 0.5)


def test_wind_on_a_hanging_pane(plan: Any) -> None:
    """Dynamic pressure v²/1.6 (EN 13001-2), cw 2, gust 8 m/s on 3.75 m²: 300 N; on the edge of 2.915 m x 17.52 mm: 4.1 N."""
    pane = ("--size", "2.5 m x 1.5 m", "--makeup", "glass 8 + pvb 1.52 + glass 8", "--cg-depth-mm", "0")
    given = (*pane, "--tilt-deg", "90", "90", "--rotation-deg", "0", "0", "--wind-m-s", "8")
    answer = plan(*given, more="wind_limit_m_s = 9")
    weight_n = 3.75 * (16 * 2.5 + 1.52 * 1.07) * G
    away_n = 8**2 / 1.6 * 2 * 3.75
    along_n = 8**2 / 1.6 * 2 * math.hypot(2.5, 1.5) * 0.01752
    assert answer["weight_kg"] == pytest.approx(156.099, abs=1e-3)
    assert of_pads(answer, "normal_n") == pytest.approx(dict.fromkeys(CORNERS, away_n / 4))
    assert of_pads(answer, "in_plane_n") == pytest.approx(dict.fromkeys(CORNERS, (weight_n + along_n) / 4))
    friction_n = (4 * PAD_N / 2 - away_n - along_n / 0.5) * 0.5  # W/mu + wind <= F/2
    basis_n = math.sqrt((4 * PAD_N / 4) ** 2 - away_n**2) - along_n
    assert answer["rated_kg"] == pytest.approx(min(friction_n, basis_n) / G)
    assert answer["governs"] == "friction"
    assert answer["wind_limit_m_s"] == pytest.approx(9 * math.sqrt(1.2 * 0.156099 / (2 * 3.75)), abs=1e-4)
    assert answer["verdict"] == "outside_limits"
    assert answer["reasons"][0]["key"] == "plan.wind_over"
    assert "measured at: ground" in answer["reasons"][0]["words"]


def test_thinner_air_and_hoisting(plan: Any) -> None:
    """ISO 2533 at 2500 m: 74.6825 kPa, so 60 kPa of working level become 44.22; 100 m up take 1.2 kPa more."""
    given = ("--weight", "100", "--tilt-deg", "90", "90", "--altitude-m", "2500", "--lift-height-m", "100")
    answer = plan(*given)
    there_kpa = 60 * 74.6825 / 101.325 - 1.2
    assert answer["judged_kpa"]["A"] == pytest.approx(there_kpa, abs=1e-3)
    assert answer["rated_kg"] == pytest.approx(4 * 0.1 * there_kpa * 1000 / (4 * G), rel=1e-4)
    assert answer["verdict"] == "outside_limits"

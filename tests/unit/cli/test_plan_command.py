import json

import pytest

from monitor.cli.main import main
from tests.brokers import ROOT

PLAN = ["plan", "--site", str(ROOT / "configs" / "demo.toml"), "--lifter", "dock-6"]


def test_plan_says_verdict_figures_and_checks_and_never_that_it_is_safe(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*PLAN, "--weight", "624", "--tilt-deg", "90", "90"]) == 0
    said = capsys.readouterr()
    assert said.out.startswith(
        "Within the figures entered; the supervisor decides.\ndock-6: panel 624 kg, rated 900 kg, margin 276 kg"
    )
    assert "Before the lift" in said.out
    assert "local codes and a competent person decide" in said.out
    assert " safe" not in said.out
    assert "818 kg between flat and upright (at a tilt of 63°), under the plate's 900 kg" in said.err


def test_plan_outside_its_limits_is_an_answer_not_a_failure(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*PLAN, "--weight", "2000"]) == 0
    assert capsys.readouterr().out.startswith("Outside the figures entered.")


def test_words_in_us_units_figures_in_si(capsys: pytest.CaptureFixture[str]) -> None:
    """NIST SP 811: 700 lb are 317.51 kg, 900 kg are 1984.2 lb, 52 kPa 15.4 inHg (conventional), 9 m/s 20.1 mph."""
    given = [*PLAN, "--weight", "700 lb", "--size", "8 ft x 5 ft", "--tilt-deg", "90", "90", "--units", "us"]
    assert main(given) == 0
    said = capsys.readouterr().out
    assert "panel 700 lb, rated 1984 lb, margin 1284 lb" in said
    assert "judged at 15.4 inHg" in said
    assert "says 20.1 mph" in said
    assert " kg" not in said
    assert " kPa" not in said
    assert main([*given, "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["weight_kg"] == pytest.approx(317.515, abs=1e-3)
    assert "1984 lb" in answer["reasons"][-1]["words"]


def test_pads_that_cannot_balance_the_panel_have_no_number(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*PLAN, "--weight", "100", "--cg-x-mm", "2000"]) == 0
    assert "inf" not in capsys.readouterr().out.replace("information", "")


def test_size_and_makeup_give_the_weight(capsys: pytest.CaptureFixture[str]) -> None:
    """EN 572-1: 2500 kg/m³, so 10 mm of glass is 25 kg/m²; 2.5 m x 1.5 m of it is 93.75 kg."""
    assert main([*PLAN, "--size", "2.5 m x 1.5 m", "--makeup", "glass 10", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["weight_kg"] == pytest.approx(93.75)
    assert answer["verdict"] == "within_limits"
    assert all(text["words"] for text in answer["reasons"] + answer["notes"] + answer["checks"])


def test_command_is_understood_as_the_interface_gives_it(capsys: pytest.CaptureFixture[str]) -> None:
    """Every option at once, with units: 700 lb are 317.51 kg (NIST SP 811), 16 inHg 54.18 kPa, 25 mph 11.176 m/s."""
    given = ["--layout", "narrow", "--weight", "700 lb", "--cg-x-mm", "-2 in", "--cg-y-mm", "40", "--cg-depth-mm", "12"]
    given += [
        "--tilt-deg",
        "0",
        "90",
        "--rotation-deg",
        "-90",
        "0",
        "--vacuum-kpa",
        "16 inHg",
        "--altitude-m",
        "300 ft",
    ]
    given += ["--lift-height-m", "60 ft", "--wind-m-s", "25 mph", "--surface", "wet", "--json"]
    assert main([*PLAN, *given]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["weight_kg"] == pytest.approx(317.515, abs=1e-3)
    assert answer["judged_kpa"]["A"] == pytest.approx(54.18 - 0.012 * 60 * 0.3048, abs=1e-2)
    assert answer["centre"] == pytest.approx({"x_mm": -50.8, "y_mm": 40.0, "depth_mm": 12.0})
    assert answer["friction"] == 0.2
    promised = "weight_kg rated_kg governs margin_kg use_ratio worst_pad pads if_lost needed_kpa wind_limit_m_s verdict"
    assert {*promised.split(), "reasons"} <= answer.keys()
    assert {"normal_n", "in_plane_n", "use_ratio"} <= answer["pads"][0].keys()
    assert {"factor", "needed_factor"} == answer["if_lost"]["A"].keys()


def test_outline_with_an_opening_gives_the_weight(capsys: pytest.CaptureFixture[str]) -> None:
    """2.4 m x 1.4 m of 30 mm granite (81 kg/m²) less an opening of 0.3 m x 0.4 m: 3.24 m²."""
    outline, opening = "-1200,-700; 1200,-700; 1.2 m,0.7 m; -1200,700", "-150,-200; 150,-200; 150,200; -150,200"
    panel = ["--outline", outline, "--makeup", "granite 30", "--json"]
    assert main([*PLAN, *panel, "--cut-out", opening]) == 0
    assert json.loads(capsys.readouterr().out)["weight_kg"] == pytest.approx(3.24 * 81.0)
    assert main([*PLAN, *panel, "--cut-out", opening, "--cut-out", "800,-400; 1000,-400; 1000,-200; 800,-200"]) == 2
    assert "pad B2 is at 900, -300 mm, over a cut-out" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ([], "weight is not given"),
        (["--weight", "-5"], "weight is -5 kg"),
        (["--weight", "nan"], 'weight is "nan"'),
        (["--weight", "5 ft"], 'weight is "5 ft"'),
        (["--weight", "600", "--layout", "wide"], 'layout is "wide"; it must be one of narrow'),
        (["--weight", "600", "--layout", "narrow", "--pads", "A1"], "layout is given beside pads"),
        (["--weight", "600", "--pads", "A1,C9"], '"C9"'),
        (["--weight", "600", "--tilt-deg", "120", "90"], "lower end first"),
        (["--weight", "600", "--surface", "damp"], "one of dry, wet, oily"),
        (["--size", "2 x 2", "--makeup", "cheese 8"], '"cheese"'),
        (["--size", "2", "--makeup", "glass 8"], "size is"),
        (["--size", "0 x 2", "--makeup", "glass 8"], "above 0"),
    ],
)
def test_plan_that_cannot_be_judged_is_bad_input(
    more: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*PLAN, *more]) == 2
    said = capsys.readouterr()
    assert says in said.err
    assert said.out == ""


def test_everything_wrong_is_told_at_once(capsys: pytest.CaptureFixture[str]) -> None:
    wrong = {
        "--weight": ["-5"],
        "--size": ["1 x"],
        "--makeup": ["cheese 8 + glass 0"],
        "--pads": ["A1,C9"],
        "--cg-x-mm": ["left"],
        "--tilt-deg": ["up", "90"],
        "--vacuum-kpa": ["16 ft"],
        "--altitude-m": ["90000"],
        "--wind-m-s": ["-1"],
        "--surface": ["damp"],
    }
    assert main([*PLAN[:-1], "dock-6", *(word for option, given in wrong.items() for word in (option, *given))]) == 2
    told = capsys.readouterr().err
    for option in wrong:
        assert option.removeprefix("--").replace("-", "_") in told
    assert main([*PLAN[:-1], "dock-9", "--weight", "x"]) == 2
    told = capsys.readouterr().err
    assert 'lifter is "dock-9"; it must be one of dock-6' in told
    assert 'weight is "x"' in told

import json

import pytest

from monitor.cli.main import main
from tests.brokers import ROOT

PLAN = ["plan", "--site", str(ROOT / "configs" / "demo.toml"), "--lifter", "dock-6"]


def test_plan_says_verdict_figures_and_checks_and_never_that_it_is_safe(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*PLAN, "--weight", "624", "--tilt", "90"]) == 0
    said = capsys.readouterr()
    assert said.out.startswith(
        "dock-6: Within the figures entered; the supervisor decides.\npanel 624 kg, rated 900 kg, margin 276 kg"
    )
    assert "Before the lift" in said.out
    assert "local codes and a competent person decide" in said.out
    assert " safe" not in said.out
    assert said.err == ""


def test_plan_outside_its_limits_is_an_answer_not_a_failure(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*PLAN, "--weight", "2000"]) == 0
    assert capsys.readouterr().out.startswith("dock-6: Outside the figures entered.")


def test_size_and_makeup_give_the_weight(capsys: pytest.CaptureFixture[str]) -> None:
    """EN 572-1: 2500 kg/m³, so 10 mm of glass is 25 kg/m²; 2.5 m x 1.5 m of it is 93.75 kg."""
    assert main([*PLAN, "--size", "2.5x1.5", "--makeup", "glass 10", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["weight_kg"] == pytest.approx(93.75)
    assert answer["verdict"] == "within_limits"
    assert all(text["words"] for text in answer["reasons"] + answer["notes"] + answer["checks"])


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ([], "weight is not given"),
        (["--weight", "-5"], "weight_kg is -5"),
        (["--weight", "nan"], "weight_kg is nan"),
        (["--weight", "600", "--layout", "wide"], "--layout is 'wide'; lifter dock-6 has narrow"),
        (["--weight", "600", "--pads", "A1,C9"], '"C9"'),
        (["--weight", "600", "--tilt", "120:90"], "lower end first"),
        (["--size", "2x2", "--makeup", "cheese 8"], '"cheese"'),
    ],
)
def test_plan_that_cannot_be_judged_is_bad_input(
    more: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*PLAN, *more]) == 2
    said = capsys.readouterr()
    assert says in said.err
    assert said.out == ""


def test_unknown_lifter_is_told_which_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*PLAN[:-1], "dock-9", "--weight", "600"]) == 2
    assert "--lifter is 'dock-9'" in capsys.readouterr().err


@pytest.mark.parametrize(
    "more", [["--size", "2"], ["--size", "2x"], ["--tilt", "up"], ["--centre", "1"], ["--weight", "x"]]
)
def test_number_that_is_none_is_misuse(more: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main([*PLAN, *more])
    assert ended.value.code == 2
    assert more[0] in capsys.readouterr().err

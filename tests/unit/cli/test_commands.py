import subprocess
import sys
from pathlib import Path

import pytest

from monitor.cli.common import BadInputError, default_data, made
from monitor.cli.main import main, parser
from tests.brokers import ROOT


def test_commands_and_their_options_are_the_promised_ones() -> None:
    for line in (
        "demo --listen 127.0.0.1:0 --scenario clean-lift --speed 2 --data somewhere",
        "run --site site.toml --listen 127.0.0.1:0 --data somewhere",
        "simulate clean-lift --site site.toml --broker mqtt://127.0.0.1 --seed 3 --speed 10",
        "simulate clean-lift --site site.toml --out recording.jsonl --seed 3 --speed 10",
        "listen --site site.toml",
        "replay recording.jsonl --site site.toml --status out.jsonl --summary out.json",
        "plan --site site.toml --lifter dock-6 --weight 600 --json",
    ):
        assert callable(parser().parse_args(line.split()).act)


@pytest.mark.parametrize(
    "line",
    [
        "",
        "start",
        "run",
        "simulate",
        "simulate clean-lift --broker mqtt://x --out y",
        "demo --speed 0",
        "demo --speed -1",
        "demo --speed inf",
        "demo --speed fast",
        "run --sit x",
    ],
)
def test_misuse_ends_with_2_and_words_on_standard_error(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(line.split())
    assert ended.value.code == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "usage: holdwatch" in said.err


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("run --site nowhere.toml", "nowhere.toml"),
        ("demo --scenario nothing", "nothing is not a scenario"),
        ("demo --listen 8050", "--listen is '8050'"),
        ("simulate clean-lift --broker tcp://x", "mqtt://HOST:PORT"),
        ("listen --site configs/demo.toml --broker x", "mqtt://HOST:PORT"),
    ],
)
def test_bad_input_ends_with_2_and_says_what_was_found(
    line: str, says: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(ROOT)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert main(line.split()) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert says in said.err


def test_version_is_the_projects(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--version"])
    assert ended.value.code == 0
    assert capsys.readouterr().out.startswith("holdwatch ")


def test_help_of_every_command_tells_each_option(capsys: pytest.CaptureFixture[str]) -> None:
    for command in ("demo", "run", "simulate", "replay", "plan", "listen"):
        with pytest.raises(SystemExit):
            main([command, "--help"])
        shown = capsys.readouterr().out
        assert shown.startswith(f"usage: holdwatch {command}")
        assert "None" not in shown


def test_program_says_what_it_is_not(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["--help"])
    shown = " ".join(capsys.readouterr().out.split())
    assert "It never controls the lifter" in shown
    assert "not the warning device, gauge or interlock" in shown
    assert "local codes and a competent person decide" in shown


def test_data_folder_is_in_the_users_state_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """XDG Base Directory Specification 0.8: $XDG_STATE_HOME, else ~/.local/state; a relative value is ignored."""
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert default_data("quayside") == tmp_path / "holdwatch" / "quayside"
    monkeypatch.setenv("HOME", "/home/someone")
    for value in ("", "relative"):
        monkeypatch.setenv("XDG_STATE_HOME", value)
        assert default_data("demo") == Path("/home/someone/.local/state/holdwatch/demo")


def test_data_folder_is_made_for_its_owner_alone(tmp_path: Path) -> None:
    data = made(tmp_path / "state" / "quayside")
    assert data.stat().st_mode & 0o777 == 0o700
    (tmp_path / "file").write_text("")
    with pytest.raises(BadInputError, match="--data is"):
        made(tmp_path / "file" / "quayside")


@pytest.mark.parametrize(
    ("module", "unwanted"),
    [
        ("monitor.cli.main", ("numpy", "pandas", "dash", "sqlalchemy", "paho", "plotly", "asyncio")),
        ("monitor.service", ("dash", "plotly", "flask", "pandas", "simulator")),
    ],
)
def test_start_loads_nothing_it_does_not_need(module: str, unwanted: tuple[str, ...]) -> None:
    code = f"import sys, {module}; print(*sorted(set(sys.modules) & set({unwanted!r})))"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True, capture_output=True, text=True)
    assert done.stdout.split() == []

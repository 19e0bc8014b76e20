"""Mutation testing of the pure core: ``python -m tests.mutation [FILE...] [--only MUTANT...] [--minutes M] [--show]``.

Mutmut changes one operator, number, name or branch at a time and runs the tests that cover it. Each file of ``monitor/core``
is mutated in a copy of the tree, tested by its own unit tests and tables (``TESTS``). A mutant in ``equivalent.toml`` changes
nothing that can be seen; it is left out of the score, and why stands beside it. ``--only '*7'`` is a sample, a tenth of all,
since mutants are numbered; ``--only 'x_take__*'`` those of one function. ``--changed`` takes the files changed since
the last commit on ``main``, for two minutes at most; the whole core takes hours and is run by name before a release.
"""

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Sequence
from itertools import groupby
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).parents[2]
MUTMUT: Final = str(Path(sys.executable).parent / "mutmut")
GOAL: Final = 0.90
CHANGED_MINUTES: Final = 2.0
TESTS: Final = {
    "call": ["core/test_call_standing.py", "core/test_call.py", "table/test_calls.py"],
    "alarms": ["core/test_alarm_delays.py", "core/test_alarms.py", "table/test_alarm_table.py"],
    "acts": ["core/test_acts_bounds.py", "core/test_acts_answers.py"],
    "alarm_acts": ["core/test_acts_bounds.py", "core/test_acts_answers.py", "core/test_alarms.py"],
    "battery": ["core/test_battery_lines.py"],
    "carrying": ["core/test_carrying_marks.py", "core/test_carrying.py"],
    "condition": ["core/test_condition.py"],
    "engine": ["core/test_engine_told.py", "core/test_engine_pair.py", "core/test_engine.py"],
    "entry_fault": ["core/test_plan_input.py", "settings/test_plan_entry.py"],
    "intake": ["core/test_intake_runs.py", "core/test_intake.py"],
    "holding": ["core/test_holding_model.py", "core/test_holding.py"],
    "layout": ["core/test_layout.py"],
    "maintenance": ["core/test_maintenance_list.py"],
    "lifter": [
        "core/test_said_fixed.py",
        "core/test_lost_vacuum.py",
        "core/test_lifter_facts.py",
        "core/test_lifter_memory.py",
        "core/test_lifter_phase.py",
        "core/test_lifter_readings.py",
    ],
    "lifter_trends": ["core/test_lifter_trends.py"],
    "moved": ["core/test_moved_causes.py", "core/test_moved_together.py"],
    "pads": ["core/test_pads_rows.py", "core/test_pads.py"],
    "panel": ["core/test_panel_shapes.py", "core/test_panel.py"],
    "plan": ["core/test_plan_answers.py"],
    "plan_act": ["core/test_plan_params.py"],
    "plan_input": ["core/test_plan_input.py"],
    "plan_rating": ["core/test_plan_rating.py"],
    "plan_says": ["core/test_plan_says_edges.py", "core/test_plan_says.py"],
    "search": ["core/test_search_peaks.py", "core/test_search_looks.py", "core/test_search.py"],
    "sensors": ["core/test_sensors.py", "core/test_sensors_lowest.py"],
    "seal_tests": ["core/test_seal_test_steps.py"],
    "silent_gauges": ["core/test_silent_gauges.py", "core/test_sensors.py"],
    "picked_again": ["core/test_picked_again_pure.py"],
    "leak": ["core/test_leak_instants.py", "core/test_leak_told.py"],
    "leak_bank": ["core/test_leak_bank.py", "core/test_leak_onsets.py"],
    "leak_blocks": ["core/test_leak_one_block.py", "core/test_leak_block_noise.py", "core/test_leak_blocks.py"],
    "leak_follow": [
        "core/test_leak_follow.py",
        "core/test_leak_let_in.py",
        "core/test_leak_apart.py",
        "core/test_leak_minute.py",
    ],
    "leak_judge": [
        "core/test_leak_judge_told.py",
        "core/test_leak_judged.py",
        "core/test_leak_beside.py",
        "core/test_leak_follow.py",
        "core/test_leak_minute.py",
    ],
    "leak_project": ["core/test_leak_chosen.py", "core/test_leak_reached.py", "core/test_leak_project.py"],
    "leak_stairs": ["core/test_leak_stairs_said.py", "core/test_leak_stairs.py"],
    "trends": [
        "core/test_trend_scale.py",
        "core/test_trend_fit.py",
        "core/test_trend_limits.py",
        "core/test_trend_told.py",
    ],
    "steps": ["core/test_step_charts.py", "core/test_step_judged.py", "core/test_steps.py"],
    "summary": ["core/test_summary.py", "core/test_late.py"],
    "config": ["core/test_plain_values.py"],
    "readings": ["core/test_plain_values.py"],
    "sent_units": ["core/test_plain_values.py"],
}
"""Tests of a file where they are not ``core/test_FILE.py`` alone; under ``tests/unit``, tables under ``tests``."""

PLUGINS: Final = [
    *("-p", "no:cacheprovider"),
    *("-p", "no:unraisableexception"),  # collects garbage twice a run: two thirds of what most mutants cost
    *("-p", "no:threadexception"),
    *("-p", "tests.mutation.quickest_first"),
]


def tests_of(name: str) -> list[str]:
    """The test files a core file is held to, as far as they exist."""
    named = TESTS.get(name, [f"core/test_{name}.py"])
    paths = [f"tests/{test}" if test.startswith("table/") else f"tests/unit/{test}" for test in named]
    return [path for path in paths if (ROOT / path).exists()]


def changed() -> list[str]:
    """Core files that differ from ``main``, or on ``main`` itself from the commit before, by name."""
    base = _git("merge-base", "HEAD", "main")
    if base == _git("rev-parse", "HEAD"):
        base = _git("rev-parse", "--verify", "--quiet", "HEAD~1")
    lines = _git("diff", "--name-only", base, "--", "monitor/core").split() if base else []
    return sorted(Path(line).stem for line in lines if (ROOT / line).exists())


def _git(*arguments: str) -> str:
    """What git says, or nothing where it knows nothing of it (no history, another branch's name)."""
    told = subprocess.run(["git", *arguments], cwd=ROOT, capture_output=True, text=True, check=False)
    return told.stdout.strip() if told.returncode == 0 else ""


def copy_tree(to: Path) -> None:
    """The tracked files, and those not yet tracked."""
    told = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=True,
    )
    for name in filter(None, told.stdout.decode().split("\0")):
        if (ROOT / name).is_file():
            (to / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, to / name)


def mutate(
    tree: Path, names: Sequence[str], within_s: float, children_n: int, only: Sequence[str] = ()
) -> dict[str, str]:
    """What became of each mutant, by its name: ``killed``, ``survived``, ``timeout``, ``no tests`` or ``not checked``.

    Files with the same tests are mutated together: these are run whole twice before the first mutant.
    """
    settings = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    settings += f"""
[tool.mutmut]
source_paths = ["monitor"]
only_mutate = {json.dumps([f"monitor/core/{name}.py" for name in names])}
also_copy = ["simulator", "dashboards", "configs"]
pytest_add_cli_args_test_selection = {json.dumps(tests_of(names[0]))}
pytest_add_cli_args = {json.dumps(PLUGINS)}
use_git_change_detection = false
track_dependencies = false
"""
    (tree / "pyproject.toml").write_text(settings, encoding="utf-8")
    shutil.rmtree(tree / "mutants", ignore_errors=True)
    log = tree / "mutmut.log"
    chosen = [f"monitor.core.{name}.{one}" for name in names for one in only]
    with log.open("wb") as out:
        run = subprocess.Popen(
            [MUTMUT, "run", "--max-children", str(children_n), *chosen],
            cwd=tree,
            stdout=out,
            stderr=subprocess.STDOUT,
        )
        try:
            run.wait(within_s)
        except subprocess.TimeoutExpired:
            run.terminate()
            run.wait()
    told = subprocess.run([MUTMUT, "results", "--all", "true"], cwd=tree, capture_output=True, text=True, check=False)
    found = dict(line.strip().split(": ", 1) for line in told.stdout.splitlines() if "monitor.core." in line)
    if not found:
        raise SystemExit(
            f"{', '.join(names)}: no mutant was made. Mutmut said:\n{log.read_text(errors='replace')[-2000:]}"
        )
    return found


SHOW: Final = """
import json, sys
from mutmut.__main__ import get_diff_for_mutant
print(json.dumps({name: get_diff_for_mutant(name) for name in json.load(sys.stdin)}))
"""


def changes_of(tree: Path, mutants: list[str]) -> dict[str, tuple[str, str]]:
    """Of each mutant the line as it was and as the mutant has it."""
    told = subprocess.run(
        [sys.executable, "-c", SHOW], cwd=tree, input=json.dumps(mutants), capture_output=True, text=True, check=True
    )
    found = {}
    for mutant, diff in json.loads(told.stdout).items():
        lines = [line for line in diff.splitlines() if line[:1] in "+-" and line[:3] not in {"+++", "---"}]
        was, now = ("\n".join(line[1:].strip() for line in lines if line.startswith(sign)) for sign in "-+")
        found[mutant] = was, now
    return found


def equivalents() -> dict[tuple[str, str, str], str]:
    """Why a mutant is equivalent, by file, line as it was and line as it is."""
    table = tomllib.loads((Path(__file__).parent / "equivalent.toml").read_text(encoding="utf-8"))
    return {(one["file"], one["was"], one["now"]): one["why"] for one in table.get("equivalent", [])}


def report(tree: Path, name: str, found: dict[str, str], show: bool) -> tuple[int, int]:
    """Print a file's score and its survivors; returns how many were killed, and of how many that count."""
    known = equivalents()
    alive = [mutant for mutant, state in found.items() if state in {"survived", "no tests"}]
    changes = changes_of(tree, alive)
    equal = [mutant for mutant, (was, now) in changes.items() if (name, was, now) in known]
    states = Counter(found.values())
    checked_n = len(found) - states["not checked"] - states["skipped"] - len(equal)
    killed_n = checked_n - (len(alive) - len(equal))
    score = f"{killed_n / checked_n:6.1%}" if checked_n else "     –"
    counts = (len(found), killed_n, len(alive) - len(equal), len(equal), states["not checked"])
    print(f"{name:16s} " + " ".join(f"{count:11d}" for count in counts) + f" {score}")
    for mutant in alive if show else ():
        if mutant not in equal:
            was, now = changes[mutant]
            print(f"    {mutant.rpartition('.')[2]} ({found[mutant]})\n      - {was}\n      + {now}")
    sys.stdout.flush()
    return killed_n, checked_n


def main(argv: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__.splitlines()[0])
    parser.add_argument("files", nargs="*", help="core files by name, as in: call release; all when left out")
    parser.add_argument("--changed", action="store_true", help="those that differ from main, two minutes at most")
    parser.add_argument(
        "--only", nargs="+", default=[], metavar="MUTANT", help="as --show names them; * stands for any part"
    )
    parser.add_argument("--minutes", type=float, default=None, help="at most so long for all of them")
    parser.add_argument("--children", type=int, default=2, help="mutants tested at once, as many as cores are free (2)")
    parser.add_argument("--show", action="store_true", help="show each survivor")
    given = parser.parse_args(argv)
    every = sorted(path.stem for path in (ROOT / "monitor" / "core").glob("*.py") if tests_of(path.stem))
    names = given.files or ([name for name in changed() if name in every] if given.changed else every)
    if unknown := sorted(set(names) - set(every)):
        parser.error(f"no such core file with tests of its own: {', '.join(unknown)}. There are: {', '.join(every)}.")
    minutes = given.minutes if given.minutes is not None else CHANGED_MINUTES if given.changed else float("inf")
    ends_s = time.monotonic() + 60.0 * minutes
    killed_n = checked_n = 0
    with tempfile.TemporaryDirectory(prefix="mutation-") as folder:
        tree = Path(folder)
        copy_tree(tree)
        heads = ("mutants", "killed", "survivors", "equivalent", "not checked")
        print(f"{'file':16s} " + " ".join(f"{head:>11s}" for head in heads) + "  score")
        for _, same in groupby(names, key=tests_of):
            group = list(same)
            left_s = ends_s - time.monotonic()
            if left_s <= 0.0:
                print(f"{', '.join(group)}: no time left")
                continue
            found = mutate(tree, group, min(left_s, 1e7), given.children, given.only)
            for name in group:
                own = {mutant: became for mutant, became in found.items() if mutant.startswith(f"monitor.core.{name}.")}
                killed, checked = report(tree, name, own, given.show)
                killed_n, checked_n = killed_n + killed, checked_n + checked
    if checked_n:
        print(f"score {killed_n / checked_n:.1%} of {checked_n} mutants checked (goal {GOAL:.0%})")
    return 0


if __name__ == "__main__":
    sys.exit(main())

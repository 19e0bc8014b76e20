"""Ctrl-C in the program's first moments, while it still loads: it ends, as done, and says nothing of a fault."""

import subprocess
import sys

SLOW = """
import os, signal, sys
if "off" not in sys.argv:
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a background job begins with it off
class Slow:
    def find_spec(self, name, path=None, target=None):
        if name == "monitor.cli.main":
            os.kill(os.getpid(), signal.SIGINT)
sys.meta_path.insert(0, Slow())
sys.argv = ["holdwatch", *sys.argv[1:]]
from monitor.begin import main
sys.exit(main())
"""
"""The program with Ctrl-C pressed in the middle of its imports."""


def test_ctrl_c_while_it_loads_ends_it_as_done_without_a_word() -> None:
    ended = subprocess.run(
        [sys.executable, "-c", SLOW, "demo"], capture_output=True, text=True, timeout=30, check=False
    )
    assert (ended.returncode, ended.stdout, ended.stderr) == (0, "", "")


def test_a_command_that_has_begun_tidies_up_on_ctrl_c() -> None:
    begun = """
import os, signal, sys
from monitor import begin
from monitor.cli import main as commands
signal.signal(signal.SIGINT, begin._end_at_once)
def act(given):
    try:
        os.kill(os.getpid(), signal.SIGINT)
    finally:
        print("tidied up", flush=True)
commands.records.add = lambda commands: commands.add_parser("try").set_defaults(act=act)
sys.exit(commands.main(["try"]))
"""
    ended = subprocess.run([sys.executable, "-c", begun], capture_output=True, text=True, timeout=30, check=False)
    assert (ended.returncode, ended.stdout, ended.stderr) == (0, "tidied up\n", "")


def test_ctrl_c_that_a_shell_has_switched_off_stays_off() -> None:
    off = "import signal; signal.signal(signal.SIGINT, signal.SIG_IGN)\n" + SLOW.replace("sys.argv[1:]", "sys.argv[2:]")
    ended = subprocess.run(
        [sys.executable, "-c", off, "off", "--version"], capture_output=True, text=True, timeout=30, check=False
    )
    assert ended.stdout.startswith("holdwatch ")

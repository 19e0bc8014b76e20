"""Runs a module as a child that ends with its parent: ``python -P monitor/child.py MODULE [ARGUMENT...]``.

The parent holds the other end of this process's standard input and never writes to it. When that end closes, because
the parent let go of it or was killed, the child asks itself to end, and is gone a little later whether it did or not.

It is started by its path and with -P, so that a folder or file of the same name where the user happens to stand is
never taken for one of ours.
"""

import os
import runpy
import signal
import sys
import threading
import time
from pathlib import Path
from typing import Final

END_WITHIN_S: Final = 3.0


def _end_with_parent() -> None:
    while os.read(0, 4096):
        pass
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(END_WITHIN_S)
    os._exit(1)


def main() -> None:
    """Run the module named by the first argument, as ``python -m`` would."""
    threading.Thread(target=_end_with_parent, name="parent watch", daemon=True).start()
    ours = str(Path(__file__).parent.parent)
    if ours not in sys.path:  # run from a checkout, not installed
        sys.path.append(ours)
    del sys.argv[0]
    runpy.run_module(sys.argv[0], run_name="__main__", alter_sys=True)


if __name__ == "__main__":
    main()

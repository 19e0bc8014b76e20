"""Small programs to supervise, run as ``python -P monitor/child.py tests.system.parts HOW``."""

import os
import signal
import sys
import time


def main() -> None:
    how = sys.argv[1]
    if how == "crash":  # ends before it is ready
        sys.exit(int(sys.argv[2]))
    if how == "deaf":  # does not end when asked
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
    if how == "brief":  # does what it has to and ends
        print("up done", flush=True)
        return
    print(f"up {os.getpid()}", flush=True)
    if how == "flaky":  # ends soon after it was ready
        time.sleep(0.3)
        sys.exit(1)
    while True:
        time.sleep(0.1)


if __name__ == "__main__":
    main()

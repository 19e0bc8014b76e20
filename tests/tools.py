"""Programs the tests need besides Python: found, or said what to install.

On a developer's machine a test without its program is skipped; with CI=true it fails, since there ``.ci/run`` has
installed everything and a skip would be a check that silently went away.
"""

import os
import re
import shutil
import zlib

import pytest

PACKAGES = {
    "mosquitto": "mosquitto",
    "mosquitto_pub": "mosquitto-clients",
    "mosquitto_sub": "mosquitto-clients",
    "mosquitto_passwd": "mosquitto",
    "chromium": "chromium",
    "libfaketime": "libfaketime",
    "openssl": "openssl",
    "ss": "iproute2",
    "strace": "strace",
    "systemd-analyze": "systemd",
}


def need(program: str) -> str:
    """Path of a program; skips the test (fails it under CI=true) where it is not installed."""
    found = shutil.which(program, path=os.environ.get("PATH", "") + ":/usr/sbin:/sbin")
    if found:
        return found
    words = f"{program} is not installed: apt-get install {PACKAGES.get(program, program)} (or your system's package)"
    if os.environ.get("CI") == "true":
        pytest.fail(words)
    pytest.skip(words)


def sheets(written: bytes) -> int:
    """Pages of a PDF, whose objects may be packed."""
    packed = re.findall(rb"stream\r?\n(.*?)endstream", written, re.DOTALL)
    inside = b"".join(zlib.decompressobj().decompress(one) for one in packed if one[:1] == b"\x78")
    return len(re.findall(rb"/Type\s*/Page\b", written + inside))

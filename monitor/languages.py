"""Which languages there are: English, which stands in the code, and every ``monitor/words/CODE.po``."""

from functools import cache
from importlib.resources import files
from typing import Final

SOURCE: Final = "en"


@cache
def languages() -> tuple[str, ...]:
    """Every language, English first. Adding a file adds one."""
    names = (path.name for path in files("monitor.words").iterdir())
    return (SOURCE, *sorted(name.removesuffix(".po") for name in names if name.endswith(".po")))

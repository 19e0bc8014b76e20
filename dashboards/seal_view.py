"""What the seal-test page says of one lifter: the test under way or the last one, and each circuit in it. Pure."""

from collections.abc import Mapping
from typing import Any, Final

from dashboards.words import Voice

UNDER_WAY: Final = frozenset({"waiting", "running"})
HOLDS_FOR_S: Final = 300.0

Status = Mapping[str, Any]


def seal_test(status: Status, settings: Mapping[str, Any], voice: Voice) -> dict[str, Any]:
    """The test to show, every circuit, and what may be asked for now.

    Args:
        status: The lifter's status.
        settings: The lifter in the engine's greeting.
        voice: How the viewer is told.
    """
    known = [test for test in status["seal_tests"].values() if test is not None]
    shown = max(known, key=lambda test: (test["state"] in UNDER_WAY, test["asked"]), default=None)
    state = "none" if shown is None else shown["state"]
    word = voice.say(f"sealing.state.{state}")
    lasts_s = {
        "pre_pick": settings.get("seal_test_s", 60.0),
        "shift": max(HOLDS_FOR_S, settings.get("seal_shift_test_s", 240.0)),
    }
    return {
        "state": state,
        "title": voice.say(f"seal.{shown['test']}" if shown else "page.seal_test"),
        "word": word,
        "words": _sentence(voice.told(shown, "words", "text").removeprefix(f"{word}: "))
        if shown
        else voice.say("sealing.none_says"),
        "left_s": shown["left_s"] if shown else None,
        "by": voice.say("sealing.by", who=shown["who"], clock=voice.clock(shown["asked"])) if shown else "",
        "last": [_last(test, voice) for test in known if test is not shown],
        "circuits": [
            _circuit(name, said, (shown or {}).get("circuits", {}).get(name), voice)
            for name, said in status["circuits"].items()
            if said["in_use"]
        ],
        "end": voice.say("sealing.end") if state in UNDER_WAY else "",
        "why_not": _why_not(status, voice),
        "starts": [
            {"test": kind, "words": voice.say(f"sealing.start.{kind}", for_s=for_s)} for kind, for_s in lasts_s.items()
        ]
        if state not in UNDER_WAY
        else [],
    }


def _last(test: Mapping[str, Any], voice: Voice) -> str:
    word = voice.say(f"sealing.state.{test['state']}")
    return voice.say(
        "sealing.last", test=voice.say(f"seal.{test['test']}"), word=word, clock=voice.clock(test["asked"])
    )


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _why_not(status: Status, voice: Voice) -> str:
    """Why no test can be asked for now, as far as the page can tell; the engine has the last word."""
    if status["load"]["known"] == "on":
        return voice.say("sealing.load_on")
    if all(circuit["state"] == "open" for circuit in status["circuits"].values()):
        return voice.say("sealing.open")
    return ""


def _circuit(name: str, said: Mapping[str, Any], test: Mapping[str, Any] | None, voice: Voice) -> dict[str, Any]:
    kpa = said["vacuum_kpa"]
    number, unit = ("–", "") if kpa is None else voice.number_and_unit("x_kpa", kpa)
    word = voice.say(f"sealing.state.{test['state']}" if test else f"state.{said['state']}")
    return {
        "id": name,
        "look": said["state"],
        "result": test["state"] if test else "none",
        "word": word,
        "words": voice.told(test or said, "words", "text").removeprefix(f"{word}. "),
        "number": number,
        "unit": unit,
        "age_s": said["age_s"],
    }

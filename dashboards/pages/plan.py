"""The plan page: what is entered on the left, what follows on the right. Plain HTML; ``plan.js`` asks the server."""

import json
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any, Final

from dashboards import shell
from dashboards.pages.parts import PAGES, switches
from dashboards.static import Static
from dashboards.words import say
from monitor.words.languages import Speaker

HINTS: Final = {
    "weight": "700 lb, 320 kg",
    "size": "2.5 m x 1.5 m",
    "outline": "0,0; 2500,0; 2500,1500; 0,900 mm",
    "makeup": "glass 8 + pvb 1.52 + glass 8",
    "cg_x_mm": "mm",
    "cg_y_mm": "mm",
    "cg_depth_mm": "mm",
    "spacer_kg_per_m": "0.5 kg/m",
    "altitude_m": "m",
    "lift_height_m": "m",
    "wind_m_s": "m/s",
    "vacuum_kpa": "16 inHg, 54 kPa",
    "share_ratio": "0.5",
    "tilt_deg.low": "0",
    "tilt_deg.high": "90",
    "rotation_deg.low": "0",
    "rotation_deg.high": "360",
}
"""Shown in an empty entry: how it may be written, or what is taken where nothing is."""

SCRIPT_WORDS: Final = (
    "waiting", "waiting_says", "working", "working_says", "faulty", "faulty_says", "lost", "lost_says", "all_pads", "off",
    "saved", "unsaved", "printed", "no_lifter", "legend.better",
)  # fmt: skip


FILLED_LATER: Final = {name: f"{{{name}}}" for name in ("clock", "lifter")}
"""Places that the script fills."""


def html(static: Static, site: Mapping[str, Any], speaker: Speaker) -> str:
    """The whole page, with the site's lifters in it."""
    make = _Made(speaker)
    words = {key: say(f"planning.{key}", speaker, **FILLED_LATER) for key in SCRIPT_WORDS}
    content = f"""<div class="paper" id="plan">
<header><nav>{make.nav()}</nav><div class="switches">{make.switches()}</div></header>
<main>
<h1>{make.w("title")}</h1>
<p id="plan-none" hidden>{make.w("no_lifter")}</p>
<p id="in-force" hidden><span id="in-force-says"></span>
<button id="withdraw" type="button">{make.w("withdraw")}</button></p>
<form id="entries" autocomplete="off" novalidate>{make.entries()}</form>
<section id="answer-part" aria-live="polite">{make.answer()}</section>
</main>
<footer><p id="caution">{make.w("caution")}</p></footer>
</div>
<p id="answer" role="status" hidden></p>
<script type="application/json" id="site">{_data(_told(site, speaker))}</script>
<script type="application/json" id="words">{_data(words)}</script>"""
    return shell.page(
        static, name="plan", title=say("title.plan", speaker), content=content, is_live=False, speaker=speaker
    )


def _told(site: Mapping[str, Any], speaker: Speaker) -> dict[str, Any]:
    """What the drawing needs of each lifter before anything is worked out."""
    keys = ("id", "name", "pads", "layouts")
    return {
        "units": speaker.units,
        "lifters": [{key: one.get(key) for key in keys} for one in site.get("lifters", ())],
    }


def _data(value: object) -> str:
    """JSON that cannot end the element it stands in."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False).replace("<", "\\u003c")


class _Made:
    """The parts of the page, in the viewer's language."""

    def __init__(self, speaker: Speaker) -> None:
        self._speaker = speaker

    def w(self, key: str) -> str:
        return escape(say(f"planning.{key}", self._speaker))

    def nav(self) -> str:
        return " ".join(f'<a href="{at}">{escape(say(key, self._speaker))}</a>' for key, at in PAGES.items())

    def switches(self) -> str:
        buttons = "".join(
            f'<button id="{one.id}" type="button" data-next="{one.next}" lang="{one.lang}">{escape(one.words)}</button>'
            for one in switches(self._speaker)
        )
        return f'<button id="look" type="button"></button>{buttons}'

    def entries(self) -> str:
        lifter = (
            self.select("lifter", ())
            + self.row("layout", '<div id="layouts" class="choices"></div>', label_for=False)
            + f'<div id="drawing"></div><p class="hint">{self.w("pads_hint")}</p>{self.legend()}{self.fault("pads")}'
        )
        panel = self.text("size") + self.text("makeup") + self.text("weight")
        shape = self.text("outline") + self.row(
            "cut_outs", '<textarea id="cut_outs" name="cut_outs" rows="2" spellcheck="false"></textarea>'
        )
        centre = (
            "".join(self.text(name) for name in ("cg_x_mm", "cg_y_mm", "cg_depth_mm"))
            + f'<p class="hint">{self.w("empty_hint")}</p>'
        )
        move = self.span("tilt_deg") + f'<p class="hint">{self.w("tilt_hint")}</p>' + self.span("rotation_deg")
        place = self.select("surface", ("site", "dry", "wet", "oily")) + "".join(
            self.text(name) for name in ("wind_m_s", "altitude_m", "lift_height_m")
        )
        more = "".join(
            [
                self.text("vacuum_kpa"),
                f'<p class="hint">{self.w("vacuum_hint")}</p>',
                *(self.text(name) for name in ("share_ratio", "spacer_kg_per_m")),
                *(self.flag(name) for name in ("coated", "porous")),
            ]
        )
        return "".join(
            [
                self.part("lifter", lifter),
                self.part("panel", panel + self.more("part.shape", shape) + self.more("part.centre", centre)),
                self.part("move", move),
                self.part("place", place + self.more("part.more", more)),
                self.select("bare_units", ("metric", "us")),
            ]
        )

    def answer(self) -> str:
        return f"""<div id="verdict" data-verdict="waiting">
<h2 id="verdict-words">{self.w("waiting")}</h2><p id="verdict-says">{self.w("waiting_says")}</p></div>
<div id="result" hidden>
<dl id="figures" class="pairs"></dl>
<h3>{self.w("reasons")}</h3><ul id="reasons"></ul>
<div class="pair"><div><h3>{self.w("circuits")}</h3><table><thead><tr>
<th>{self.w("circuit")}</th><th>{self.w("needed")}</th><th>{self.w("judged")}</th><th>{self.w("if_lost")}</th></tr></thead>
<tbody id="circuits"></tbody></table></div>
<div><h3>{self.w("curve")}</h3><div id="curve"></div></div>
<div id="print-drawing" class="paper-only"></div></div>
<p class="hint" id="pads-say"></p>
<h3>{self.w("notes")}</h3><ul id="notes"></ul>
<h3>{self.w("checks")}</h3><ul id="checks"></ul>
<h3 class="paper-only">{self.w("entered")}</h3><dl id="entered" class="pairs paper-only"></dl>
<p id="saved-says"></p>
<div id="do"><button id="save" type="button">{self.w("save")}</button>
<a id="next" class="button" href="/seal-test" hidden>{self.w("next")}</a>
<button id="print" type="button">{self.w("print")}</button></div>
<p id="printed"></p><p id="sign">{self.w("sign")}</p>
</div>"""

    def legend(self) -> str:
        rows = "".join(
            f'<li data-look="{look}">{self.w(f"legend.{look}")}</li>' for look in ("room", "busy", "over", "off")
        )
        rows += f'<li data-look="centre">{self.w("legend.centre")}</li>'
        return f'<ul id="legend">{rows}<li data-look="better" hidden>{self.w("legend.better")}</li></ul>'

    def part(self, name: str, content: str) -> str:
        return f'<fieldset id="part-{name}"><legend>{self.w(f"part.{name}")}</legend>{content}</fieldset>'

    def more(self, name: str, content: str) -> str:
        return f"<details><summary>{self.w(name)}</summary>{content}</details>"

    def row(self, name: str, control: str, *, label_for: bool = True) -> str:
        label = (
            f'<label for="{name}">{self.w(name)}</label>' if label_for else f'<span class="label">{self.w(name)}</span>'
        )
        return f'<div class="entry" data-entry="{name}">{label}{control}{self.fault(name)}</div>'

    def fault(self, name: str) -> str:
        return f'<p class="fault" id="fault-{name}" data-fault="{name}"></p>'

    def text(self, name: str) -> str:
        hint = escape(HINTS.get(name, ""))
        return self.row(
            name,
            f'<input id="{name}" name="{name}" placeholder="{hint}" spellcheck="false" maxlength="600" '
            f'aria-describedby="fault-{name}">',
        )

    def span(self, name: str) -> str:
        ends = "".join(
            f'<label class="end">{self.w(word)} <input name="{name}.{end}" maxlength="20" '
            f'placeholder="{HINTS[f"{name}.{end}"]}" '
            f'aria-describedby="fault-{name}"></label>'
            for end, word in (("low", "from"), ("high", "to"))
        )
        return self.row(name, f'<div class="ends">{ends}</div>', label_for=False)

    def select(self, name: str, options: Sequence[str]) -> str:
        rows = "".join(
            f'<option value="{"" if value == "site" else value}">{self.w(f"{name}.{value}")}</option>'
            for value in options
        )
        return self.row(name, f'<select id="{name}" name="{name}">{rows}</select>')

    def flag(self, name: str) -> str:
        return (
            f'<div class="entry flag" data-entry="{name}"><label><input type="checkbox" name="{name}"> {self.w(name)}</label>'
            f"{self.fault(name)}</div>"
        )

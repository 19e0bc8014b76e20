"""The HTML every page stands in: head, shapes, the cover of the live pages, and nothing that could run inline."""

import json
from functools import cache
from html import escape

from dashboards.static import Static
from dashboards.words import say
from monitor.words.english import TEMPLATES
from monitor.words.languages import Speaker

COVER = """<p id="spoken" class="unseen" aria-live="assertive"></p>
<div id="cover" role="alert"><svg class="shape" aria-hidden="true"><use href="#shape-no_signal"></use></svg>
<p id="cover-big">{big}</p><p id="cover-do">{do}</p><p id="cover-why"></p>
<p id="cover-last"><span id="cover-when"></span> <s id="cover-numbers"></s></p></div>"""


@cache
def script_words(speaker: Speaker) -> str:
    """The words the page's own script says, as JSON."""
    keys = [key for key in TEMPLATES if key.startswith("script.")]
    said = json.dumps({key.removeprefix("script."): say(key, speaker) for key in keys}, ensure_ascii=False)
    return escape(said).replace("&quot;", '"')  # stands between single quotes: shorter, for it is nearly all quotes


def page(static: Static, *, name: str, title: str, content: str, is_live: bool, speaker: Speaker) -> str:
    """One page's HTML.

    Args:
        static: Where scripts and styles are.
        name: The page's name; its style sheet is ``NAME.css``, its script ``NAME.js``, where there are such.
        title: Plain text.
        content: HTML of the body, after the cover.
        speaker: How the viewer is spoken to.
        is_live: Whether the page shows live values: then it begins as "no signal", fully covered, until its script has
            had a good reply.
    """
    styles = [f"{sheet}.css" for sheet in ("base", "live" if is_live else "paper", name)]
    links = [f'<link rel="stylesheet" href="{static.url(sheet)}">' for sheet in styles if sheet in static.files]
    script = f"{name}.js" if f"{name}.js" in static.files else "look.js"
    state = ' data-call="no_signal" data-release="do_not_release"' if is_live else ""
    first = " ".join(say(key, speaker) for key in (("lost.release",) if name == "landing" else ()) + ("lost.first",))
    cover = COVER.format(big=escape(say("lost.big", speaker)), do=escape(first)) if is_live else ""
    return f"""<!DOCTYPE html>
<html lang="{speaker.language}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1, viewport-fit=cover">
<meta name="color-scheme" content="light dark">
<title>{escape(title)}</title>
<link rel="icon" type="image/svg+xml" href="{static.url("icon.svg")}">
<link rel="preload" as="font" type="font/woff2" crossorigin href="{static.url("fira-sans-condensed-700.woff2")}">
<link rel="preload" as="font" type="font/woff2" crossorigin href="{static.url("fira-sans-condensed-500.woff2")}">
{"".join(links)}
<script type="module" src="{static.url(script)}"></script>
</head>
<body data-page="{name}"{state} data-words='{script_words(speaker)}'>
{static.text("shapes.svg")}
{cover}
{content}
</body>
</html>
"""

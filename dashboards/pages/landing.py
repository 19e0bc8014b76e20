"""The landing page, for a phone in one hand: plain HTML and the live script, without the page framework's weight."""

from html import escape

from dashboards import shell
from dashboards.pages.parts import switches
from dashboards.static import Static
from dashboards.words import say
from monitor.words.languages import Speaker


def html(static: Static, speaker: Speaker) -> str:
    """The whole page. The release answer comes first, whatever the call."""
    buttons = "\n".join(
        f'<button id="{one.id}" class="wide" type="button" data-next="{one.next}" lang="{one.lang}">'
        f"{escape(one.words)}</button>"
        for one in switches(speaker)
    )
    content = f"""<main id="screen" data-mode="one">
<ul id="notices"></ul>
<section id="release"><div id="release-shape" class="shape-place"></div>
<div><h1 id="release-words">{escape(say("stale.release", speaker))}</h1><p id="release-reason"></p></div></section>
<section id="load"><p>{escape(say("landing.load", speaker))}</p><p id="load-words"></p><p id="load-rule"></p></section>
<section id="call"><div id="call-shape" class="shape-place"></div>
<div><p id="call-words"></p><p id="reason"></p></div></section>
<ol id="circuits"></ol>
<h1 id="tiles-title" class="unseen">{escape(say("tiles.title", speaker))}</h1>
<ul id="tiles"></ul>
<section id="device">
<details id="tell" hidden><summary class="wide">{escape(say("tell.open", speaker))}</summary>
<p class="device-says">{escape(say("tell.rule", speaker))}</p><ul id="tells"></ul></details>
<button id="sound" class="wide" type="button"></button>
<p id="vibration" class="device-says"></p>
<button id="awake" class="wide" type="button"></button>
<p id="device-says" class="device-says"></p>
</section>
<ul id="alarms"></ul>
<aside id="story" hidden><b>{escape(say("story.label", speaker))}</b> <span id="story-title"></span>
<span id="story-line"></span></aside>
<section id="settings">
<button id="look" class="wide" type="button"></button>
{buttons}
</section>
<footer><p id="caution">{escape(say("caution", speaker))}</p>
<nav><a href="/">{escape(say("page.ground", speaker))}</a> <a href="/help">{escape(say("page.help", speaker))}</a></nav>
<span id="clock"></span></footer>
</main>
<p id="answer" role="status" hidden></p>"""
    return shell.page(
        static, name="landing", title=say("title.landing", speaker), content=content, is_live=True, speaker=speaker
    )

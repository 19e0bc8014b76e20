"""The seal-test page, for a tablet beside the panel: how long to go, and each circuit. Plain HTML and the live script."""

from html import escape

from dashboards import shell
from dashboards.static import Static
from dashboards.words import say
from monitor.words.languages import Speaker


def html(static: Static, speaker: Speaker) -> str:
    """The whole page."""

    def w(key: str) -> str:
        return escape(say(key, speaker))

    content = f"""<main id="screen" data-mode="one">
<ul id="notices"></ul>
<section id="call"><div id="call-shape" class="shape-place"></div>
<div><p id="call-words"></p><p id="reason"></p></div></section>
<section id="test" data-state="none"><h1 id="test-title"></h1>
<p id="test-left" role="timer"></p><p id="test-word"></p><p id="test-words"></p><p id="test-by"></p></section>
<ol id="circuits"></ol>
<section id="ask"><p id="why-not"></p><div id="starts"></div><button id="end" type="button" hidden></button>
<ul id="last"></ul></section>
<ul id="tiles"></ul>
<aside id="story" hidden><b>{w("story.label")}</b> <span id="story-title"></span>
<span id="story-line"></span></aside>
<footer><p id="caution">{w("caution")}</p>
<nav><a href="/">{w("page.ground")}</a> <a href="/plan">{w("page.plan")}</a>
<a href="/help/seal-tests">{w("page.help")}</a></nav>
<button id="look" type="button"></button> <span id="clock"></span></footer>
</main>
<p id="answer" role="status" hidden></p>"""
    title = say("title.seal_test", speaker)
    return shell.page(static, name="seal-test", title=title, content=content, is_live=True, speaker=speaker)

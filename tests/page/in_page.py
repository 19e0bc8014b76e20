"""What is looked up inside a page: functions for the browser."""

from pathlib import Path

import axe_playwright_python
from playwright.sync_api import Page

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
"""axe-core (Deque), with all its default rules: WCAG 2.2 A and AA and best practices."""

_VIOLATIONS = """async () => {
  const { violations } = await axe.run(document, { resultTypes: ["violations"] });
  return violations.map((one) => `${one.id}: ${one.nodes.map((node) => node.html.slice(0, 120)).join(" | ")}`);
}"""


def axe_finds(page: Page) -> list[str]:
    """What axe finds wrong on the page as it stands: rule and elements."""
    page.evaluate(AXE)
    found: list[str] = page.evaluate(_VIOLATIONS)
    return found


_STOPS = """() => {
  const all = document.querySelectorAll("button, a[href], input, select, textarea, summary, [tabindex='0']");
  const some = [...all].filter((one) => one.checkVisibility() && !one.disabled);
  some.forEach((one, i) => (one.dataset.stop = i));
  return some.map((one) => `${one.localName} ${one.id || one.textContent.slice(0, 30)}`);
}"""
_STOP = """() => {
  const one = document.activeElement;
  const rings = [...one.children].some((part) => getComputedStyle(part).stroke === "rgb(10, 102, 255)"); // a pad of a drawing
  return [one.dataset.stop, rings || getComputedStyle(one).outlineStyle !== "none"];
}"""


def keyboard_misses(page: Page) -> list[str]:
    """Controls that Tab does not reach, or that don't show it when it does."""
    wanted: list[str] = page.evaluate(_STOPS)
    assert wanted
    reached = set()
    for _ in range(3 * len(wanted)):  # a field for a date has several stops
        page.keyboard.press("Tab")
        stop, is_shown = page.evaluate(_STOP)
        if stop is not None and is_shown:
            reached.add(int(stop))
        if len(reached) == len(wanted):
            break
    return [said for n, said in enumerate(wanted) if n not in reached]


TIPLESS = """parts => {
  const words = JSON.parse(document.body.dataset.words);
  return [...document.querySelectorAll(parts)]
    .filter((one) => one.checkVisibility() && one.textContent && !(words["tip." + one.dataset.tip] ?? one.dataset.say))
    .map((one) => `${one.id || one.className}: ${one.textContent}`);
}"""
"""States and numbers that do not explain themselves on a tap."""

# The page shows a call. One that has not asked yet says no_signal too, but its cover has not been moved.
SHOWS = "call => document.body.dataset.call === call && document.getElementById('cover').style.animation !== ''"

WATCH = """() => {
  window.showed = [];
  new MutationObserver(() => window.showed.push(document.body.dataset.call))
    .observe(document.body, { attributeFilter: ["data-call"] });
}"""
"""Keeps every call the page shows, one after another, in ``window.showed``."""

OVERFLOWS = """() => {
  const out = [];
  for (const one of document.querySelectorAll("#screen *, #plan *")) {
    if (!one.checkVisibility() || one.closest("svg, #bar, .unseen") || one.classList.contains("trace-label")) continue;
    const box = one.getBoundingClientRect();
    const name = `${one.tagName}#${one.id}.${one.className}`;
    if (box.right > innerWidth + 1 || box.left < -1) out.push(`${name} leaves the screen`);
    const cut = one.scrollWidth > one.clientWidth + 1 && getComputedStyle(one).display !== "inline";
    if (one.childElementCount === 0 && cut) out.push(`${name} is cut: ${one.textContent}`);
  }
  return out;
}"""
"""Whatever leaves the screen sideways or is cut in its box."""

BELOW_THE_FOLD = """() => {
  const parts = ["#call", "#release-words", "#reason", "#load-words", "#bar", "#circuits", ".lane:last-child", "#caution"];
  return parts.filter((part) => {
    const one = document.querySelector(part);
    return one && one.checkVisibility() && one.getBoundingClientRect().bottom > innerHeight + 1;
  });
}"""
"""Important parts that need scrolling."""

OVERLAPS = """() => {
  const out = [];
  const said = ".lane-word, .lane-words, .lane-number, .lane-rate, .lane-time, .lane-name";
  for (const lane of document.querySelectorAll(".lane")) {
    const parts = [...lane.querySelectorAll(said)].filter((part) => part.checkVisibility() && part.textContent);
    for (const [i, one] of parts.entries()) {
      for (const other of parts.slice(i + 1)) {
        const a = one.getBoundingClientRect();
        const b = other.getBoundingClientRect();
        const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (wide > 2 && high > 0.25 * Math.min(a.height, b.height))
          out.push(`${one.className} over ${other.className} in ${lane.dataset.key}`);
      }
    }
  }
  return out;
}"""
"""Words of a lane drawn over each other (a quarter of a line's box is air)."""

CAPITAL_PX = """one => {
  const canvas = document.createElement("canvas").getContext("2d");
  const style = getComputedStyle(one);
  canvas.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  return canvas.measureText("H").actualBoundingBoxAscent;
}"""
"""Height of a drawn capital."""

LINES_N = "one => Math.round(one.clientHeight / parseFloat(getComputedStyle(one).lineHeight))"

WATCH_REASON = """() => {
  const reason = document.getElementById("reason");
  window.seen = {};
  const note = () => (window.seen[reason.textContent] = Date.now());
  new MutationObserver(note).observe(reason, { childList: true, characterData: true, subtree: true });
}"""
"""Notes in ``window.seen`` when each reason was first drawn."""

SMALL_TARGETS = """least => [...document.querySelectorAll("button")]
  .filter((one) => one.checkVisibility() && one.id !== "look" && one.getBoundingClientRect().height < least)
  .map((one) => one.textContent)"""
"""Buttons lower than ``least`` px (the look button is none for gloves)."""

GAPS = """() => {
  const boxes = [...document.querySelectorAll("button.wide, .alarm-button")].filter((one) => one.checkVisibility())
    .map((one) => one.getBoundingClientRect()).sort((a, b) => a.top - b.top);
  return boxes.slice(1).map((box, i) => box.top - boxes[i].bottom);
}"""
"""Space between the big buttons."""

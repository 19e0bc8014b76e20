"""Markdown to Dash's own HTML components: CommonMark with tables, raw HTML left out."""

import re
from collections.abc import Callable
from typing import Any, Final

from dash import html
from markdown_it import MarkdownIt
from markdown_it.tree import SyntaxTreeNode

from dashboards.pages.parts import wide

_PARSER: Final = MarkdownIt("commonmark", {"html": False}).enable("table")

_PLAIN: Final[dict[str, Callable[[list[Any]], Any]]] = {
    "paragraph": html.P,
    "bullet_list": html.Ul,
    "ordered_list": html.Ol,
    "list_item": html.Li,
    "strong": html.Strong,
    "em": html.Em,
    "blockquote": html.Blockquote,
    "thead": html.Thead,
    "tbody": html.Tbody,
    "tr": html.Tr,
    "th": html.Th,
    "td": html.Td,
}
_HEADINGS: Final = {"h1": html.H1, "h2": html.H2, "h3": html.H3, "h4": html.H4}


def render(text: str) -> list[Any]:
    """The components a Markdown text becomes. Links between guides (``running.md``) become ``/help/running``."""
    return _children(SyntaxTreeNode(_PARSER.parse(text)))


def title(text: str) -> str:
    """The first heading of a guide. Check: a text that begins "# Running" has "Running"."""
    return next((line[2:].strip() for line in text.splitlines() if line.startswith("# ")), "")


def slug(words: str) -> str:
    """What a heading is linked by. Check: "Lost broker, and back" is "lost-broker-and-back"."""
    return re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")


def _children(node: SyntaxTreeNode) -> list[Any]:
    return [_one(child) for child in node.children]


def _one(node: SyntaxTreeNode) -> Any:
    kind = node.type
    if kind == "paragraph" and _is_drawing(node):
        return wide(_image(node.children[0].children[0], "drawing"))
    if kind in _PLAIN:
        return _PLAIN[kind](_children(node))
    if kind == "table":
        return wide(html.Table(_children(node)))
    if kind == "inline":
        return html.Span(_children(node))
    if kind == "heading":
        return _HEADINGS[node.tag](_children(node), id=slug(_words(node)))
    if kind == "link":
        return html.A(_children(node), href=_address(str(node.attrs.get("href", ""))))
    if kind == "image":
        return _image(node)
    if kind in {"fence", "code_block"}:
        return html.Pre(html.Code(node.content))
    if kind == "code_inline":
        return html.Code(node.content)
    if kind == "hr":
        return html.Hr()
    if kind == "hardbreak":
        return html.Br()
    return " " if kind == "softbreak" else node.content


def _image(node: SyntaxTreeNode, kind: str = "") -> html.Img:
    return html.Img(src=f"/help/{node.attrs.get('src', '')}", alt=node.content, className=kind)


def _is_drawing(node: SyntaxTreeNode) -> bool:
    """A drawing that stands by itself: it has words in it, which nobody could read if it were shrunk to a phone."""
    only = list(node.children[0].children)
    return len(only) == 1 and only[0].type == "image" and str(only[0].attrs.get("src", "")).endswith(".svg")


def _words(node: SyntaxTreeNode) -> str:
    return "".join(child.content for child in node.walk() if child.type in {"text", "code_inline"})


def _address(href: str) -> str:
    """Only within these pages, or out by https: never a scheme that could run."""
    if match := re.fullmatch(r"(?:\.\./)*([a-z-]+)\.md(#.*)?", href):
        return f"/help/{match[1]}{match[2] or ''}"
    return href if href.startswith(("https://", "/", "#")) else "#"

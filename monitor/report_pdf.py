"""The page of a lift as PDF. The one place that needs the Pango libraries of the operating system."""

from typing import Any, Final, NoReturn

SIZES_PX: Final = (12, 11, 10, 9, 8, 7, 6)
"""Sizes of print to try, the most readable first (96 px an inch)."""


class PdfError(Exception):
    """No PDF could be made; the text says why and what to do."""


def pdf(page: str) -> bytes:
    """A page of HTML that fetches nothing, as PDF on the paper size its style names, in the largest print that fits one sheet.

    Raises:
        PdfError: The Pango libraries are missing.
    """
    try:
        from weasyprint import HTML
    except (ImportError, OSError) as error:  # it finds its libraries while it is imported
        raise PdfError(
            f"PDF needs the Pango libraries, which can't be loaded ({error}). On Debian: apt install "
            "libpango-1.0-0 libpangoft2-1.0-0. Or write the .html page and print it from a browser."
        ) from None
    for size_px in SIZES_PX:
        sized = page.replace("</head>", f"<style>body {{ font-size: {size_px}px }}</style></head>", 1)
        document = HTML(string=sized, url_fetcher=_refuse).render()
        if len(document.pages) == 1:
            break
    made: bytes = document.write_pdf()
    return made


def _refuse(url: str, *_more: Any, **_named: Any) -> NoReturn:
    raise ValueError(f"a record's page fetches nothing, not {url}")

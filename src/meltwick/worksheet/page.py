"""Pages in HTML: each is one file that asks nothing of anyone else and runs no script."""

from __future__ import annotations

import base64
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from meltwick.worksheet.cautions import CAUTIONS
from meltwick.worksheet.sheet import Sheet

if TYPE_CHECKING:
    from jinja2 import Environment


@lru_cache(maxsize=1)
def _pages() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    pages = Environment(
        loader=PackageLoader("meltwick.worksheet", "templates"),
        autoescape=True,  # names and notes are the maker's own words, never markup
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    pages.filters["data"] = as_data
    return pages


def as_data(png: bytes) -> str:
    """Write a PNG file as the address of itself (RFC 2397)."""
    return f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}"


def set_page(template: str, **words: Any) -> str:
    """Fill a template; every word is escaped."""
    return _pages().get_template(template).render(cautions=CAUTIONS, **words)


def sheet_html(sheet: Sheet, version: str) -> str:
    """Set a work sheet as one HTML file that prints on A4 and Letter.

    Parameters
    ----------
    sheet : Sheet
    version : str
        Of the program.
    """
    return set_page("sheet.html", sheet=sheet, version=version)

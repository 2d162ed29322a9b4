"""Set the tables of docs/speed.md from what the benchmarks measured.

Run it as ``python docs/make_speed.py FOLDER`` with the folder that
``tests/benchmarks/side_by_side.py`` wrote; what it measured is kept in docs/speed.json. Without a
folder the tables are set from that.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
PAGE, DATA = HERE / "speed.md", HERE / "speed.json"
PLACE = re.compile(r"(<!-- made: ([a-z]+) -->\n).*?(<!-- end: \2 -->)", re.DOTALL)


def told(value: Any) -> str:
    """Write a number to three places, and the rest as it is."""
    if isinstance(value, float):
        return f"{value:.3g}" if abs(value) < 1e3 else f"{value:,.0f}".replace(",", " ")
    if isinstance(value, int) and abs(value) >= 10_000:
        return f"{value:,}".replace(",", " ")
    return str(value)


def table(rows: list[dict[str, Any]]) -> str:
    """Set one table in Markdown."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    lines = [f"| {' | '.join(names)} |", "|" + "---|" * len(names)]
    lines += [f"| {' | '.join(told(row.get(name, '')) for name in names)} |" for row in rows]
    return "\n".join(lines)


def page(tables: dict[str, list[dict[str, Any]]]) -> str:
    """Return the page with all its tables as measured."""

    def made(place: re.Match[str]) -> str:
        return f"{place[1]}\n{table(tables[place[2]])}\n\n{place[3]}"

    return PLACE.sub(made, PAGE.read_text("utf-8"))


def main() -> None:
    """Keep what was measured, and set the tables."""
    if len(sys.argv) > 1:
        found = json.loads((Path(sys.argv[1]) / "side-by-side.json").read_text("utf-8"))
        DATA.write_text(json.dumps(found, indent=1) + "\n", "utf-8")
    PAGE.write_text(page(json.loads(DATA.read_text("utf-8"))), "utf-8")


if __name__ == "__main__":
    main()

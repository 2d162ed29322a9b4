# ruff: noqa: E501  (the page's own lines)
"""Write docs/collection.md from the collection file's own records.

Run it as ``python docs/make_collection_file.py`` after a key changes; a test compares the two.
"""

from __future__ import annotations

from pathlib import Path

from meltwick.collection import models
from meltwick.plan.table import Table

PAGE = Path(__file__).with_name("collection.md")
TABLES: tuple[tuple[str, type[Table]], ...] = (
    ("The collection", models.Collection),
    ("`[[piece]]`", models.PieceTable),
    ("`[prices]`, or a file of them", models.PriceTable),
    ("`[workshop]`", models.WorkshopTable),
    ("`[export]`", models.ExportTable),
)
TOP = """# A collection

`meltwick collection FOLDER` shows the plans of a folder together. Without a word more it draws a board,
says how near the pieces are to each other, and what to buy. A file `collection.toml` in the folder adds
prices, racks, poles, hours and the pieces' order:

```toml
{example}```

It writes into `./NAME/`, or `--out`:

| file | holds |
|---|---|
| `board.html` | the board, the shopping list, the costs and the calendar: one file, prints on A4 and Letter |
| `board.png` | every piece with its ratio, its colours and its price |
| `shopping.csv` | what to buy for all pieces |
| `pieces.csv` | a row a piece: shares, cost, price, what is left |
| `calendar.ics` | what your hands do and when, for a calendar program, with a bell before each rinse |
| `calendar.csv` | the same as a table |
| `calendar.png` | the same as a picture, a row a piece |

`--form "square 1080" --form "4:5 1350"` also draws each piece alone; `--names "{{number}}-{{name}}-{{form}}"`
says how the files are called.

![The board of eight pieces](../gallery/first-frost/board.png)

![Their calendar](../gallery/first-frost/calendar.png)

## How it reckons

- Costs are your own prices times what the plan takes; what has no price is named and left out. Every piece
  is reckoned with a soak of its own and with the hours in which hands are at it; pieces that you soak or
  fold together cost less.
- Powder, soda and string on the shopping list are a tenth more than the plans add up to.
- The calendar keeps to your hours, one thing a person at a time, to racks, tubs, poles and machines, and to
  the ice of a day. A pole is held from folding to rinsing, a rack until the batch is over. A batch may last
  up to a day longer than its plan says. Pieces of one colour family share a wash.
- How near two pieces are is the least that one's colours must change to become the other's, in CIEDE2000:
  each colour is moved to another at the cost of its area times their difference. Nearer than 8 with less
  than 8 % of the area between their white, they are near-twins; a piece that stands much farther from its
  nearest than the others do stands alone. Where on the cloth a colour lies does not count.

## Every key

This part is made from the program by `docs/make_collection_file.py`, and a test compares them.
"""


def page() -> str:
    """Return the whole page."""
    example = Path(__file__).parents[1] / "gallery" / "first-frost" / "collection.toml"
    lines = [TOP.format(example=example.read_text("utf-8"))]
    for heading, record in TABLES:
        lines += [f"### {heading}", "", "| key | what it is |", "|---|---|"]
        lines += [
            f"| `{key}` | {field.description} |" for key, field in record.model_fields.items()
        ]
        lines.append("")
    return "\n".join(lines).rstrip() + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")

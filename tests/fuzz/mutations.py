"""Ways to spoil a file: bytes, tokens of a text, chunks of a picture, cells of a database."""

from __future__ import annotations

import random
import re
import sqlite3
import struct
import zlib
from pathlib import Path

_TOKEN = re.compile(rb'"[^"\n]{0,300}"|[-+]?\d+(?:\.\d+)?|[A-Za-z_]+|[ \t]+|\n|.', re.DOTALL)
_INNER = re.compile(rb"[-+]?\d+(?:\.\d+)?|[A-Za-z_]+|[ \t]+|\n|.", re.DOTALL)
NUMBERS = [
    *(b"nan", b"inf", b"-inf", b"-1", b"0", b"-0.0", b"1e400", b"1e308", b"5e-324", b"1e-9"),
    *(b"9" * 5000, b"9" * 19, b"-" + b"9" * 30, b"0x10", b"1_0", b"007", b"1e", b".5", b"1/0"),
    *("٣".encode(), "½".encode(), "1½".encode(), b"1979-05-27", b"07:32:00", b"NaN", b"1,5"),
]
TEXTS = [
    *(b"", b" ", b"\\u0000", b"\\ud800", b"\\n", b"a" * 3000, b"../" * 30, b"/dev/zero", b"%s%n"),
    *("\u202e".encode(), "e\u0301".encode() * 50, "\U0001f9f6".encode(), b"con", b"-rf", b"[b]"),
    *(b"25 mm", b"-25 mm", b"1e99 mm", b"nan mm", b"0 g", b"1 1/2 in", b"1/0 in", b"100 %", b"tee"),
]
VALUES = [b"[]", b"{}", b"[[]]", b"[{}]", b"true", b"null", b"[1, 'a', {}]", b"'''", b'"""', b"#"]


def spoil_bytes(dice: random.Random, data: bytes, other: bytes) -> bytes:
    """Turn bits, put numbers at their bounds in, cut, double, and mix with another file."""
    out = bytearray(data)
    for _ in range(dice.choice((1, 1, 2, 4, 16))):
        at = dice.randrange(len(out) + 1)
        size = dice.choice((1, 2, 4, 8, 64, 1024))
        kind = dice.randrange(8)
        if kind == 0 and at < len(out):
            out[at] ^= 1 << dice.randrange(8)
        elif kind == 1:
            out[at : at + size] = dice.randbytes(size)
        elif kind == 2:
            number = dice.choice((0, 1, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF))
            out[at : at + 4] = struct.pack(dice.choice("<>") + "I", number)
        elif kind == 3:
            del out[at : at + size]
        elif kind == 4:
            out[at:at] = out[at : at + size]
        elif kind == 5 and other:
            start = dice.randrange(len(other))
            out[at : at + size] = other[start : start + size]
        elif kind == 6 and dice.random() < 0.3:
            del out[at:]
        elif at < len(out):
            out[at] = dice.choice((0, 0x20, 0x7F, 0x80, 0xFF))
    return bytes(out)


def spoil_text(dice: random.Random, data: bytes, other: bytes) -> bytes:
    """Swap, drop, double and replace the tokens of a text, nest it deep, cut it off."""
    pattern = dice.choice((_TOKEN, _INNER))
    parts = pattern.findall(data[:200_000]) or [b""]
    theirs = pattern.findall(other[:200_000]) or [b""]
    for _ in range(dice.choice((1, 1, 1, 1, 2, 3, 8))):
        at, kind = dice.randrange(len(parts)), dice.randrange(16)
        while parts[at].isspace() and dice.random() < 0.9:
            at = dice.randrange(len(parts))
        part = parts[at]
        if kind <= 2:
            parts[at] = _other(dice, part)
        elif kind >= 11:  # one of its own kind, so that the whole is still well written
            alike = [each for each in theirs if _kind(each) == _kind(part)]
            parts[at] = dice.choice(alike or [b"1"])
        elif kind == 4:
            to = dice.randrange(len(parts))
            parts[at], parts[to] = parts[to], part
        elif kind == 5:
            parts[at] = b""
        elif kind == 6:
            run = parts[at : at + dice.choice((1, 3, 12, 60))]
            parts[at:at] = run * dice.choice((1, 1, 1, 2, 300))
        elif kind == 7:
            start = dice.randrange(len(theirs))
            parts[at:at] = theirs[start : start + dice.choice((1, 4, 20, 80))]
        elif kind == 8:
            parts[at] = dice.choice((b"[", b"{", b"(", b"<g>")) * dice.choice((1, 15, 3000))
        elif kind == 9 and dice.random() < 0.2:
            del parts[at + 1 :]
        else:
            line = dice.choice(
                (b"\n", b"\r\n", b"\r", b"\x0b", b"\xe2\x80\xa8", b"\xef\xbb\xbf", b"\t")
            )
            parts[at] = part + line
    return b"".join(parts)[:1_200_000]


def _kind(part: bytes) -> str:
    if part[-1:].isdigit():
        return "number"
    return "word" if part.isalpha() else chr(part[0]) if part else ""


def _other(dice: random.Random, part: bytes) -> bytes:
    if part[:1] == b'"':
        inner = dice.choice((*TEXTS, *NUMBERS, part[1:-1] + dice.choice(TEXTS)))
        return dice.choice((b'"' + inner + b'"',) * 4 + (inner, dice.choice(VALUES)))
    if part[-1:].isdigit():
        return dice.choice((*NUMBERS, part + b"0" * 12, b"-" + part, b"0." + part, *VALUES[:6]))
    return dice.choice((*NUMBERS, *TEXTS, *VALUES, part * 2, part.swapcase()))


def spoil_png(dice: random.Random, data: bytes, other: bytes) -> bytes:
    """Spoil one chunk of a PNG and put its checksum right again, so that it is read."""
    chunks, at = [], 8
    while at + 12 <= len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        chunks.append((data[at + 4 : at + 8], data[at + 8 : at + 8 + size]))
        at += 12 + size
    if not chunks or data[:4] != b"\x89PNG":
        return spoil_bytes(dice, data, other)
    which = dice.randrange(len(chunks))
    name, body = chunks[which]
    if name == b"IDAT" and dice.random() < 0.5:
        body = zlib.compress(spoil_bytes(dice, b"\0" * 400, other), 1)
    else:
        body = spoil_bytes(dice, body, other)
    chunks[which] = (name, body)
    if dice.random() < 0.3:
        dice.shuffle(chunks)
    return data[:8] + b"".join(
        struct.pack(">I", len(b)) + n + b + struct.pack(">I", zlib.crc32(n + b)) for n, b in chunks
    )


def spoil_database(dice: random.Random, data: bytes, work: Path) -> bytes:
    """Write something else into a cell or the words of a table of a SQLite file."""
    path = work / "spoiled.db"
    path.write_bytes(data)
    try:
        connection = sqlite3.connect(path, isolation_level=None)
        connection.create_function("hostile", 0, lambda: _cell(dice))
        connection.execute("PRAGMA writable_schema = ON")
        tables = [row[0] for row in connection.execute("SELECT name FROM sqlite_master")]
        table = dice.choice([*tables, "sqlite_master"])
        names = [row[1] for row in connection.execute(f'PRAGMA table_info("{table}")')]
        value = dice.choice(("hostile()", f'replace("{dice.choice(names)}", "1", "-9")', "NULL"))
        rows = connection.execute(f'SELECT rowid FROM "{table}"').fetchall()
        where = f"rowid = {dice.choice(rows)[0]}" if rows else "1"
        connection.execute(f'UPDATE "{table}" SET "{dice.choice(names)}" = {value} WHERE {where}')
    except (sqlite3.Error, IndexError, UnicodeDecodeError):
        return spoil_bytes(dice, data, data)
    finally:
        connection.close()
    return path.read_bytes()


def _cell(dice: random.Random) -> object:
    text = dice.choice((*TEXTS, *VALUES)).decode()
    return dice.choice((text, text.encode() + b"\xff", -1, 2**63 - 1, 1e308, "9" * 400, "[" * 9000))

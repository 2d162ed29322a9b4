"""What is declared is used, what is used is declared, and nothing speaks to a network."""

import ast
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import meltwick

ROOT = Path(meltwick.__file__).parent
HOME = Path(__file__).parents[1]
PROJECT = tomllib.loads((HOME / "pyproject.toml").read_text("utf-8"))["project"]
PACKAGES = {  # modules that are not called as the package that brings them
    "PIL": "pillow",
    "skimage": "scikit-image",
    "pillow_heif": "pillow-heif",
    "pydantic_core": "pydantic",  # which wants one version of it exactly
}
PLUGGED = {"imageio-ffmpeg"}  # what imageio writes an MP4 with
NETWORK = {
    *("socket", "ssl", "socketserver", "asyncio", "selectors", "urllib", "http", "xmlrpc"),
    *("ftplib", "smtplib", "poplib", "imaplib", "webbrowser", "requests", "httpx", "aiohttp"),
}
SOURCES = {path: ast.parse(path.read_text("utf-8")) for path in sorted(ROOT.rglob("*.py"))}


def modules(nodes):
    """Return the first part of each module that is imported, our own left out."""
    found = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and not node.level:
            found.add(str(node.module).split(".")[0])
    return found - {"meltwick"}


def foreign(nodes):
    """Return the packages of others that are imported."""
    names = modules(nodes) - sys.stdlib_module_names
    return {PACKAGES.get(name, name).lower() for name in names}


def declared(lines):
    return {re.split(r"[<>=!~\[; ]", line)[0].lower() for line in lines}


REQUIRED = declared(PROJECT["dependencies"])
EXTRAS = set().union(
    *(declared(PROJECT["optional-dependencies"][name]) for name in ("film", "photo", "cluster"))
)


def test_each_package_that_is_imported_is_declared_and_each_declared_is_imported():
    used = set().union(*(foreign(ast.walk(tree)) for tree in SOURCES.values()))
    assert used | PLUGGED == REQUIRED | EXTRAS


def test_what_is_optional_is_imported_only_where_it_is_used():
    for path, tree in SOURCES.items():
        assert not foreign(tree.body) & EXTRAS, path


def test_every_dependency_is_told_of():
    told = (HOME / "DEVELOPERS.md").read_text("utf-8").partition("## Dependencies")[2]
    rows = re.findall(r"^\| `([\w-]+)` \|", told, re.MULTILINE)
    assert {row.lower() for row in rows} == REQUIRED | EXTRAS
    assert len(rows) == len(set(rows))


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_module_knows_a_network(path):
    """The option --cluster speaks through distributed, and only where it is given."""
    names = modules(ast.walk(SOURCES[path]))
    assert not names & NETWORK
    assert "distributed" not in names or path == ROOT / "study" / "cluster.py"


GUARD = """
import sys

def guard(event, found):
    if event.startswith("socket.") and event != "socket.__new__" or event == "urllib.Request":
        with open(PLACE, "a") as file:
            file.write(f"{event} {found}\\n")
        raise SystemExit(f"{event} {found}")

sys.addaudithook(guard)
"""
ACTS = """
import importlib, pkgutil, socket, sys
import meltwick
from meltwick.cli import main

for found in pkgutil.walk_packages(meltwick.__path__, "meltwick."):
    if not found.name.endswith("__main__"):
        importlib.import_module(found.name)
for words in (
    ["preview", "plan.toml", "--detail", "10 mm"],
    ["journal", "list", "--journal", "none.db"],
):
    assert main(words) == 0, words
print("all was done")
socket.create_connection(("127.0.0.1", 9))  # the guard itself
"""


def test_nothing_listens_and_nothing_is_sent(tmp_path, monkeypatch):
    """Python tells of every socket that is named, bound or connected."""
    place = tmp_path / "heard"
    guard = GUARD.replace("PLACE", repr(str(place)))
    (tmp_path / "sitecustomize.py").write_text(guard)
    (tmp_path / "plan.toml").write_text('[garment]\nblank = "bandana"\n')
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join((str(tmp_path), str(ROOT.parent))))
    done = subprocess.run(
        [sys.executable, "-c", ACTS], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert "all was done" in done.stdout, done.stderr
    heard = place.read_text().splitlines()
    assert len(heard) == 1, heard
    assert heard[0].startswith("socket.getaddrinfo ('127.0.0.1', 9")
    assert done.returncode == 1

"""Every way to fail ends in one plain line and the right exit code."""

from __future__ import annotations

import errno
import math
import os
import re
import sys
from datetime import datetime
from difflib import get_close_matches
from pathlib import Path

import typer

from meltwick.errors import MeltwickError, ResourceError, no_room

INTERRUPTED = 130
_STOPPED = "interrupted; nothing was written"
_OUR_FAULT = 1
_WRONG_COMMAND = 2
_NO_ROOM = 4

_LIBRARIES = 7e8
"""Bytes of addresses that the libraries take before any cloth is there: with 0.6 GB they failed to
load on two cores, with 0.7 GB they did."""

# The parser's own error classes, reached through a public name of typer, since where they are
# defined differs between its versions.
_USAGE_ERROR: type[Exception] = typer.BadParameter.__mro__[1]
_COMMAND_ERROR: type[Exception] = typer.BadParameter.__mro__[2]


def one_line(text: object) -> str:
    """Join a message into a single line of printable characters."""
    joined = " ".join(str(text).split())
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in joined)


def say(text: str) -> None:
    """Print one line of status to standard error; never fails, whatever its encoding."""
    stream = sys.stderr
    try:
        print(text, file=stream, flush=True)
    except UnicodeEncodeError:
        coding = stream.encoding or "ascii"
        print(text.encode(coding, "replace").decode(coding), file=stream, flush=True)
    except (OSError, ValueError):
        return  # standard error is closed: nobody listens


def complain(error: object) -> None:
    """Say what is wrong, in one line, in the program's name."""
    say(f"meltwick: {one_line(error)}")


def _plain_usage(error: Exception) -> str:
    """Word a mistake on the command line; the parser itself offers the nearest right word."""
    if offered := getattr(error, "possibilities", None):
        # the parser counts the dashes too, so that every short option is like every other
        bare = {each.lstrip("-"): each for each in offered}
        wrong = getattr(error, "option_name", "").lstrip("-")
        near = get_close_matches(wrong, bare, cutoff=0.5)
        error.possibilities = [bare[each] for each in near]  # type: ignore[attr-defined]
    text = one_line(error.format_message() if hasattr(error, "format_message") else error)
    text = re.sub(r"\?\.$", "?", text)
    text = re.sub(r" \(Possible options?: (.*)\)$", r". Did you mean \1?", text)
    text = re.sub(r"(?<=Did you mean )--.*, .*(?=\?$)", lambda m: m[0].replace(", ", " or "), text)
    text = re.sub(
        r"^Got unexpected extra arguments?(?:\(s\))? \((.*)\)\.?$", r"too many words: \1", text
    )
    text = re.sub(r"^Missing argument '(.*)'\.?$", r"\1 is missing", text)
    text = re.sub(r"^Option '(.*)' requires an argument\.?$", r"\1 needs a value after it", text)
    if text.endswith("?"):
        return text
    where = getattr(getattr(error, "ctx", None), "command_path", "meltwick")
    return f"{text.removesuffix('.')}; see {where} --help"


def _write_log(error: BaseException, arguments: list[str]) -> Path | None:
    import platform
    import traceback

    from meltwick import __version__
    from meltwick.homes import offered

    now = datetime.now().astimezone()
    folder = offered("log")
    if folder is None:
        return None
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / f"meltwick-{now:%Y%m%d-%H%M%S}-{os.getpid()}.log"
        head = (
            f"meltwick {__version__}, Python {platform.python_version()}, {platform.platform()}\n"
            f"{now.isoformat(timespec='seconds')}\narguments: {arguments!r}\n\n"
        )
        text = head + "".join(traceback.format_exception(error))
        path.write_text(text, encoding="utf-8", errors="backslashreplace")
    except OSError:
        return None
    return path


def _our_fault(error: Exception, arguments: list[str]) -> int:
    path = _write_log(error, arguments)
    kind = type(error).__name__
    where = f"details are in {path}" if path else "run it again with --debug for details"
    complain(f"this is our fault, not yours ({kind}); {where}")
    return _OUR_FAULT


def _interrupted(error: BaseException | None) -> bool:
    """Whether an interrupt lies behind an error: compiled code wraps it in one of its own."""
    while error is not None:
        if isinstance(error, KeyboardInterrupt):
            return True
        error = error.__cause__ or error.__context__
    return False


def address_limit() -> float:
    """Bytes of addresses that this process may use; infinite where there is no limit."""
    if sys.platform == "win32":
        return math.inf
    import resource

    soft = resource.getrlimit(resource.RLIMIT_AS)[0]
    return math.inf if soft == resource.RLIM_INFINITY else float(soft)


def _require_room_to_load() -> None:
    """Refuse to load the libraries where they cannot fit: some of them end the process, or hang.

    Raises
    ------
    ResourceError
        The limit on this process is below what they take.
    """
    limit = address_limit()
    if limit < _LIBRARIES:
        raise ResourceError(
            f"a limit gives this program {limit / 1e9:.2g} GB of memory, and it needs "
            f"{_LIBRARIES / 1e9:g} GB to begin; raise it, as with ulimit -v unlimited"
        )


def _starved(error: Exception) -> bool:
    """Whether memory ran out: where there is a limit, a library may find that it does not load."""
    if isinstance(error, MemoryError) or getattr(error, "errno", None) == errno.ENOMEM:
        return True
    unloaded = isinstance(error, ImportError | OSError) and "shared object" in str(error)
    return unloaded and math.isfinite(address_limit())


def _judge(error: Exception, arguments: list[str]) -> int:
    """Say what went wrong and choose the exit code."""
    if _interrupted(error):
        complain(_STOPPED)
        return INTERRUPTED
    if isinstance(error, MeltwickError):
        complain(error)
        return error.exit_code
    if isinstance(error, _COMMAND_ERROR):
        complain(_plain_usage(error))
        return _WRONG_COMMAND
    if isinstance(error, typer.Abort):
        complain(_STOPPED)
        return INTERRUPTED
    if isinstance(error, OSError) and no_room(error):
        _close_quietly()
        complain("there is no room left where this command's words were sent")
        return _NO_ROOM
    if _starved(error):
        complain("not enough memory; try a coarser --detail, such as draft")
        return _NO_ROOM
    return _our_fault(error, arguments)


def _close_quietly() -> None:
    """Drop what standard output still holds, after its reader has gone."""
    try:
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, sys.stdout.fileno())
    except (OSError, ValueError):
        return


def _unheard() -> int:
    """End well although nobody hears us, as in `meltwick check plan.toml | head -1`."""
    _close_quietly()
    return 0


def guarded(arguments: list[str]) -> int:
    """Run the command line; turn every failure into one line and an exit code."""
    from meltwick.cli.app import build

    debug = "--debug" in arguments
    try:
        if arguments and not {"--help", "-h", "--version"} & set(arguments):
            _require_room_to_load()
        code = build(arguments).main(
            args=arguments or ["--help"], prog_name="meltwick", standalone_mode=False
        )
        if sys.stdout is not None:
            sys.stdout.flush()
    except KeyboardInterrupt:
        code = INTERRUPTED
    except BrokenPipeError:
        return _unheard()
    except SystemExit as ending:
        if not isinstance(ending.__context__, BrokenPipeError):
            raise
        return _unheard()  # the parser met it first, and would have us fail
    except Exception as error:
        if debug:
            import traceback

            traceback.print_exc()
        return _judge(error, arguments)
    if code == INTERRUPTED:
        complain(_STOPPED)
    return code if isinstance(code, int) else 0

"""Every way to fail ends in one plain line and the right exit code."""

from __future__ import annotations

import os
import re
import sys
from datetime import datetime
from pathlib import Path

import typer

from meltwick.errors import MeltwickError

INTERRUPTED = 130
_OUR_FAULT = 1
_WRONG_COMMAND = 2
_NO_ROOM = 4

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
    text = one_line(error.format_message() if hasattr(error, "format_message") else error)
    text = re.sub(r"\?\.$", "?", text)
    text = re.sub(r" \(Possible options?: (.*)\)$", r". Did you mean \1?", text)
    return text if text.endswith(("?", ".")) else f"{text}."


def _write_log(error: BaseException, arguments: list[str]) -> Path | None:
    import platform
    import traceback

    import platformdirs

    from meltwick import __version__

    now = datetime.now().astimezone()
    try:
        folder = Path(platformdirs.user_log_dir("meltwick", appauthor=False))
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


def _judge(error: Exception, arguments: list[str]) -> int:
    """Say what went wrong and choose the exit code."""
    if isinstance(error, MeltwickError):
        complain(error)
        return error.exit_code
    if isinstance(error, _COMMAND_ERROR):
        complain(_plain_usage(error))
        return _WRONG_COMMAND
    if isinstance(error, typer.Abort):
        complain("interrupted; nothing was written")
        return INTERRUPTED
    if isinstance(error, MemoryError):
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


def guarded(arguments: list[str]) -> int:
    """Run the command line; turn every failure into one line and an exit code."""
    from meltwick.cli.app import build

    debug = "--debug" in arguments
    try:
        code = build().main(
            args=arguments or ["--help"], prog_name="meltwick", standalone_mode=False
        )
        sys.stdout.flush()
    except KeyboardInterrupt:
        code = INTERRUPTED
    except BrokenPipeError:
        _close_quietly()  # as in `meltwick check plan.toml | head -1`: no failure
        return 0
    except Exception as error:
        if debug:
            import traceback

            traceback.print_exc()
        return _judge(error, arguments)
    if code == INTERRUPTED:
        complain("interrupted; nothing was written")
    return code if isinstance(code, int) else 0

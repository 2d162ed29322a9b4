"""Every way to fail ends in one plain line and the right exit code."""

from __future__ import annotations

import os
import re
import sys
from datetime import datetime
from difflib import get_close_matches
from pathlib import Path

import typer

from meltwick.cli.writing import no_room
from meltwick.errors import MeltwickError

INTERRUPTED = 130
_STOPPED = "interrupted; nothing was written"
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


def _interrupted(error: BaseException | None) -> bool:
    """Whether an interrupt lies behind an error: compiled code wraps it in one of its own."""
    while error is not None:
        if isinstance(error, KeyboardInterrupt):
            return True
        error = error.__cause__ or error.__context__
    return False


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
        code = build(arguments).main(
            args=arguments or ["--help"], prog_name="meltwick", standalone_mode=False
        )
        if sys.stdout is not None:
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
        complain(_STOPPED)
    return code if isinstance(code, int) else 0

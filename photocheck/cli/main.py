"""The command line: it only talks to people.  No arithmetic here."""

from __future__ import annotations

import gc
import os
import sys
from contextlib import ExitStack
from importlib import import_module
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import click

from photocheck import __version__
from photocheck.cli.exits import FAILED, INTERRUPTED
from photocheck.cli.say import say
from photocheck.errors import DecodingFailedError, PhotocheckError
from photocheck.speech import LANGUAGES, language_of, speaking, tr
from photocheck.words import EXIT_CODES

if TYPE_CHECKING:
    from collections.abc import Mapping

_COMMANDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "check": "check_commands",
        "locate": "check_commands",
        "sheet": "sheet_commands",
        "learn": "learn_commands",
        "serve": "serve_commands",
        "schema": "schema_commands",
        "staff": "access_commands",
        "client": "access_commands",
        "link": "access_commands",
        "rotate": "access_commands",
        "backup": "store_commands",
        "restore": "store_commands",
        "forget": "store_commands",
        "held": "store_commands",
        "export": "export_commands",
        "fit": "fit_commands",
        "message": "fit_commands",
        "record": "fit_commands",
        "shelf": "fit_commands",
        "templates": "fit_commands",
        "desk": "intake_commands",
        "batch": "batch_commands",
    }
)
"""The module in which each command is defined, under its own name."""


class _Commands(click.Group):
    """Commands whose module is loaded when one of them is asked for.

    A single command then starts without the orders and the desk, which only others need.
    """

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        command = getattr(import_module(f"photocheck.cli.{_COMMANDS[cmd_name]}"), cmd_name)
        assert isinstance(command, click.Command)  # by `_COMMANDS`
        return command


@click.group(
    cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96}
)
@click.version_option(__version__, prog_name="photocheck")
@click.option(
    "--language",
    type=click.Choice(list(LANGUAGES)),
    help="What to speak. Without it what the environment asks for (LC_ALL, LC_MESSAGES, LANG), "
    "else English.",
)
@click.option("--debug", is_flag=True, help="Show the traceback of a failure of the program.")
@click.pass_context
def commands(context: click.Context, /, language: str | None, debug: bool) -> None:
    """Check tape readings for a made-to-measure dog harness against a side photo.

    The photo needs something of known size in it: the printed marker sheet, a card, a
    sheet of paper, a ruler, a disc or a ball.
    """
    # `debug` is dealt with in `run`, where the language is spoken to the end.
    if language is not None:
        context.obj.enter_context(speaking(language))


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with its exit code; never a traceback unasked."""
    # All matrices here are small: sharing them among threads takes longer than the work itself.
    # Numpy reads this when it is loaded; what the person has set stands.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    code = run(sys.argv[1:] if arguments is None else arguments)
    # Leaving, Python looks for garbage among all that was loaded, which goes anyway.
    gc.freeze()
    sys.exit(code)


def run(arguments: list[str]) -> int:
    """Run the command line.

    Parameters
    ----------
    arguments : list of str
        Without the program's name.

    Returns
    -------
    int
        Exit code; messages have gone to stdout and stderr.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            # A terminal that lacks a letter shows it escaped instead of failing.
            stream.reconfigure(errors="backslashreplace")
    debug = "--debug" in arguments  # wherever it stands
    arguments = [argument for argument in arguments if argument != "--debug"]
    with ExitStack() as language:
        language.enter_context(speaking(language_of(os.environ)))
        return _run(arguments, language, debug=debug)


def _run(arguments: list[str], language: ExitStack, *, debug: bool) -> int:
    try:
        code = commands.main(arguments, "photocheck", standalone_mode=False, obj=language)
    except click.ClickException as error:
        error.show()
        return EXIT_CODES["bad_input"]
    except (KeyboardInterrupt, click.Abort):
        said = tr("interrupted")
        say(f"photocheck: {said}", err=True)
        return INTERRUPTED
    except DecodingFailedError as error:
        if debug:
            raise
        say(f"photocheck: {error}", err=True)
        return FAILED
    except PhotocheckError as error:
        say(f"photocheck: {error}", err=True)
        return EXIT_CODES["bad_input"]
    except BrokenPipeError:
        # The reader (head, less) has gone; that is its right.
        sys.stderr.close()
        return FAILED
    except Exception as error:
        if debug:
            raise
        say(f"photocheck: {_failure(error)}", err=True)
        return FAILED
    return code if isinstance(code, int) else 0


def _failure(error: Exception) -> str:
    if isinstance(error, ImportError) and ".so" in str(error):
        library = str(error).partition(":")[0]
        return tr(
            "OpenCV cannot start, because the system library {library} is missing. "
            "Install it with: apt-get install libgl1 libglib2.0-0",
            library=library,
        )
    if isinstance(error, MemoryError):
        return tr("there is not enough memory for this photo. Save a smaller copy of it.")
    return tr(
        "this should not have happened ({kind}: {said}). Please report it; the same command with "
        "--debug shows more.",
        kind=type(error).__name__,
        said=" ".join(str(error).split())[:200],
    )


if __name__ == "__main__":
    main()

"""The command line: it only talks to people.  No arithmetic here."""

from __future__ import annotations

import gc
import os
import sys
from contextlib import ExitStack, suppress
from importlib import import_module
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import click

from photocheck import __version__
from photocheck.cli.exits import FAILED, INTERRUPTED, NOT_WANTED
from photocheck.cli.say import NotWantedError, say
from photocheck.errors import DecodingFailedError, PhotocheckError, disk_is_full
from photocheck.speech import LANGUAGES, language_of, speaking, tr
from photocheck.words import EXIT_CODES

if TYPE_CHECKING:
    from collections.abc import Mapping

_COMMANDS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "check": "check_commands",
        "locate": "check_commands",
        "propose": "propose_commands",
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
        "orders": "orders_commands",
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
        return spoken_by(command)


def _speak(context: click.Context, _parameter: click.Parameter, language: str | None) -> None:
    if language is not None:
        context.find_root().obj.enter_context(speaking(language))


_LANGUAGE_HELP: Final = (
    "What to speak. Without it what the environment asks for (LC_ALL, LC_MESSAGES, LANG), else "
    "English."
)


def spoken_by(command: click.Command) -> click.Command:
    """The command with ``--language``, and all below it, but where it has one of its own."""
    if isinstance(command, click.Group):
        for each in command.commands.values():
            spoken_by(each)
    elif not any(option.name == "language" for option in command.params):
        command.params.append(
            click.Option(
                ["--language"],
                type=click.Choice(list(LANGUAGES)),
                expose_value=False,
                # Before what is asked for is read, so that complaints of it are understood.
                is_eager=True,
                callback=_speak,
                help=_LANGUAGE_HELP,
            )
        )
    return command


@click.group(
    cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96}
)
@click.version_option(__version__, prog_name="photocheck")
@click.option(
    "--language",
    type=click.Choice(list(LANGUAGES)),
    expose_value=False,
    callback=_speak,
    help=_LANGUAGE_HELP,
)
@click.option("--debug", is_flag=True, help="Show the traceback of a failure of the program.")
def commands(debug: bool) -> None:
    """Check tape readings for a made-to-measure dog harness against a side photo.

    The photo needs something of known size in it: the printed marker sheet, a card, a
    sheet of paper, a ruler, a disc or a ball. FILE may be "-" for standard input or output.
    """
    # `debug` is dealt with in `run`, where the language is spoken to the end.


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with its exit code; never a traceback unasked."""
    # All matrices and pictures here are small: sharing them among threads takes longer than the
    # work itself (a sheet looked for at a tap takes a quarter less of a processor without).  The
    # libraries read this when they are loaded; what the person has set stands.
    for name in ("OPENBLAS_NUM_THREADS", "OPENCV_FOR_THREADS_NUM"):
        os.environ.setdefault(name, "1")
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
    except NotWantedError:
        _complain(tr("nothing was changed"))
        return NOT_WANTED
    except (KeyboardInterrupt, click.Abort):
        _complain(tr("interrupted"))
        return INTERRUPTED
    except DecodingFailedError as error:
        if debug:
            raise
        _complain(str(error))
        return FAILED
    except PhotocheckError as error:
        _complain(str(error))
        return EXIT_CODES["bad_input"]
    except BrokenPipeError:
        # The reader (head, less) has gone; that is its right.
        sys.stderr.close()
        return FAILED
    except Exception as error:
        if disk_is_full(error):
            _complain(tr("the disk is full, and what was written is not whole. Make room on it."))
            _drop_output()
            return EXIT_CODES["bad_input"]
        if debug:
            raise
        _complain(_failure(error))
        return FAILED
    return code if isinstance(code, int) else 0


def _complain(text: str) -> None:
    say("photocheck:", err=True, nl=False, colour="red", bold=True)
    say(f" {text}", err=True)


def _drop_output() -> None:
    """Let go of what could not be printed, which Python would try once more when it leaves."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


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

"""The command line: it only talks to people.  No arithmetic here."""

from __future__ import annotations

import os
import sys
from contextlib import ExitStack

import click

from photocheck import __version__
from photocheck.cli import (
    access_commands,
    batch_commands,
    check_commands,
    export_commands,
    fit_commands,
    intake_commands,
    learn_commands,
    schema_commands,
    serve_commands,
    sheet_commands,
    store_commands,
)
from photocheck.cli.exits import FAILED, INTERRUPTED
from photocheck.errors import DecodingFailedError, PhotocheckError
from photocheck.speech import LANGUAGES, language_of, speaking, tr
from photocheck.words import EXIT_CODES


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96})
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


for _group in (
    check_commands,
    sheet_commands,
    learn_commands,
    serve_commands,
    schema_commands,
    access_commands,
    store_commands,
    export_commands,
    fit_commands,
    intake_commands,
    batch_commands,
):
    _group.add_to(commands)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with its exit code; never a traceback unasked."""
    sys.exit(run(sys.argv[1:] if arguments is None else arguments))


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
        click.echo(f"photocheck: {said}", err=True)
        return INTERRUPTED
    except DecodingFailedError as error:
        if debug:
            raise
        click.echo(f"photocheck: {error}", err=True)
        return FAILED
    except PhotocheckError as error:
        click.echo(f"photocheck: {error}", err=True)
        return EXIT_CODES["bad_input"]
    except BrokenPipeError:
        # The reader (head, less) has gone; that is its right.
        sys.stderr.close()
        return FAILED
    except Exception as error:
        if debug:
            raise
        click.echo(f"photocheck: {_failure(error)}", err=True)
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

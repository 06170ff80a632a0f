"""A message from a template: the shop's own where it has one, else the shipped one."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING, Final

from photocheck.case.model import Case
from photocheck.errors import PhotocheckError, reason_of
from photocheck.orders.messages.facts import NAMES, facts
from photocheck.orders.model import CHOICES
from photocheck.report.model import Report
from photocheck.speech import LANGUAGES, speaking, tr

if TYPE_CHECKING:
    from jinja2 import Environment, TemplateSyntaxError

    from photocheck.fit.answer import FitAnswer

DRAFTS: Final = (*CHOICES, "retake", "reminder")
"""What a message can be about: a decision, asking for another photo whatever the verdict, or asking
once more what was not answered."""

TEMPLATES: Final = (
    *("accepted", "measure_again", "measure_first", "retake", "refused"),
    "reminder",
)
PARTS: Final = ("measuring", "closing", "reasons")
"""Templates that the others take in."""

_SHIPPED = files("photocheck.orders.messages").joinpath("templates")


class MessageError(PhotocheckError):
    """A message cannot be drafted, mostly because a template is broken."""


def draft_message(
    case_or_report: Case | Report,
    choice: str,
    *,
    language: str = "en",
    reason: str = "",
    templates: str | os.PathLike[str] | None = None,
    answer: FitAnswer | None = None,
) -> str:
    """A message to the owner, to be read and changed before anyone sends it.

    Parameters
    ----------
    case_or_report : Case or Report
        A case that was not checked can only be accepted, refused or measured.
    choice : str
        One of `DRAFTS`.
    language : str
        A key of `photocheck.speech.LANGUAGES`; another one means English.
    reason : str
        What staff want to add, in the owner's language; taken in as it is.
    templates : path, optional
        The shop's own folder, with one folder for each language in it; a template that is
        not there is taken from those shipped.
    answer : FitAnswer, optional
        What is cut, so that the message says the very lengths.

    Returns
    -------
    str
        Plain text, without a final line break.

    Raises
    ------
    MessageError
        When the choice is unknown or a template is broken: which file, which line, why.
    """
    if choice not in DRAFTS:
        raise MessageError(
            tr("there is no message for '{choice}'", choice=choice[:40]),
            do=tr("Use one of {options}", options=", ".join(DRAFTS)),
        )
    language = language if language in LANGUAGES else "en"
    report = case_or_report if isinstance(case_or_report, Report) else None
    case = case_or_report.case if isinstance(case_or_report, Report) else case_or_report
    with speaking(language):
        known = facts(case, report, reason, answer)
    if templates is not None:
        _refuse_missing(templates)
    with as_file(_SHIPPED) as shipped:
        folders = [] if templates is None else [Path(templates) / language]
        text = _render(f"{_template(choice, report)}.txt", known, [*folders, shipped / language])
    return re.sub(r"\n{3,}", "\n\n", text).strip()


def shipped_templates(language: str) -> dict[str, str]:
    """The shipped templates of a language: file name to text."""
    folder = _SHIPPED.joinpath(language)
    names = [f"{name}.txt" for name in (*TEMPLATES, *PARTS)]
    return {name: folder.joinpath(name).read_text(encoding="utf-8") for name in names}


def check_templates(folder: str | os.PathLike[str]) -> None:
    """See whether the shop's templates can be read; what they use is seen when they are filled in.

    Raises
    ------
    MessageError
        As `draft_message` does.
    """
    from jinja2 import TemplateSyntaxError

    _refuse_missing(folder)
    for language in LANGUAGES:
        own = Path(folder) / language
        for path in sorted(own.glob("*.txt")):
            try:
                _environment((own,)).parse(path.read_text(encoding="utf-8"), filename=str(path))
            except OSError as error:
                raise MessageError(
                    tr("the template cannot be read ({why})", why=reason_of(error)), where=str(path)
                ) from error
            except UnicodeDecodeError as error:
                raise _not_utf8(str(path)) from error
            except TemplateSyntaxError as error:
                raise _not_a_template(error, str(path)) from error
            except RecursionError as error:
                raise MessageError(
                    tr("the template cannot be read ({why})", why=error), where=str(path)
                ) from error


def _refuse_missing(folder: str | os.PathLike[str]) -> None:
    if not Path(folder).is_dir():
        raise MessageError(
            tr("there is no such folder of templates"),
            where=os.fspath(folder),
            do=tr('Write one with "photocheck templates"'),
        )


def _not_utf8(where: str) -> MessageError:
    return MessageError(
        tr("a template is not a text file in UTF-8"), where=where, do=tr("Save it as UTF-8")
    )


def _not_a_template(error: TemplateSyntaxError, name: str) -> MessageError:
    return MessageError(
        tr("the template cannot be read ({why})", why=error.message),
        where=_place(error.filename or error.name or name, error.lineno),
        do=tr("Put this line right, or remove the file to use the shipped one"),
    )


def _template(choice: str, report: Report | None) -> str:
    if choice != "asked_again":
        return choice
    if report is None:
        return "measure_first"
    return "retake" if report.verdict in ("retake", "cannot_tell") else "measure_again"


def _render(name: str, known: dict[str, object], folders: Sequence[Path]) -> str:
    from jinja2 import TemplateSyntaxError, UndefinedError

    try:
        return _environment(tuple(folders)).get_template(name).render(known)
    except UnicodeDecodeError as error:
        raise _not_utf8(str(folders[0])) from error
    except TemplateSyntaxError as error:
        raise _not_a_template(error, name) from error
    except Exception as error:  # whatever a shop's own template does
        if len(folders) == 1:  # all are photocheck's own: it failed, not the shop
            raise
        missing = isinstance(error, UndefinedError)
        raise MessageError(
            tr("the template cannot be filled in ({why})", why=" ".join(str(error).split())[:200]),
            where=_failed_at(error, folders, name),
            do=tr("Use only {names}", names=", ".join(NAMES))
            if missing
            else tr("Put this line right, or remove the file to use the shipped one"),
        ) from error


@cache
def _environment(folders: tuple[Path, ...]) -> Environment:
    """Kept, with its compiled templates; a template that was changed is read anew."""
    from jinja2 import FileSystemLoader, StrictUndefined
    from jinja2.sandbox import ImmutableSandboxedEnvironment

    return ImmutableSandboxedEnvironment(
        loader=FileSystemLoader(list(folders)),
        undefined=StrictUndefined,
        trim_blocks=True,
        keep_trailing_newline=True,
        lstrip_blocks=True,
        autoescape=False,  # plain text, shown as text wherever it goes
    )


def _failed_at(error: Exception, folders: Sequence[Path], name: str) -> str:
    """The innermost line of a template on the way to an error; Jinja keeps them in it."""
    place = name
    step = error.__traceback__
    while step is not None:
        file = step.tb_frame.f_code.co_filename
        if any(Path(file).parent == folder for folder in folders):
            place = _place(file, step.tb_lineno)
        step = step.tb_next
    return place


def _place(file: str, line: int) -> str:
    at = tr("line {number}", number=line)
    return f"{file}, {at}"

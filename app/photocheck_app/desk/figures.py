"""The desk's figures as HTML: tables that are drawings, so that a screen reader reads the same."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from photocheck.case.lengths import as_said
from photocheck.case.model import Case
from photocheck.judge.wording import chance_text, explanation_sentences
from photocheck.report.model import Explanation
from photocheck.shown.colours import DARK, WHITE, Colour, contrast
from photocheck.shown.doubt_bars import DoubtBars
from photocheck.shown.spans_plot import SpanRow, SpansPlot
from photocheck.speech import capital_first, tr
from photocheck.words import READING_TITLES, VERDICT_TITLES


def chip(text: str, kind: str) -> str:
    """A word on a coloured ground; `kind` names the colour in `desk_style`."""
    return f'<span class="chip {kind}">{escape(text)}</span>'


def verdict_chip(verdict: str) -> str:
    """A verdict, or nothing when there is none."""
    return chip(tr(VERDICT_TITLES[verdict]), verdict) if verdict else ""


def listed(title: str, items: Iterable[str]) -> str:
    """A list of plain texts under its title, if it has one; nothing when it is empty."""
    lines = "".join(f"<li>{escape(item)}</li>" for item in items if item)
    head = f"<h2>{escape(title)}</h2>" if title else ""
    return f'{head}<ul class="plain">{lines}</ul>' if lines else ""


def table_of(
    rows: Sequence[Sequence[str]], caption: str, kind: str = "", *, best: bool = False
) -> str:
    """Plain texts as a table, the heads first; `best` marks the first row below them."""
    heads = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in rows[0])
    body = "".join(
        f'<tr class="{"best" if best and not number else ""}">'
        f'<th scope="row">{escape(row[0])}</th>'
        f"{''.join(f'<td>{escape(cell)}</td>' for cell in row[1:])}</tr>"
        for number, row in enumerate(rows[1:])
    )
    return (
        f'<table class="figures {kind}"><caption class="unseen">{escape(caption)}</caption>'
        f"<thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>"
    )


def takes_of_case(case: Case) -> list[str]:
    """Every take of the readings that were measured more than once, as typed."""
    return [
        f"{capital_first(tr(READING_TITLES[name]))}: {reading.typed}"
        for name, reading in case.readings.items()
        if len(reading.takes) > 1
    ]


def spans_table(plot: SpansPlot) -> str:
    """Readings beside photo spans, with the plot as the last column."""
    axis = "".join(f'<span style="left:{_at(x)}">{escape(t)}</span>' for x, t in plot.ticks)
    caption = tr("Tape readings and what the photo says, in {unit}", unit=plot.unit)
    heads = (tr("length"), tr("tape"), tr("photo, 95 % interval"))
    head = "".join(f'<th scope="col">{escape(h)}</th>' for h in heads)
    rows = "".join(_span_row(row, plot) for row in plot.rows)
    drawing = tr("the same, drawn")
    return (
        f'<table class="spans"><caption class="unseen">{escape(caption)}</caption>'
        f'<thead><tr>{head}<th scope="col" class="figure">'
        f'<span class="unseen">{escape(drawing)}</span>'
        f'<div class="axis" aria-hidden="true">{axis}</div></th></tr></thead>'
        f"<tbody>{rows}</tbody></table>"
        f'<div class="quiet" aria-hidden="true">{escape(plot.key)}</div>'
    )


def _span_row(row: SpanRow, plot: SpansPlot) -> str:
    doubted = row.verdict not in ("", "agrees", "could_hide", "cannot_tell")
    grid = "".join(f'<i class="grid" style="left:{_at(x)}"></i>' for x, _ in plot.ticks)
    ends = (" open_left" if row.open_left else "") + (" open_right" if row.open_right else "")
    drawn = (
        f'<i class="bar{ends}" style="left:{_at(row.low)};right:{_from_right(row.high)}"></i>'
        f'<i class="middle" style="left:{_at(row.middle)}"></i>'
    )
    if row.beyond:
        arrow = f"◀ {row.tape}" if row.beyond == "left" else f"{row.tape} ▶"
        drawn += f'<i class="beyond {row.beyond}">{escape(arrow)}</i>'
    elif row.reading is not None:
        kind = " doubted" if doubted else ""
        drawn += f'<i class="point{kind}" style="left:{_at(row.reading)}"></i>'
    colour = "rgb({},{},{})".format(*row.colour)
    tape = row.tape or tr("not given")
    said = escape(row.verdict_title)
    return (
        f'<tr class="{"doubted" if doubted else ""}">'
        f'<th scope="row"><i class="swatch" style="background:{colour}"></i>{escape(row.title)}'
        f'<small class="said">{said}</small></th>'
        f"<td>{escape(tape)}<small>{escape(row.off)}</small>"
        f"<small>{escape(row.takes)}</small></td>"
        f"<td>{escape(row.photo)}<small>{escape(row.interval)}</small></td>"
        f'<td class="figure"><div class="lane" aria-hidden="true">{grid}{drawn}</div></td></tr>'
    )


def doubt_table(doubt: DoubtBars) -> str:
    """A bar a span, parted by source; the parts are named to screen readers."""
    if not doubt.titles:
        return ""
    rows = []
    for row in doubt.rows:
        parts = "".join(
            f'<i style="width:{share:.1%};{_ground(colour)}" '
            f'title="{escape(f"{title}: {text}")}">{escape(text) if share >= 0.1 else ""}</i>'
            for (share, text), title, colour in zip(
                row.parts, doubt.titles, doubt.colours, strict=True
            )
        )
        spoken = ", ".join(
            f"{title} {text}" for (_, text), title in zip(row.parts, doubt.titles, strict=True)
        )
        rows.append(
            f'<tr><th scope="row">{escape(row.title)}</th><td>{escape(row.extent)}</td>'
            f'<td class="figure"><span class="unseen">{escape(spoken)}</span>'
            f'<div class="parts" aria-hidden="true">{parts}</div></td></tr>'
        )
    keys = "".join(
        f'<span><i style="{_ground(colour)}"></i>{escape(title)}</span>'
        for title, colour in zip(doubt.titles, doubt.colours, strict=True)
    )
    title = tr("Where the doubt comes from")
    caption = tr("Doubt of each length, and the share of each source")
    return (
        f"<h2>{escape(title)}</h2>"
        f'<table class="doubt"><caption class="unseen">'
        f"{escape(caption)}</caption>"
        f"<tbody>{''.join(rows)}</tbody></table>"
        f'<div class="keys" aria-hidden="true">{keys}</div>'
    )


def sources_table(doubt: DoubtBars) -> str:
    """All sources in figures, and what would cut each."""
    heads = [tr("source"), *(row.title for row in doubt.rows), tr("what would cut it")]
    head = "".join(f'<th scope="col">{escape(h)}</th>' for h in heads)
    body = ""
    for k, (title, action) in enumerate(zip(doubt.titles, doubt.actions, strict=True)):
        cells = "".join(f"<td>{escape(row.parts[k][1])}</td>" for row in doubt.rows)
        body += f'<tr><th scope="row">{escape(title)}</th>{cells}<td>{escape(action)}</td></tr>'
    return f'<table class="sources"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'


def explanations(found: tuple[Explanation, ...], *, offered: bool) -> str:
    """What may be behind a disagreement: odds, name, and the values that would fit.

    Parameters
    ----------
    offered : bool
        Whether those values are offered beside it, and so not named here.
    """
    lines = ""
    would_fit = tr("What would fit:")
    for one, full in zip(found, explanation_sentences(found), strict=True):
        fits = ", ".join(
            f'<span class="whole">{escape(f"{tr(READING_TITLES[name])} {as_said(text)}")}</span>'
            for name, text, _ in one.candidates
        )
        fitting = f" {escape(would_fit)} {fits}." if fits and not offered else ""
        lines += (
            f'<li title="{escape(full)}"><b>{escape(chance_text(one.probability))}</b> '
            f"{escape(one.title)}.{fitting}"
            f'<div class="quiet">{escape(one.sentence)}</div></li>'
        )
    title = escape(tr("What may be behind it"))
    return f'<h2>{title}</h2><ul class="plain">{lines}</ul>' if lines else ""


def _ground(colour: Colour) -> str:
    """A ground with letters that are read on it."""
    ink = max((DARK, WHITE), key=lambda one: contrast(one, colour))
    return "background:rgb({},{},{});color:rgb({},{},{})".format(*colour, *ink)


def _at(share: float) -> str:
    return f"{share:.2%}"


def _from_right(share: float) -> str:
    return f"calc(100% - {share:.2%})"

"""The desk's list by itself, so that it is read without drafts, cases and reports."""

import json
import re
import unicodedata
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"

_AT_ONCE = 200

_LATEST = """
SELECT o.id AS order_id, o.opened, o.name AS own_name, o.draft, c.number, c.at AS sent, c.verdict,
       c.worst, c.headline, c.name, c."case", d.check_number, d.choice
FROM orders o
LEFT JOIN checks c ON c.number = (SELECT max(number) FROM checks WHERE order_id = o.id)
LEFT JOIN decisions d ON d.id = (SELECT max(id) FROM decisions WHERE order_id = o.id)
WHERE o.id > :after ORDER BY o.id LIMIT :most
"""


def upgrade() -> None:
    """Make the table, with a row for each order there is."""
    listed = op.create_table(
        "listed",
        sa.Column(
            "order_id",
            sa.Integer,
            sa.ForeignKey("orders.id", ondelete="CASCADE"),
            primary_key=True,
        ),
        sa.Column("opened", sa.DateTime(timezone=True), nullable=False),
        sa.Column("state", sa.String(20), nullable=False),
        sa.Column("verdict", sa.String(40), nullable=False),
        sa.Column("worst", sa.Float, nullable=False),
        sa.Column("sent", sa.DateTime(timezone=True)),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("about", sa.Text, nullable=False),
        sa.Column("headline", sa.Text, nullable=False),
        sa.Column("name_key", sa.Text, nullable=False),
        sa.Column("number_key", sa.Text, nullable=False),
        sa.Column("sought", sa.Text, nullable=False),
    )
    connection = op.get_bind()
    latest = sa.text(_LATEST).columns(
        opened=sa.DateTime(timezone=True), sent=sa.DateTime(timezone=True)
    )
    after = 0
    while rows := connection.execute(latest, {"after": after, "most": _AT_ONCE}).mappings().all():
        connection.execute(sa.insert(listed), [_row(row) for row in rows])
        after = rows[-1]["order_id"]


def _row(row: Any) -> dict[str, Any]:
    draft = json.loads(row["draft"])
    checked = row["number"] is not None
    state, told, name = "being_filled_in", draft, row["own_name"]
    if checked:
        holds = row["check_number"] == row["number"] and row["choice"] != "taken_back"
        state = row["choice"] if holds else "waiting"
        told, name = json.loads(row["case"]), row["name"]
    headline = row["headline"] or ""
    texts = [name, headline, *_texts(draft), *_texts(told)]
    sought = "\n".join(dict.fromkeys(text for text in texts if text))
    return {
        "order_id": row["order_id"],
        "opened": row["opened"],
        "state": state,
        "verdict": row["verdict"] or "",
        "worst": row["worst"] or 0.0,
        "sent": row["sent"],
        "name": name,
        "about": _about(told, name) or _about(draft, name),
        "headline": headline,
        "name_key": _sort_key(name),
        "number_key": _sort_key(_of(told, "owner", "number") or _of(draft, "owner", "number")),
        "sought": _keepable(sought.casefold()[:6000]),
    }


def _of(draft: Any, part: str, name: str) -> str:
    """A text of a draft; empty where something else stands."""
    inner = draft.get(part) if isinstance(draft, dict) else None
    found = inner.get(name) if isinstance(inner, dict) else None
    return _keepable(found) if isinstance(found, str) else ""


def _texts(draft: Any) -> list[str]:
    own = _of({"": draft}, "", "name")
    owner = [_of(draft, "owner", name) for name in ("number", "name", "reach")]
    return [own, *owner, *(_of(draft, "dog", name) for name in ("name", "breed"))]


def _about(draft: Any, name: str) -> str:
    told = [_of(draft, "dog", "name"), _of(draft, "owner", "name"), _of(draft, "owner", "number")]
    seen = name.casefold()
    return " · ".join(dict.fromkeys(t for t in told if t and t.casefold() not in seen))


def _sort_key(text: str) -> str:
    plain = unicodedata.normalize("NFKD", text.strip().casefold())
    letters = "".join(c for c in plain if not unicodedata.combining(c))
    return re.sub(r"[0-9]+", lambda run: run[0].lstrip("0").zfill(12), letters)[:200]


def _keepable(text: str) -> str:
    whole = text.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    return whole.replace("\0", "\ufffd")

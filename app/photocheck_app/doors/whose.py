"""Whose page this is: one line, for the app's pages and for what is read before them."""

from __future__ import annotations

from html import escape

from photocheck.server.shop import shop_of


def whose_page() -> str:
    """HTML of the workshop's name and how to reach it, in its own colour; empty where neither is
    told."""
    shop = shop_of()
    if not (shop.name or shop.reach):
        return ""
    line = f"border-left:.4rem solid {shop.colour}" if shop.colour else ""
    name = f"<strong>{escape(shop.name)}</strong>" if shop.name else ""
    return f'<p class="shop" style="{line}">{name} <span>{escape(shop.reach)}</span></p>'

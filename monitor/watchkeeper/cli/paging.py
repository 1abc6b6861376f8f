"""Opens the live page beside a watch, for this computer or for a phone on the same network."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from enum import StrEnum
from typing import TypeVar

import click

from ..faces.invitation import Invitation
from ..faces.source import Source

F = TypeVar("F", bound=Callable[..., None])
#: a fresh invitation each time it is asked for; None while no page is open
Invite = Callable[[], Invitation] | None


class Page(StrEnum):
    """To whom the live page is open."""

    CLOSED = "closed"
    HERE = "this computer"
    PHONE = "the network"


def page_options(command: F) -> F:
    """``--page``, ``--page-for-phone`` and ``--page-port``"""
    for option in (
        click.option("--page-port", type=click.IntRange(0, 65535), default=41816, show_default=True, help="Its port."),
        click.option("--page-for-phone", is_flag=True, help="Open the live page to a phone, with a pairing code."),
        click.option("--page", is_flag=True, help="Open the live page to this computer's browser."),
    ):
        command = option(command)
    return command


def chosen(page: bool, page_for_phone: bool) -> Page:
    """What the options ask for."""
    return Page.PHONE if page_for_phone else Page.HERE if page else Page.CLOSED


@asynccontextmanager
async def paged(source: Source, page: Page, port: int, *, tell: Callable[[str], None] | None) -> AsyncIterator[Invite]:
    """Serve the page as long as the context lasts; ``tell`` is given what a person must know to open it.

    Raises PageError.
    """
    if page is Page.CLOSED:
        yield None
        return
    from ..faces.page.opening import invite, open_page, printed

    async with open_page(source, to_network=page is Page.PHONE, port=port) as opened:
        if tell is not None:
            lines = printed(invite(opened)) if page is Page.PHONE else [f"The live page: {opened.urls[0]}"]
            for line in lines:
                tell(line)
        yield lambda: invite(opened)

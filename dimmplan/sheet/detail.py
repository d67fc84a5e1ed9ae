"""The large map of one socket, or of two, of a board that is too dense for one map."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from dimmplan.sheet import panels
from dimmplan.sheet.blocks import Block, headed, paragraph
from dimmplan.sheet.chassis import BANNER_MM, SMALL_STYLES, STYLES
from dimmplan.sheet.facts import clean, socket_words
from dimmplan.sheet.foot import draw_foot
from dimmplan.sheet.job import GAP_MM, Job
from dimmplan.sheet.map import SlotMap
from dimmplan.sheet.paper import PAD_MM, Frame, banner, draw_frame, draw_margin, frame, too_dense
from dimmplan.sheet.shapes import Group, Shape
from dimmplan.sheet.slotbox import style_for
from dimmplan.sheet.style import BODY_MM
from dimmplan.sheet.titleblock import HEIGHT_MM, WIDTH_MM
from dimmplan.sheet.view import look_at
from dimmplan.units import listed


class Detail(NamedTuple):
    """One page of slots, decided."""

    job: Job
    sockets: tuple[str, ...]
    page: Frame
    plan: SlotMap
    below: tuple[Block, ...]

    @property
    def title(self) -> str:
        """Which sockets it shows."""
        return listed([socket_words(socket) for socket in self.sockets])

    def draw(self, sheet: str) -> list[Shape]:
        """The page's shapes."""
        page = self.page
        shapes = [*draw_frame(page, page.height), *draw_margin(page, sheet)]
        x, y = page.x + PAD_MM, page.y + PAD_MM
        if self.job.facts.banner:
            shapes += banner(self.job.facts.banner, x, y, page.inner_width)
            y += BANNER_MM
        room = _room(self.job, page) - sum(block.height + GAP_MM for block in self.below)
        high = self.plan.height_for(page.inner_width, room)
        spare = min((room - high) / (len(self.below) + 1), 6.0)
        y += spare / 2
        shapes.append(Group(children=tuple(self.plan.draw(x, y, page.inner_width, high)), look="map"))
        y += high + GAP_MM / 2
        for block in self.below:
            y += spare
            shapes += block.draw(x, y)
            y += block.height + GAP_MM
        by_title = page.width - min(page.width, WIDTH_MM)
        if by_title > 40:
            block = _reminder(by_title - PAD_MM - 3.0)
            shapes += block.draw(x, page.y + page.height - HEIGHT_MM + 1.0)
        return shapes + draw_foot(self.job, page, page.height, sheet, None)


def _room(job: Job, page: Frame) -> float:
    shout = BANNER_MM if job.facts.banner else 0.0
    return page.height - PAD_MM - HEIGHT_MM - GAP_MM - shout


def _reminder(wide: float) -> Block:
    said = "It has the whole board, and the warnings or where they stand. Do not start without it."
    return headed("Read sheet 1 first", paragraph([(said, False)], BODY_MM[0], wide), BODY_MM[0])


def _below(job: Job, page: Frame, plan: SlotMap, sockets: Sequence[str], body_mm: float) -> list[Block]:
    """Legend, the steps of these sockets, and the word to read sheet 1, where it does not stand by the title block."""
    facts, wide = job.facts, page.inner_width
    steps = [(head, batch) for head, batch in facts.steps if facts.board.channel_of[batch[0].slot].socket in sockets]
    blocks = [plan.legend(max(2.0, body_mm - 0.3), wide)]
    if steps:
        blocks.append(panels.install(facts, steps, body_mm, wide, last=False))
    if page.width - min(page.width, WIDTH_MM) <= 40:
        blocks.append(_reminder(wide))
    return blocks


def _detail(job: Job, sockets: tuple[str, ...], longest_mm: float) -> Detail | None:
    """The page for some sockets, in the largest letters that fit; ``None`` where they do not fit one page."""
    view = look_at(job.facts.board, job.front, sockets)
    slots = [job.facts.slots[slot.slot] for slot in view.slots]
    for name, words, two in STYLES + SMALL_STYLES if job.paper == "a5" else STYLES:
        style = style_for(slots, name, words, two_lines=two, longest_mm=longest_mm)
        plan = SlotMap(job.facts, view, style, job.front)
        for landscape in (False, True):
            page = frame(job.paper, landscape=landscape)
            if plan.least_width > page.inner_width:
                continue
            for body in BODY_MM:
                below = _below(job, page, plan, sockets, body)
                if plan.least_height + sum(block.height + GAP_MM for block in below) <= _room(job, page):
                    return Detail(job=job, sockets=sockets, page=page, plan=plan, below=tuple(below))
    return None


_LONGEST_MM = (math.inf, 48.0, 32.0, 20.0)
"""Limits to the length of names in slots, tried in turn: names that no page could show whole are cut there."""


def details(job: Job) -> list[Detail]:
    """A page for each pair of neighbouring sockets, or for each socket where a pair does not fit.

    Raises ``InputError`` where even one socket does not fit the paper.
    """
    found: list[Detail] = []
    ids = [socket.id for socket in job.facts.board.sockets]
    while ids:
        pair = _detail(job, tuple(ids[:2]), math.inf) if len(ids) > 1 else None
        tries = (_detail(job, (ids[0],), longest) for longest in _LONGEST_MM)
        page = pair or next((each for each in tries if each), None)
        if page is None:
            raise too_dense(job.paper, f"socket {clean(ids[0])} with {len(job.facts.board.socket(ids[0]).slots)} slots")
        found.append(page)
        ids = ids[len(page.sockets) :]
    return found

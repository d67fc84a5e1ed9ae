"""Text for a terminal: paragraphs of at most 80 columns where they can be, and the answer of ``plan``."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from dimmplan.figures import PlacementFigures, SocketFigures
from dimmplan.model.board import Board, Socket
from dimmplan.model.finding import Finding
from dimmplan.model.module import Module, modules_phrase
from dimmplan.model.placement import Placement, why_dead
from dimmplan.model.request import Mode
from dimmplan.output.columns import Column, lines_of, table
from dimmplan.planner import Planned
from dimmplan.solve.answer import Choice
from dimmplan.units import Gib, counted, decimal, format_capacity, listed, watts_words
from dimmplan.wording.placement import TRUST, gb_s, node_sentences, placement_findings, rate_row_words, regions_sentence
from dimmplan.wording.request import choice_gains, choice_phrase, request_findings, sweep_of

WIDTH = 80


def wrapped(text: str, *, first: str = "", rest: str = "", width: int = WIDTH) -> list[str]:
    """A paragraph wrapped to the width, with its indents."""
    return textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=rest, break_long_words=False, break_on_hyphens=False
    )


def indented(text: str, *, deep: int = 1, width: int = WIDTH) -> list[str]:
    """A paragraph so deep below its head, its further lines one step deeper."""
    return wrapped(text, first="  " * deep, rest="  " * (deep + 1), width=width)


def board_line(board: Board) -> str:
    """The board, and how far its file is to be trusted."""
    return f"{board.title} [{board.id}; {TRUST[board.trust]}]"


def as_asked(asked: Gib, got: Gib) -> str:
    """A capacity beside the one that was asked for."""
    reached, wanted = format_capacity(got), format_capacity(asked)
    return f"{reached} as asked" if reached == wanted else f"{reached} (asked: {wanted})"


def finding_text(finding: Finding) -> str:
    """A finding in one line, with its rule and its source."""
    return f"{finding.severity}: {finding.text} [{finding.rule}, {finding.source}]"


def finding_lines(findings: Sequence[Finding]) -> list[str]:
    """Findings, gravest first as they come, each with its rule and source id."""
    lines = ["", "Findings"] if findings else []
    for finding in findings:
        lines += indented(finding_text(finding))
    return lines


def plan_text(planned: Planned) -> str:
    """The one-screen answer: placement by socket and channel, figures, regions, findings, one step."""
    board, placement, answer = planned.board, planned.placement, planned.answer
    figures = planned.figures
    lines = [*_headline(planned, figures), ""]
    for socket in board.sockets:
        lines += _socket_lines(board, socket, placement, figures)
    lines += _modules_lines(board, placement)
    lines += ["", *_figure_lines(figures)]
    findings = request_findings(planned) + placement_findings(board, placement, figures)
    lines += finding_lines(findings)
    lines += _runner_lines(planned, answer.runners_up)
    return "\n".join(lines) + "\n"


def _headline(planned: Planned, figures: PlacementFigures) -> list[str]:
    """What goes in, how fast the machine and its worst socket are, why this capacity, and what would be faster."""
    placement, answer, request = planned.placement, planned.answer, planned.request
    status = "proven first under this board file and this model"
    if placement.status == "best-found":
        status = f"best found, not proven: {answer.stopped}"
    asked, got = format_capacity(request.capacity_gib), format_capacity(figures.usable_gib)
    processor = f", processor {', '.join(placement.processor.split(','))}" if placement.processor else ""
    worst = min(figures.sockets, key=lambda socket: socket.sweep_gb_s)
    modules = modules_phrase((module, placement.count(module)) for module in placement.types)
    mode = f" {placement.mode.words}" if placement.mode is not Mode.INDEPENDENT else ""
    mode += (
        f" ({format_capacity(figures.capacity_gib)} installed)" if figures.usable_gib != figures.capacity_gib else ""
    )
    lines = [
        board_line(planned.board),
        f"{got}{mode} in {counted(figures.modules, 'module')} at {figures.rate_mts} MT/s{processor}: {modules}",
        f"Balanced sweep {gb_s(figures.balanced_sweep_gb_s)}; worst socket {worst.socket} {gb_s(worst.sweep_gb_s)}, "
        f"share {decimal(worst.share, 4):.4f}",
    ]
    if asked == got:
        lines.append(f"Why {got}: as asked")
    else:
        why = "; ".join(f"{cause.text.rstrip('.')} [{cause.rule}]" for cause in answer.rounded_up[:1])
        otherwise = f"{placement.prefer} prefers it" if answer.proven else "the best found"
        lines.append(f"Why {got}: {asked} asked; {why or otherwise}")
    faster = [step for step in (answer.step_above, answer.step_below) if step]
    lines += [f"Faster: {_step_text(planned, step)}" for step in faster]
    return [line for text in (*lines, f"{placement.prefer}: {status}") for line in wrapped(text, rest="  ")]


def _step_text(planned: Planned, step: Choice) -> str:
    return f"{format_capacity(step.usable_gib)} sweeps at {gb_s(sweep_of(planned, step))} ({choice_phrase(step)})"


def _socket_lines(board: Board, socket: Socket, placement: Placement, figures: PlacementFigures) -> list[str]:
    if socket.id not in placement.fitted:
        return [f"{socket.id}: no processor, {counted(len(socket.slots), 'slot')} dead", ""]
    its = next(each for each in figures.sockets if each.socket == socket.id)
    keys, content = placement.keys, placement.content
    lines = [f"{socket.id}: {format_capacity(its.usable_gib)}, share {decimal(its.share, 4):.4f}"]
    rows = []
    for controller in socket.controllers:
        for channel in controller.channels:
            cells = []
            for slot in channel.slots:
                module = content.get(slot)
                cells.append(f"{slot}: {keys[module]} {module.capacity_gib}GB" if module else f"{slot}: -")
            deepest = max(len(each.slots) for each in socket.channels)
            cells += [""] * (deepest - len(cells))
            rows.append([f"  {controller.id}", channel.id, *cells])
    lines += table(rows)
    whole = next(each for each in board.every_socket if each.id == socket.id)
    dead: dict[str, list[str]] = {}
    for slot in whole.slots:
        why = why_dead(board, placement, slot)
        if why:
            processor = placement.processors.get(socket.id)
            words = f"not served by {processor}" if why == "channel" else f"{board.tray_of.get(slot)} is not there"
            dead.setdefault(words, []).append(slot)
    for words, slots in dead.items():
        lines += wrapped(f"Dead, {words}: {', '.join(slots)}.", first="  ", rest="  ")
    lines += wrapped(regions_sentence(its), first="  ", rest="  ")
    return [*lines, ""]


def _modules_lines(board: Board, placement: Placement) -> list[str]:
    columns = (
        Column[Module](short="", text=lambda module: placement.keys[module]),
        Column[Module](short="", text=lambda module: f"{placement.count(module)} x", align="right"),
        Column[Module](short="", text=lambda module: module.label),
        Column[Module](short="", text=lambda module: module.kind.value),
        Column[Module](short="", text=lambda module: board.facts_of(module).part),
        Column[Module](short="", text=lambda module: watts_words(w) if (w := board.facts_of(module).watts) else ""),
    )
    return ["Modules", *(f"  {line}" for line in lines_of(columns, placement.types))]


SOCKET_COLUMNS = (
    Column[SocketFigures](short="", text=lambda socket: socket.socket),
    Column[SocketFigures](title="rate", text=lambda socket: f"{socket.rate.rate_mts} MT/s", align="right"),
    Column[SocketFigures](title="peak", text=lambda socket: gb_s(socket.peak_gb_s), align="right"),
    Column[SocketFigures](title="sweep", text=lambda socket: gb_s(socket.sweep_gb_s), align="right"),
    Column[SocketFigures](title="parallel", text=lambda socket: gb_s(socket.parallel_gb_s), align="right"),
    Column[SocketFigures](title="share", text=lambda socket: f"{decimal(socket.share, 4):.4f}", align="right"),
)


def _figure_lines(figures: PlacementFigures) -> list[str]:
    difference = figures.socket_difference_gib
    equal = "sockets hold the same" if not difference else f"{format_capacity(difference)} between sockets"
    system = (
        f"System sweep {gb_s(figures.system_sweep_gb_s)}, own sweep {gb_s(figures.own_sweep_gb_s)}; {equal}; "
        f"{counted(figures.free_slots, 'slot')} free"
    )
    bound: dict[str, list[str]] = {}
    for socket in figures.sockets:
        bound.setdefault(rate_row_words(socket.rate.row), []).append(socket.socket)
    binding = "; ".join(f"{listed(sockets)}: {what}" if len(bound) > 1 else what for what, sockets in bound.items())
    return [
        "Figures (peaks of a model; STREAM usually measures 70 to 85 % of peak)",
        *(f"  {line}" for line in lines_of(SOCKET_COLUMNS, figures.sockets)),
        *wrapped(f"Rate limited by {binding}", first="  ", rest="  "),
        *wrapped(system, first="  ", rest="  "),
        *(line for text in node_sentences(figures) for line in wrapped(text, first="  ", rest="    ")),
    ]


def _runner_lines(planned: Planned, runners: Sequence[Choice]) -> Iterator[str]:
    if runners:
        yield ""
        yield "Runners-up"
    for choice in runners:
        gains, loses = choice_gains(planned, choice)
        yield from indented(f"{format_capacity(choice.usable_gib)}: {choice_phrase(choice)}")
        if gains:
            yield from indented(f"gains {gains}", deep=2)
        yield from indented(f"loses {loses}" if loses else "equal in every criterion; board order decides", deep=2)

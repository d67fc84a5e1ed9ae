"""Order, side and direction on the map are those of the board, whichever way it lies and however it is stretched."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dimmplan.sheet.facts import gather
from dimmplan.sheet.map import SlotMap
from dimmplan.sheet.plan_view import plan_view, spans
from dimmplan.sheet.room import stretch
from dimmplan.sheet.shapes import Group, Page, Polygon, Rect, Strokes, Text, ident, walk
from dimmplan.sheet.slotbox import SlotStyle
from tests.sheet.pages import SAMPLE, board, groups, sheet, slot_groups, texts, words
from tests.sheet.placements import make

Box = tuple[float, float, float, float]


def box_of(group: Group) -> Box:
    """The box of a group's outline, its first rectangle."""
    rect = next(shape for shape in walk(group.children) if isinstance(shape, Rect))
    return rect.x, rect.y, rect.x + rect.width, rect.y + rect.height


def middle(box: Box) -> tuple[float, float]:
    return (box[0] + box[2]) / 2, (box[1] + box[3]) / 2


def map_page(name: str, **options: str) -> Page:
    return sheet(name, "full", **options).pages[0]


def places(name: str, page: Page) -> dict[str, tuple[Box, Box]]:
    """Slots and sockets of a page: the box on the board and the box on paper."""
    physical = board(name).physical
    on_board = {ident("slot", p.slot): p.box for p in physical.slots}
    on_board |= {ident("socket", socket): box for socket, box in physical.sockets}
    drawn = {g.id: box_of(g) for g in [*groups(page, "slot"), *groups(page, "socket")]}
    return {
        key: ((b.x_mm, b.y_mm, b.x_mm + b.width_mm, b.y_mm + b.depth_mm), drawn[key])
        for key, b in on_board.items()
        if key in drawn
    }


def sign(value: float, dead: float) -> int:
    return 0 if abs(value) <= dead else 1 if value > 0 else -1


@pytest.mark.parametrize("front", ["down", "up"])
@pytest.mark.parametrize("name", SAMPLE)
def test_order_and_side_are_true(name: str, front: str) -> None:
    """Whatever lies left of, or nearer to the front than, something else does so on paper, and on the same page."""
    turn = (1, -1) if front == "down" else (-1, 1)
    compared = 0
    for page in sheet(name, "full", front=front).pages:
        for (board_a, paper_a), (board_b, paper_b) in itertools.combinations(places(name, page).values(), 2):
            for axis in (0, 1):
                if min(board_a[axis + 2], board_b[axis + 2]) > max(board_a[axis], board_b[axis]):
                    continue  # beside each other: neither lies before the other
                on_board = middle(board_a)[axis] - middle(board_b)[axis]
                on_paper = middle(paper_a)[axis] - middle(paper_b)[axis]
                if abs(on_board) > 1.0:
                    assert sign(on_paper, 0.002) == sign(on_board, 1.0) * turn[axis]
                    compared += 1
    assert compared > 5


@pytest.mark.parametrize("front", ["down", "up"])
@pytest.mark.parametrize("name", SAMPLE)
def test_slots_lie_as_on_the_board_and_none_covers_another(name: str, front: str) -> None:
    upright = {ident("slot", p.slot): p.lie == "front-rear" for p in board(name).physical.slots}
    for page in sheet(name, "full", front=front).pages:
        drawn = {g.id: box_of(g) for g in [*groups(page, "slot"), *groups(page, "socket")]}
        for key, (left, top, right, bottom) in drawn.items():
            if key in upright:
                assert (bottom - top > right - left) == upright[key]
        for one, other in itertools.combinations(drawn.values(), 2):
            apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
            assert apart


@pytest.mark.parametrize("name", SAMPLE)
def test_front_up_is_half_a_turn_and_no_mirror(name: str) -> None:
    down, up = plan_view(board(name), "down"), plan_view(board(name), "up")
    width, depth = board(name).physical.width_mm, board(name).physical.depth_mm
    for one, other in zip(down.slots, up.slots, strict=True):
        assert one.slot == other.slot
        assert one.area.left == pytest.approx(width - other.area.right)
        assert one.area.top == pytest.approx(depth - other.area.bottom)
        if one.pin1_first is not None:
            assert one.pin1_first != other.pin1_first


@pytest.mark.parametrize(("front", "below"), [("down", True), ("up", False)])
def test_the_front_edge_is_named_and_arrows_point_out_of_it(front: str, below: bool) -> None:
    for name in SAMPLE:
        page = map_page(name, front=front)
        outline = next(s for s in walk(page.shapes) if isinstance(s, Polygon) and s.look == "board")
        edge = (max if below else min)(y for _, y in outline.points)
        (group,) = groups(page, "edge")
        arrows = [shape for shape in group.children if isinstance(shape, Polygon)]
        assert len(arrows) >= 2
        for arrow in arrows:
            tip = max(arrow.points, key=lambda p: abs(p[1] - edge))
            assert (tip[1] > edge) == below and all((y > edge) == below for _, y in arrow.points)
        front_word = next(t for t in texts(page) if t.text.startswith("FRONT"))
        rear_word = next(t for t in texts(page) if t.text == "REAR")
        assert (front_word.y > rear_word.y) == below


@pytest.mark.parametrize("name", SAMPLE)
def test_pin_1_is_marked_at_its_end(name: str) -> None:
    for front in ("down", "up"):
        view = {slot.slot: slot for slot in plan_view(board(name), front).slots}
        drawn = slot_groups(sheet(name, "full", front=front))
        for slot, seen in view.items():
            group = drawn[ident("slot", slot)]
            marks = [shape for shape in group.children if isinstance(shape, Polygon)]
            assert bool(marks) == (seen.pin1_first is not None)
            if marks:
                box = box_of(group)
                x, y = (sum(p[i] for p in marks[-1].points) / 3 for i in (0, 1))
                at_start = y > middle(box)[1] if seen.upright else x < middle(box)[0]
                assert at_start == seen.pin1_first
                assert marks[-1].look == ("paper" if at_start else "ink")  # white on the dark ground, never on the key


def test_names_start_at_one_line_within_a_bank() -> None:
    for page in sheet("skerry-16", "sparse").pages[:1]:
        starts = {
            round(next(t.y for t in texts_of(group) if t.text in board("skerry-16").slots), 3)
            for group in groups(page, "slot")
            if group.id in {"slot-K1", "slot-K2", "slot-L1", "slot-L2", "slot-M1"}
        }
        assert len(starts) == 1


def texts_of(group: Group) -> list[Text]:
    return [shape for shape in walk(group.children) if isinstance(shape, Text)]


def test_channels_and_controllers_are_bracketed() -> None:
    page = sheet("skerry-16").pages[0]
    channels = sorted(text.text for g in groups(page, "channel") for text in texts_of(g))
    assert channels == sorted("KLMPQRTUVWXY")
    owners = sorted(text.text for g in groups(page, "controller") for text in texts_of(g))
    assert owners == ["FAR · port", "FAR · starboard", "NEAR · port", "NEAR · starboard"]
    assert all(any(isinstance(s, Strokes) for s in g.children) for g in groups(page, "channel"))


def test_a_channel_that_its_slot_already_names_has_no_bracket() -> None:
    page = sheet("strand-12").pages[0]
    assert not groups(page, "channel")
    assert sorted(t.text for g in groups(page, "controller") for t in texts_of(g)) == [
        "tide · ebb",
        "tide · flood",
    ]


def test_runs_of_a_bank() -> None:
    lagoon = board("lagoon-32")
    bank = next(b for b in plan_view(lagoon, "down").banks if b.slots[0].slot == "11r")
    assert [(run.name, run.first, run.last) for run in spans(lagoon, bank, "channel")] == [
        ("1", 0, 1),
        ("2", 2, 3),
        ("3", 4, 5),
        ("4", 6, 7),
    ]


def test_dense_boards_get_an_overview_and_pages_of_sockets() -> None:
    for name, pairs in (("causeway-48", 2), ("firth-96", 4)):
        drawn = sheet(name, "full")
        assert [page.name for page in drawn.pages if page.name.startswith("sockets")] == [
            f"sockets-{n}" for n in range(1, pairs + 1)
        ]
        first = drawn.pages[0]
        assert not any(g.id.startswith("slot-") for g in groups(first, "slot"))
        assert len(groups(first, "slot")) == len(board(name).slots)
        for number, page in enumerate(drawn.pages, 1):
            for socket in board(name).sockets:
                if page.name.startswith("sockets") and any(
                    g.id == ident("socket", socket.id) for g in groups(page, "socket")
                ):
                    (box,) = [g for g in groups(first, "socket") if g.id == ident("overview-socket", socket.id)]
                    assert f"sheet {number}" in [t.text for t in texts_of(box)]


def test_a_map_that_is_stretched_says_so() -> None:
    for name in SAMPLE:
        assert "Not to scale" in words(map_page(name))


positions = st.integers(0, 400_000).map(lambda micrometres: micrometres / 1000)
needs_of_axis = st.lists(
    st.tuples(positions, positions, st.floats(0.5, 60.0)).map(lambda n: (min(n[:2]), max(n[:2]), n[2])), max_size=12
)


@settings(deadline=None)
@given(needs_of_axis, st.floats(0.01, 1.0))
def test_an_axis_rises_and_meets_every_need(needs: list[tuple[float, float, float]], scale: float) -> None:
    axis = stretch(0.0, 400.0, needs).axis(scale)
    assert all(a < b for a, b in itertools.pairwise(axis.places))
    for low, high, paper in needs:
        if high > low:
            assert axis(high) - axis(low) >= paper - 1e-6
    for (low, high), (start, end) in zip(itertools.pairwise(axis.edges), itertools.pairwise(axis.places), strict=True):
        assert end - start >= (high - low) * scale - 1e-6


@settings(deadline=None)
@given(needs_of_axis, st.floats(20.0, 900.0))
def test_an_axis_fills_its_room_where_it_can(needs: list[tuple[float, float, float]], room: float) -> None:
    plan = stretch(0.0, 400.0, needs)
    least = plan.length(0.0)
    scale = plan.scale_for(room, most=3.0)
    if least <= room:
        assert plan.length(scale) <= room + 1e-6
        assert plan.length(scale) >= room - 0.2 or scale >= 2.99


def test_the_least_length_is_that_of_the_longest_path() -> None:
    """Two needs that overlap share paper: 10 + 10 over intervals that overlap in the middle need not be 20."""
    plan = stretch(0.0, 30.0, [(0.0, 20.0, 10.0), (10.0, 30.0, 10.0)])
    assert plan.length(0.0) == pytest.approx(10.0)
    assert stretch(0.0, 30.0, [(0.0, 10.0, 10.0), (10.0, 30.0, 10.0)]).length(0.0) == pytest.approx(20.0)


def test_names_of_neighbouring_brackets_never_meet() -> None:
    """However high a map is drawn: a name that is longer than its slots stays in the room that is kept to it."""
    machair = board("machair-20")
    facts, view = gather(machair, make(machair, "sparse")), plan_view(machair, "up")
    plan = SlotMap(facts, view, SlotStyle(3.5, full=False).fitting([*facts.slots.values()]))
    for more in range(0, 40, 5):
        drawn = Page("", "", "", 0, 0, "", tuple(plan.draw(0, 0, plan.least_width + 10, plan.least_height + more)))
        names = [t for group in groups(drawn, "controller") for t in walk(group.children) if isinstance(t, Text)]
        beside = sorted((t.x, t.y - t.width / 2, t.y + t.width / 2) for t in names if t.turn)
        assert len(beside) == 3
        assert all(x != other or start - end > 0.8 for (x, _, end), (other, start, _) in itertools.pairwise(beside))

"""Module labels: real ones read, careless ones forgiven, wrong ones refused with the nearest right spelling.

The real labels and the forms are those of the project's standards sheet, sections 1.2 to 1.4 (JESD21-C, JESD401-5B).
"""

from __future__ import annotations

import re
from fractions import Fraction
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dimmplan.boardfile.read import load_board
from dimmplan.errors import InputError
from dimmplan.model.label import LONGEST_LABEL, LabelParts, format_label, module_of, parse_label, parse_parts
from dimmplan.model.module import DIE_GBIT, RATES_MTS, FormFactor, Generation, Kind

DDR4, DDR5 = Generation.DDR4, Generation.DDR5

REAL = [
    # as printed, generation, GiB, kind, package and logical ranks, width, ECC bits, MT/s, speed bin, our spelling
    ("8GB 1Rx8 PC4-2666V-UA2-11", DDR4, 8, Kind.UDIMM, 1, 1, 8, 0, 2666, "V", "8GB 1Rx8 PC4-2666V-U"),
    ("4DRx4 PC4-2133P-LD0-10-DC0", DDR4, None, Kind.LRDIMM, 4, 4, 4, 8, 2133, "P", "4DRx4 PC4-2133P-L"),
    ("2Rx4 PC4-2133P-RA0-10-MC0", DDR4, None, Kind.RDIMM, 2, 2, 4, 8, 2133, "P", "2Rx4 PC4-2133P-R"),
    ("2Rx8 PC4-3200AA-RE4-12", DDR4, None, Kind.RDIMM, 2, 2, 8, 8, 3200, "AA", "2Rx8 PC4-3200AA-R"),
    ("2S2Rx4 PC4-2133P-RA1-10-DC0", DDR4, None, Kind.RDIMM_3DS, 2, 4, 4, 8, 2133, "P", "2S2Rx4 PC4-2133P-R"),
    ("1Rx8 PC4-2133P-RD0-10", DDR4, None, Kind.RDIMM, 1, 1, 8, 8, 2133, "P", "1Rx8 PC4-2133P-R"),
    ("2Rx4 PC4-2400T-RB2-11", DDR4, None, Kind.RDIMM, 2, 2, 4, 8, 2400, "T", "2Rx4 PC4-2400T-R"),
    ("2Rx4 PC4-2133P-RBB-10", DDR4, None, Kind.RDIMM, 2, 2, 4, 8, 2133, "P", "2Rx4 PC4-2133P-R"),
    ("64GB 4DRX4 PC4-2666V-LD2-12-MA0", DDR4, 64, Kind.LRDIMM, 4, 4, 4, 8, 2666, "V", "64GB 4DRx4 PC4-2666V-L"),
    ("48GB 2RX8 PC5-5600B RE0-1010-XT", DDR5, 48, Kind.RDIMM, 2, 2, 8, 16, 5600, "B", "48GB 2Rx8 PC5-5600B-R"),
]
"""Standards sheet, 1.2 (sources LBL1, LBL2) and 1.4 (LBL3): an upper-case X, a fifth group and ``RBB`` occur."""


@pytest.mark.parametrize(
    ("text", "generation", "gib", "kind", "package", "logical", "width", "ecc", "mts", "speed_bin", "spelling"),
    REAL,
    ids=[row[0] for row in REAL],
)
def test_real_labels(
    text: str,
    generation: Generation,
    gib: int | None,
    kind: Kind,
    package: int,
    logical: int,
    width: int,
    ecc: int,
    mts: int,
    speed_bin: str,
    spelling: str,
) -> None:
    """Labels met on modules are read in every field, and written in the one spelling."""
    parts = parse_parts(text)
    said = (parts.generation, parts.capacity_gib, parts.kind, parts.package_ranks, parts.logical_ranks)
    assert said == (generation, gib, kind, package, logical)
    assert (parts.device_width, parts.ecc_bits, parts.rate_mts, parts.speed_bin) == (width, ecc, mts, speed_bin)
    assert format_label(parts) == spelling
    assert parse_parts(spelling) == parts


OLD_FORM = [
    # the older form: bandwidth in MB/s, the kind letter right behind it (standards sheet, 1.2)
    ("8GB 2Rx8 PC3-12800R-11-10-E2", Generation.DDR3, 1600, Kind.RDIMM, 1500, "8GB 2Rx8 PC3-12800R"),
    ("8GB 2Rx8 PC3L-12800R-11-10-E2", Generation.DDR3, 1600, Kind.RDIMM, 1350, "8GB 2Rx8 PC3L-12800R"),
    ("8GB 2Rx8 PC3L-10600E-9-11-E3", Generation.DDR3, 1333, Kind.ECC_UDIMM, 1350, "8GB 2Rx8 PC3L-10600E"),
    ("32GB 4Rx4 PC3-14900L-13-12-D1", Generation.DDR3, 1866, Kind.LRDIMM, 1500, "32GB 4Rx4 PC3-14900L"),
    ("4GB 2Rx8 PC3-10600U-09-11-B1", Generation.DDR3, 1333, Kind.UDIMM, 1500, "4GB 2Rx8 PC3-10600U"),
    ("16GB 2Rx4 PC4-17000R-15-10-A0", DDR4, 2133, Kind.RDIMM, 1200, "16GB 2Rx4 PC4-2133-R"),
]


@pytest.mark.parametrize(
    ("text", "generation", "mts", "kind", "voltage_mv", "spelling"), OLD_FORM, ids=[row[0] for row in OLD_FORM]
)
def test_the_older_form(
    text: str, generation: Generation, mts: int, kind: Kind, voltage_mv: int, spelling: str
) -> None:
    """The bandwidth form gives rate, kind and, for DDR3, the voltage letter."""
    parts = parse_parts(text)
    assert (parts.generation, parts.rate_mts, parts.kind, parts.voltage_mv) == (generation, mts, kind, voltage_mv)
    assert format_label(parts) == spelling
    assert parse_parts(spelling) == parts


KIND_LETTERS = [
    # standards sheet, 1.3
    ("R", Kind.RDIMM, FormFactor.DIMM),
    ("L", Kind.LRDIMM, FormFactor.DIMM),
    ("U", Kind.UDIMM, FormFactor.DIMM),
    ("E", Kind.ECC_UDIMM, FormFactor.DIMM),
    ("S", Kind.SO_DIMM, FormFactor.SO_DIMM),
    ("T", Kind.ECC_SO_DIMM, FormFactor.SO_DIMM),
    ("Q", Kind.OTHER, FormFactor.DIMM),
]


@pytest.mark.parametrize(("letter", "kind", "form_factor"), KIND_LETTERS)
def test_kind_letters(letter: str, kind: Kind, form_factor: FormFactor) -> None:
    """The kind letters of the labels; an unknown letter is another kind, not an error."""
    module = module_of(parse_parts(f"16GB 2Rx8 PC4-2666V-{letter}"))
    assert module is not None
    assert (module.kind, module.form_factor) == (kind, form_factor)
    assert module.ecc_bits == (0 if kind in (Kind.UDIMM, Kind.SO_DIMM) else 8)


# Tolerance

WHOLE = parse_parts("32GB 2Rx4 PC4-2933Y-R")


@pytest.mark.parametrize(
    "text",
    [
        "32GB 2Rx4 PC4-2933Y-RB2-12",
        "32GB 2Rx4 PC4-2933Y-RB2-12-MA0",
        "  32GB   2Rx4  PC4-2933Y-R ",
        "32 GB 2Rx4 PC4-2933Y-R",
        "32GB 2R x4 PC4-2933Y-R",
        "32GB\n2Rx4\nPC4-2933Y-R",
        "32GB\t2Rx4\r\nPC4-2933Y\nR",
        "32GB 2RX4 PC4-2933Y-R",
        "32gb 2rx4 pc4-2933y-r",
        "32GB 2Rx4 PC4 2933Y R",
        "32GB 2Rx4 PC4 2933Y RB2 12 MA0",
        "32GB 2Rx4 PC42933Y-R",
        "32GB 2Rx4PC4-2933Y-R",
        "32GB 2Rx4 PC4 - 2933Y - R",
        "32GB 2Rx4 PC4-2933Y_R",
        "32GiB 2Rx4 PC4-2933Y-R",
        "32G 2Rx4 PC4-2933Y-R",
    ],
)
def test_careless_labels(text: str) -> None:
    """Blanks, line breaks, lost hyphens, an upper-case X, lower case and a maker's tail change nothing."""
    assert parse_parts(text) == WHOLE


@pytest.mark.parametrize(
    ("text", "gib", "kind", "speed_bin"),
    [
        ("32GB 2Rx4 PC4-2933Y", 32, None, "Y"),
        ("32GB 2Rx4 PC4-2933", 32, None, ""),
        ("2Rx4 PC4-2933Y-R", None, Kind.RDIMM, "Y"),
        ("2Rx4 PC4-2933", None, None, ""),
    ],
)
def test_a_missing_size_or_tail(text: str, gib: int | None, kind: Kind | None, speed_bin: str) -> None:
    """What a label does not say is not guessed; without size or kind it is no module type."""
    parts = parse_parts(text)
    assert (parts.capacity_gib, parts.kind, parts.speed_bin, parts.rate_mts) == (gib, kind, speed_bin, 2933)
    assert module_of(parts) is None


def test_a_missing_part_is_completed_from_the_usual_modules() -> None:
    """Where exactly one usual module fits what is said, it is meant; where several do, they are named."""
    usual = load_board("skerry-16").modules
    assert parse_label("32GB 2Rx4 PC4-2933Y", usual=usual).label == "32GB 2Rx4 PC4-2933Y-R"
    assert parse_label("1Rx8 PC4-2933", usual=usual).label == "8GB 1Rx8 PC4-2933Y-R"
    with pytest.raises(InputError) as caught:
        parse_label("2Rx4 PC4-2933Y-R", usual=usual)
    (problem,) = caught.value.problems
    assert "size is missing" in problem.found
    assert "'32GB 2Rx4 PC4-2933Y-R'" in problem.hint
    assert "'64GB 2Rx4 PC4-2933Y-R'" in problem.hint
    with pytest.raises(InputError, match="kind letter"):
        parse_label("32GB 2Rx4 PC4-2933Y")


def test_the_wording_of_a_label_is_not_compared() -> None:
    """A twin with another speed bin is the same type and takes the board's spelling; another rate is another type."""
    usual = load_board("skerry-16").modules
    assert parse_label("32GB 2Rx4 PC4-2933V-RB1-11", usual=usual) == parse_label("32GB 2Rx4 PC4-2933Y-R")
    assert parse_label("32GB 2Rx4 PC4-2933V-RB1-11", usual=usual).label == "32GB 2Rx4 PC4-2933Y-R"
    other = parse_label("32GB 2Rx4 PC4-3200AA-R", usual=usual)
    assert other not in usual
    assert other.label == "32GB 2Rx4 PC4-3200AA-R"


# Refusals


def refusal(text: str, usual: bool = True) -> str:
    """The sentence that refuses a label."""
    with pytest.raises(InputError) as caught:
        parse_label(text, usual=load_board("skerry-16").modules if usual else ())
    (problem,) = caught.value.problems
    return problem.sentence()


@pytest.mark.parametrize(
    ("text", "why", "nearest"),
    [
        ("32GB 2Rx4 PC4-2934Y-R", "DDR4 has no rate 2934", "2933"),
        ("32GB 2Rx4 PC4-2993Y-R", "DDR4 has no rate 2993", "2933"),
        ("32GB 2Rx4 PC4-4800B-R", "DDR4 has no rate 4800", ""),
        ("16GB 1Rx8 PC5-56008-R", "DDR5 has no rate 56008", "5600"),
        ("33GB 2Rx4 PC4-2933Y-R", "33 GB in this organisation would need dies of 8.25 Gbit", "32GB"),
        ("320GB 2Rx4 PC4-2933Y-R", "320 GB in this organisation", "128GB"),
        ("0GB 2Rx4 PC4-2933Y-R", "0 GB in this organisation", "8GB"),
        ("32GB 3Rx4 PC4-2933Y-R", "not a module label", "'32GB 2Rx4 PC4-2933Y-R'"),
        ("32GB 2Rx5 PC4-2933Y-R", "not a module label", "'32GB 2Rx4 PC4-2933Y-R'"),
        ("32GB 2Rx4 PV4-2933Y-R", "not a module label", "'32GB 2Rx4 PC4-2933Y-R'"),
        ("32GB 2Rx4 PC4-2933Y-R!", "not a module label", "'32GB 2Rx4 PC4-2933Y-R'"),
        ("32 2Rx4 PC4-2933Y-R", "not a module label", "'32GB 2Rx4 PC4-2933Y-R'"),
        ("128GB 2S3Rx4 PC4-2933Y-R", "a stack height goes with S", ""),
        ("128GB 2SRx4 PC4-2933Y-R", "a stack height goes with S", ""),
        ("64GB 4D2Rx4 PC4-2933Y-L", "a stack height goes with S", ""),
        ("32GB 2Rx4 PC4-2933YQR-R", "a speed bin has one or two letters, not YQR", ""),
        ("hello", "not a module label", ""),
        ("", "not a module label", ""),
    ],
)
def test_wrong_labels_are_refused_with_the_nearest_right_one(text: str, why: str, nearest: str) -> None:
    """Each refusal shows what was found, says why, gives an example, and names the nearest right spelling if any."""
    sentence = refusal(text)
    assert f"'{text}'" in sentence
    assert why in sentence
    assert "such as '32GB 2Rx4 PC4-2933Y-R'" in sentence
    assert nearest in sentence.rpartition("32GiB")[2]


@pytest.mark.parametrize(
    "text",
    [
        "32GB 2Rx4 PC4-2933Y-R\x00",
        "\x1b[31m32GB 2Rx4 PC4-2933Y-R",
        "32GB 2Rx4 PC4-2933Y-\u202eR",
        "\udcff",
        "3\u0662GB 2Rx4 PC4-2933Y-R",
        "9" * 5000 + "GB 2Rx4 PC4-2933Y-R",
        " " * 100_000,
        "32GB 2Rx4 PC4-2933Y-" + "R-" * 100_000,
    ],
)
def test_hostile_labels(text: str) -> None:
    """Control characters, overrides, surrogates, foreign digits and endless text are refused in one printable line."""
    sentence = refusal(text)
    assert sentence.isprintable()
    assert len(sentence) < 400
    assert refusal(text, usual=False).isprintable()


@settings(max_examples=60, derandomize=True, deadline=None)
@given(st.one_of(st.text(max_size=LONGEST_LABEL), st.from_regex(r"\A[0-9GBRXDSQPCx4-58 \-]{1,40}\Z")))
def test_any_text_is_read_or_refused(text: str) -> None:
    """No text ends in anything but parts or a refusal, and what is read can be written and read again."""
    try:
        parts = parse_parts(text)
    except InputError as error:
        assert str(error).isprintable()
    else:
        assert parse_parts(format_label(parts)).rate_mts == parts.rate_mts


# The round trip


def usual_ecc(generation: Generation, kind: Kind | None) -> int | None:
    """ECC bits that go with a kind letter: 64 bits for U and S, 80 for registered DDR5, 72 otherwise (sheet, 5)."""
    if kind is None:
        return None
    if kind in (Kind.UDIMM, Kind.SO_DIMM):
        return 0
    registered = kind in (Kind.RDIMM, Kind.RDIMM_3DS, Kind.LRDIMM, Kind.LRDIMM_3DS, Kind.MRDIMM)
    return 16 if generation is DDR5 and registered else 8


@st.composite
def legal_parts(draw: st.DrawFn) -> LabelParts:
    """Every combination that a label can say: its die exists, and 3DS kinds are those of stacks."""
    generation = draw(st.sampled_from(Generation))
    stack = draw(st.sampled_from(("", "D", "Q", "S")))
    height = draw(st.sampled_from((2, 4, 8))) if stack == "S" else 1
    ranks = draw(st.sampled_from((1, 2, 4, 8)))
    width = draw(st.sampled_from((4, 8, 16, 32)))
    kind = draw(st.sampled_from([*Kind, None]))
    if kind is not None:
        kind = kind.stacked if stack == "S" else kind.unstacked
    sizes = [die * 8 * ranks * height / width for die in DIE_GBIT[generation]]
    capacity = draw(st.sampled_from([None, *(int(size) for size in sizes if size.denominator == 1)]))
    ecc = usual_ecc(generation, kind)
    if generation is DDR5:
        ecc = draw(st.sampled_from((ecc, 8, 16)))
    voltages = {Generation.DDR3: (1500, 1350, 1250), DDR4: (1200,), DDR5: (1100,)}
    return LabelParts(
        generation=generation,
        capacity_gib=capacity,
        kind=kind,
        package_ranks=ranks,
        logical_ranks=ranks * height,
        stack=stack,
        device_width=width,
        ecc_bits=ecc,
        rate_mts=draw(st.sampled_from(RATES_MTS[generation])),
        speed_bin="" if generation is Generation.DDR3 else draw(st.sampled_from(("", "J", "T", "Y", "B", "AA", "AC"))),
        voltage_mv=draw(st.sampled_from(voltages[generation])),
    )


@settings(max_examples=80, derandomize=True, deadline=None)
@given(legal_parts())
def test_what_is_written_is_read_back(parts: LabelParts) -> None:
    """Writing the parts of any legal label and reading them gives the same parts."""
    assert parse_parts(format_label(parts)) == parts


@settings(max_examples=60, derandomize=True, deadline=None)
@given(legal_parts(), st.randoms(use_true_random=False))
def test_careless_writing_is_read_back(parts: LabelParts, random: Random) -> None:
    """Case, extra blanks, line breaks, and blanks for hyphens do not change what a label says."""

    def blank() -> str:
        return random.choice((" ", "  ", "\n", "\t "))

    text = format_label(parts)
    careless = re.sub(r"[ -]", lambda match: random.choice(("-", blank())) if match[0] == "-" else blank(), text)
    careless = "".join(random.choice((character.upper(), character.lower())) for character in careless)
    assert parse_parts(f"{blank()}{careless}{blank()}") == parts


@settings(max_examples=60, derandomize=True, deadline=None)
@given(legal_parts())
def test_a_module_knows_its_die(parts: LabelParts) -> None:
    """A whole label is a module whose die is one of its generation; the labels of equal modules are equal."""
    module = module_of(parts)
    assert (module is None) == (None in (parts.capacity_gib, parts.kind, parts.ecc_bits))
    if module is not None:
        assert module.die_gbit in DIE_GBIT[module.generation]
        assert module.die_family == ("24 Gbit" if module.die_gbit in (12, 24, 48) else "16 Gbit")
        assert parse_label(module.label) == module


# 3DS arithmetic (standards sheet, 1.4: in use are 2S2 and 2S4 of 16 and 24 Gbit dies)

STACKS = [
    # package ranks, stack height, die Gbit, GB
    (2, 2, 16, 128),
    (2, 4, 16, 256),
    (2, 2, 24, 192),
    (2, 4, 24, 384),
]


@pytest.mark.parametrize(("ranks", "height", "die", "gib"), STACKS)
def test_stacked_modules(ranks: int, height: int, die: int, gib: int) -> None:
    """Logical ranks are package ranks times height; capacity, width and logical ranks give the die."""
    module = parse_label(f"{gib}GB {ranks}S{height}Rx4 PC5-4800B-R")
    assert module.kind is Kind.RDIMM_3DS
    assert (module.package_ranks, module.logical_ranks) == (ranks, ranks * height)
    assert module.die_gbit == Fraction(die)
    assert (module.die_family == "24 Gbit") == (die == 24)


@pytest.mark.parametrize(
    ("organisation", "package", "logical"), [("4S2Rx4", 4, 8), ("2S4Rx4", 2, 8), ("4DRx4", 4, 4), ("8S4Rx4", 8, 32)]
)
def test_ranks_of_stacks(organisation: str, package: int, logical: int) -> None:
    """The first figure is package ranks, the second logical ranks each; dual-die packages add none."""
    parts = parse_parts(f"{organisation} PC4-2933Y-R")
    assert (parts.package_ranks, parts.logical_ranks) == (package, logical)


def test_stacks_are_kinds_of_their_own() -> None:
    """guide-10: 3DS modules go with no others, so a 3DS LRDIMM is no plain LRDIMM."""
    kinds = [parse_parts(f"{each} PC4-2933Y-L").kind for each in ("4DRx4", "4S2Rx4", "2Rx4")]
    assert kinds == [Kind.LRDIMM, Kind.LRDIMM_3DS, Kind.LRDIMM]
    assert format_label(parse_parts("256GB 4S2Rx4 PC4-2933Y-LD0-12")) == "256GB 4S2Rx4 PC4-2933Y-L"


def test_a_stack_without_its_letter_needs_an_impossible_die() -> None:
    """512 GB of two plain ranks would need dies of 128 Gbit: refused; the nearest size is named."""
    assert "dies of 128 Gbit" in refusal("512GB 2Rx4 PC4-2933Y-R")


def test_ecc_widths_of_ddr5() -> None:
    """A registered DDR5 module has 80 bits; EC4 says that it has 72, and is kept in the spelling."""
    eighty, seventy_two = (parse_label(f"64GB 2Rx4 {ecc}PC5-4800B-R") for ecc in ("", "EC4 "))
    assert (eighty.ecc_bits, seventy_two.ecc_bits) == (16, 8)
    assert eighty != seventy_two
    assert seventy_two.label == "64GB 2Rx4 EC4 PC5-4800B-R"
    assert parse_label("64GB 2Rx4 EC8 PC5-4800B-R") == eighty


@pytest.mark.parametrize(
    "text",
    [
        "EC4 64GB 2Rx4 PC5-4800B-R",
        "64GB EC4 2Rx4 PC5-4800B-R",
        "64GB 2Rx4 PC5-4800B EC4 R",
        "64GB 2Rx4 PC5-4800B-R EC4",
        "64GB 2Rx4 PC5-4800B-R-EC4",
        "64gb 2rx4 pc5-4800b-r ec4",
        "64GB 2Rx4 PC5-4800BR EC4",
        "64GB 2Rx4 PC5-4800B-RA0-EC4-1010-XT",
        "64GB 2Rx4 PC5-4800B-RA0-1010-XT EC4",
        "64GB 2Rx4 EC4 PC5-4800B-R EC4",
    ],
)
def test_the_ecc_width_is_read_wherever_it_stands(text: str) -> None:
    assert parse_parts(text) == parse_parts("64GB 2Rx4 EC4 PC5-4800B-R")


@pytest.mark.parametrize(
    ("text", "kind", "ecc"),
    [
        # behind the rate E C 4 is the kind letter with its raw card, unless another kind is named (sheet, 1.2 and 1.4)
        ("16GB 2Rx8 PC4-2666V-EC4-11", Kind.ECC_UDIMM, 8),
        ("16GB 2Rx8 PC5-4800B-EC4-1010-XT", Kind.ECC_UDIMM, 8),
        ("16GB 2Rx8 PC5-4800B-EC8-RC4-1010-XT", Kind.RDIMM, 16),
        ("16GB 2Rx8 PC5-4800B EC4", None, 8),
        ("16GB 2Rx8 EC4 PC4-2666V-R", Kind.RDIMM, 8),
    ],
)
def test_a_raw_card_is_no_ecc_width(text: str, kind: Kind | None, ecc: int) -> None:
    parts = parse_parts(text)
    assert (parts.kind, parts.ecc_bits) == (kind, ecc)


def test_ecc_widths_that_cannot_be_are_refused() -> None:
    assert "EC4 and EC8 are two widths" in refusal("64GB 2Rx4 EC4 PC5-4800B-R EC8")
    assert "EC8 is a width of DDR5 modules, not of DDR4" in refusal("16GB 2Rx8 EC8 PC4-2666V-R")

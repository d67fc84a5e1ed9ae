"""JEDEC module labels: read leniently, written one way.

The forms are those of JESD21-C (DDR4), JESD401-5 (DDR5) and the older bandwidth form of DDR3; blanks, line breaks
and missing hyphens are forgiven, and so is a missing tail. See ``standards`` in the source list, sections 1.2 to 1.6.
"""

from __future__ import annotations

import re
from dataclasses import fields
from fractions import Fraction
from typing import Any, NamedTuple

from dimmplan.errors import InputError, Problem, did_you_mean, nearest
from dimmplan.model.module import DIE_GBIT, RATES_MTS, Generation, Kind, Module
from dimmplan.units import quoted

LONGEST_LABEL = 120
LONGEST_BIN = 2

_LABEL = re.compile(
    r"""(?:(?P<capacity>\d{1,5})\s*GI?B?\s*)?
        (?P<ranks>[1248])(?P<stack>[SDQ]?)(?P<height>\d?)R\s*X\s*(?P<width>4|8|16|32|\?)\s*
        PC(?P<generation>[345])(?P<volts>[LU]?)[-\s]*(?P<number>\d{4,5})(?P<letters>[A-Z]{0,3})
        (?:[-\s_]+(?P<tail>[A-Z0-9][A-Z0-9\s_-]*))?""",
    re.VERBOSE,
)
_ECC_WORD = re.compile(r"(?<![A-Z0-9])EC[48](?![A-Z0-9])")
_KIND_AND_CARD = re.compile(r"(?<![A-Z0-9])EC[48][-\s_]+\d{4}(?!\d)")
_KIND_LETTERS = {
    "R": Kind.RDIMM,
    "L": Kind.LRDIMM,
    "U": Kind.UDIMM,
    "E": Kind.ECC_UDIMM,
    "S": Kind.SO_DIMM,
    "T": Kind.ECC_SO_DIMM,
    "M": Kind.MRDIMM,
}
_LETTER_OF_KIND = {kind: letter for letter, kind in _KIND_LETTERS.items()} | {Kind.OTHER: "X"}
_BINS = {*"JKLMNPRTUVWYABC", "AA", "AC", "AN", "BN", "CN"}
"""Speed-bin letters of DDR4 and DDR5 (JESD79-4, JESD79-5C); they give latency, never the rate."""

VOLTAGES_MV: dict[Generation, dict[str, int]] = {
    Generation.DDR3: {"": 1500, "L": 1350, "U": 1250},
    Generation.DDR4: {"": 1200},
    Generation.DDR5: {"": 1100},
}
"""Supply voltage in mV by the letter behind the generation (standards, sections 1.2 and 1.6)."""

_BANDWIDTHS: dict[int, int] = {
    **{6400: 800, 8500: 1066, 10600: 1333, 10666: 1333, 10700: 1333, 12800: 1600, 14900: 1866, 17000: 2133},
    **{19200: 2400, 21300: 2666, 21333: 2666, 23400: 2933, 23466: 2933, 25600: 3200},
}
_DDR3_NAMES = {800: 6400, 1066: 8500, 1333: 10600, 1600: 12800, 1866: 14900, 2133: 17000}
_EXAMPLE = "a JEDEC label such as '32GB 2Rx4 PC4-2933Y-R', or a bare size such as 32GiB"


ELECTRICAL = tuple(each.name for each in fields(Module) if each.compare)


class LabelParts(NamedTuple):
    """What a label says; ``None`` where it does not say it."""

    generation: Generation
    capacity_gib: int | None
    kind: Kind | None
    package_ranks: int
    logical_ranks: int
    stack: str
    device_width: int
    ecc_bits: int | None
    rate_mts: int
    speed_bin: str
    voltage_mv: int
    width_known: bool = True
    """False where the label leaves the device width open (``2Rx?``): the usual one of that size is reckoned with."""

    @property
    def electrical(self) -> dict[str, Any]:
        """What two modules are compared by, as far as the label says it."""
        return {name: getattr(self, name) for name in ELECTRICAL}

    def fits(self, module: Module) -> bool:
        """True when nothing that the label says contradicts ``module``."""
        said = self.electrical | ({} if self.width_known else {"device_width": None})
        return all(mine is None or mine == getattr(module, name) for name, mine in said.items())


def _refuse(text: str, why: str, *, file: str, place: str, hint: str = "") -> InputError:
    return InputError(Problem(file=file, place=place, found=f"{quoted(text)} ({why})", allowed=_EXAMPLE, hint=hint))


def parse_parts(text: str, *, file: str = "module", place: str = "") -> LabelParts:
    """Read a label into its parts. Raises ``InputError`` where it is not one or contradicts itself."""
    folded = re.sub(r"\s+", " ", text.replace("×", "x")).strip().upper()
    readable = len(text) <= LONGEST_LABEL and folded.isascii()
    match, ecc_words = _matched(folded) if readable else (None, set[str]())
    if match is None:
        raise _refuse(text, "not a module label", file=file, place=place)
    generation = Generation(f"DDR{match['generation']}")
    number = int(match["number"])
    is_rate = number in (*range(9601), 12800) if generation is Generation.DDR5 else number <= 3200
    rate = number if is_rate else _rate_of_bandwidth(generation, number)
    speed_bin, kind_letter = _bin_and_kind(match["letters"], match["tail"] or "", is_rate=is_rate)
    if len(speed_bin) > LONGEST_BIN:
        raise _refuse(text, f"a speed bin has one or two letters, not {speed_bin}", file=file, place=place)
    if rate not in RATES_MTS[generation]:
        rates = [str(known) for known in RATES_MTS[generation]]
        near = min(RATES_MTS[generation], key=lambda known: abs(known - (rate or number)))
        hint = did_you_mean(match["number"], rates) or f"The nearest is {near}."
        raise _refuse(text, f"{generation} has no rate {number}", file=file, place=place, hint=hint)
    if (match["height"] and match["stack"] != "S") or (
        match["stack"] == "S" and match["height"] not in ("2", "4", "8")
    ):
        raise _refuse(text, "a stack height goes with S: 2S2Rx4", file=file, place=place)
    height = int(match["height"] or 1)
    kind = _KIND_LETTERS.get(kind_letter, Kind.OTHER) if kind_letter else None
    if match["stack"] == "S" and kind is not None:
        kind = kind.stacked
    voltages = VOLTAGES_MV[generation]
    voltage = voltages.get(match["volts"], voltages[""])
    ecc = _ecc_bits(ecc_words, generation, text, file=file, place=place)
    capacity, ranks = int(match["capacity"]) if match["capacity"] else None, int(match["ranks"]) * height
    usual = usual_width(generation, capacity, ranks) if match["width"] == "?" and capacity else (ranks, 4)
    if usual is None:
        raise _refuse(text, "no such module: its width cannot be reckoned", file=file, place=place)
    parts = LabelParts(
        generation=generation,
        capacity_gib=capacity,
        kind=kind,
        package_ranks=int(match["ranks"]),
        logical_ranks=ranks,
        stack=match["stack"],
        device_width=usual[1] if match["width"] == "?" else int(match["width"]),
        ecc_bits=ecc if ecc is not None else _usual_ecc_bits(generation, kind),
        rate_mts=rate,
        speed_bin=speed_bin,
        voltage_mv=voltage,
        width_known=match["width"] != "?",
    )
    _check_die(parts, text, file=file, place=place)
    return parts


def _rate_of_bandwidth(generation: Generation, number: int) -> int:
    """MT/s of a bandwidth name in MB/s; 0 where there is none. DDR5 names are exact, older ones rounded."""
    if generation is Generation.DDR5:
        return number // 8 if number % 8 == 0 else 0
    return _BANDWIDTHS.get(number, 0)


def _bin_and_kind(letters: str, tail: str, *, is_rate: bool) -> tuple[str, str]:
    """Speed bin and kind letter from the letters behind the number and from what follows.

    In the older form the kind letter follows the bandwidth directly and latencies stand in the tail. A hyphen that
    got lost leaves the two together (``2933YR``).
    """
    if tail[:1] in _KIND_LETTERS and (is_rate or letters in _BINS or not letters):
        return letters, tail[:1]
    if not is_rate:
        return "", letters[:1]
    if not tail and letters not in _BINS and letters[:-1] in _BINS and letters[-1:] in _KIND_LETTERS:
        return letters[:-1], letters[-1]
    return letters, tail[:1]


def _matched(folded: str) -> tuple[re.Match[str] | None, set[str]]:
    """A label's fields, and its words for the ECC width, wherever they stand; only DDR5 has them behind the rate.

    There ``EC4`` is the kind letter E with its raw card C4 where the label names no other kind and an SPD revision
    follows.
    """
    head, pc, rest = folded.partition("PC")
    front = f"{_ECC_WORD.sub(' ', head)}{pc}".lstrip(" -_")
    words, behind = set(_ECC_WORD.findall(head)), set(_ECC_WORD.findall(rest))
    if behind and rest.startswith("5"):
        match = _LABEL.fullmatch(front + _ECC_WORD.sub(" ", rest).rstrip(" -_"))
        named = match and _bin_and_kind(match["letters"], match["tail"] or "", is_rate=True)[1] in _KIND_LETTERS
        if match and (named or not _KIND_AND_CARD.search(rest)):
            return match, words | behind
    return _LABEL.fullmatch(front + rest), words


def _ecc_bits(words: set[str], generation: Generation, text: str, *, file: str, place: str) -> int | None:
    """ECC bits of a module by the words that its label has for them."""
    if len(words) > 1:
        raise _refuse(text, "EC4 and EC8 are two widths", file=file, place=place)
    if words == {"EC8"} and generation is not Generation.DDR5:
        raise _refuse(text, f"EC8 is a width of DDR5 modules, not of {generation}", file=file, place=place)
    return {"EC4": 8, "EC8": 16}[words.pop()] if words else None


def _usual_ecc_bits(generation: Generation, kind: Kind | None) -> int | None:
    """ECC bits that a label implies by its kind letter. A DDR5 label may add EC4 or EC8 where it differs."""
    if kind is None:
        return None
    if kind in (Kind.UDIMM, Kind.SO_DIMM):
        return 0
    registered = kind.unstacked in (Kind.RDIMM, Kind.LRDIMM, Kind.MRDIMM)
    return 16 if generation is Generation.DDR5 and registered else 8


_USUAL_DIES = {Generation.DDR3: (2, 4, 1, 8), Generation.DDR4: (8, 16, 4, 2), Generation.DDR5: (16, 24, 32)}
"""Dies in Gbit that modules of a generation mostly have, the likeliest first (common practice, no source)."""
_USUAL_RANKS = ((2, 4), (2, 8), (1, 8), (1, 4), (4, 4), (1, 16))
"""Package ranks and device width of the modules that are mostly sold (common practice, no source)."""


def usual_width(generation: Generation, capacity_gib: int, ranks: int | None) -> tuple[int, int] | None:
    """Ranks and device width that modules of a capacity mostly have, ``ranks`` kept where they are known."""
    for die in _USUAL_DIES[generation]:
        for package_ranks, width in _USUAL_RANKS if ranks is None else [(ranks, width) for width in (4, 8, 16)]:
            if capacity_gib * 8 * width == die * 64 * package_ranks:
                return package_ranks, width
    return None


def _check_die(parts: LabelParts, text: str, *, file: str, place: str) -> None:
    """Refuse a label whose capacity, width and ranks would need a die that does not exist."""
    size = parts.capacity_gib
    if size is None:
        return
    die = Fraction(size * 8 * parts.device_width, 64 * parts.logical_ranks)
    if die in DIE_GBIT[parts.generation]:
        return
    factor = Fraction(64 * parts.logical_ranks, 8 * parts.device_width)
    right = [int(each * factor) for each in DIE_GBIT[parts.generation] if (each * factor).denominator == 1]
    why = f"{size} GB in this organisation would need dies of {float(die):g} Gbit"
    near = min(right, key=lambda gib: abs(gib - size), default=None)
    raise _refuse(text, why, file=file, place=place, hint=f"The nearest size is {near}GB." if near else "")


def format_label(parts: LabelParts) -> str:
    """The one spelling used for a label in every output."""
    height = parts.logical_ranks // parts.package_ranks if parts.stack == "S" else ""
    width = parts.device_width if parts.width_known else "?"
    organisation = f"{parts.package_ranks}{parts.stack}{height}Rx{width}"
    size = f"{parts.capacity_gib}GB " if parts.capacity_gib is not None else ""
    unusual = parts.ecc_bits is not None and parts.ecc_bits != _usual_ecc_bits(parts.generation, parts.kind)
    ecc = f" EC{(parts.ecc_bits or 0) // 2}" if unusual else ""
    kind = _LETTER_OF_KIND[parts.kind.unstacked] if parts.kind is not None else ""
    if parts.generation is Generation.DDR3:
        volts = next(letter for letter, mv in VOLTAGES_MV[parts.generation].items() if mv == parts.voltage_mv)
        return f"{size}{organisation}{ecc} PC3{volts}-{_DDR3_NAMES[parts.rate_mts]}{kind}"
    number = parts.generation.value[-1]
    return f"{size}{organisation}{ecc} PC{number}-{parts.rate_mts}{parts.speed_bin}" + (f"-{kind}" if kind else "")


def module_of(parts: LabelParts) -> Module | None:
    """The module type of a label that says enough, else ``None``."""
    said = parts.electrical
    return None if None in said.values() else Module(label=format_label(parts), **said)


def parse_label(text: str, *, file: str = "module", place: str = "", usual: tuple[Module, ...] = ()) -> Module:
    """Read a whole label into a module type.

    A label that leaves out size or kind is completed from ``usual`` where exactly one of those fits. An electrical
    twin of a usual module takes that module's spelling. Raises ``InputError`` with the nearest right spelling.
    """
    try:
        parts = parse_parts(text, file=file, place=place)
    except InputError as error:
        problem = error.problems[0]
        close = nearest(text, [module.label for module in usual], most=2)
        if problem.hint or not close:
            raise
        hint = f"Did you mean {' or '.join(quoted(label) for label in close)}?"
        raise InputError(problem._replace(hint=hint)) from None
    module = module_of(parts)
    if module is not None:
        return next((twin for twin in usual if twin == module), module)
    fitting = [candidate for candidate in usual if parts.fits(candidate)]
    if len(fitting) == 1:
        return fitting[0]
    missing = "the size" if parts.capacity_gib is None else "the kind letter (R, L, U or E)"
    hint = f"It could be {' or '.join(quoted(m.label) for m in fitting[:3])}." if fitting else ""
    raise _refuse(text, f"{missing} is missing", file=file, place=place, hint=hint)

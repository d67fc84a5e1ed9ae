"""The code tables of DMTF DSP0134 (SMBIOS 3.x) that memory needs, as words; the binary and the text reader share them.

Words are ours where the standard has none that people use. A text listing's own wordings are folded to these words.
"""

from __future__ import annotations

from typing import Final

OUT_OF_SPEC: Final = "out of spec"
"""Stands for a code that the standard does not list."""

FORM_FACTORS: Final = {  # DSP0134 7.18.1, memory device: form factor
    **{0x01: "other", 0x02: "unknown", 0x03: "SIMM", 0x04: "SIP", 0x05: "chip", 0x06: "DIP", 0x07: "ZIP"},
    **{0x08: "proprietary card", 0x09: "DIMM", 0x0A: "TSOP", 0x0B: "row of chips", 0x0C: "RIMM", 0x0D: "SODIMM"},
    **{0x0E: "SRIMM", 0x0F: "FB-DIMM", 0x10: "die", 0x11: "CAMM"},
}

MEMORY_TYPES: Final = {  # DSP0134 7.18.2, memory device: type
    **{0x01: "other", 0x02: "unknown", 0x03: "DRAM", 0x04: "EDRAM", 0x05: "VRAM", 0x06: "SRAM", 0x07: "RAM"},
    **{0x08: "ROM", 0x09: "flash", 0x0A: "EEPROM", 0x0B: "FEPROM", 0x0C: "EPROM", 0x0D: "CDRAM", 0x0E: "3DRAM"},
    **{0x0F: "SDRAM", 0x10: "SGRAM", 0x11: "RDRAM", 0x12: "DDR", 0x13: "DDR2", 0x14: "DDR2 FB-DIMM"},
    **{0x15: "reserved", 0x16: "reserved", 0x17: "reserved", 0x18: "DDR3", 0x19: "FBD2", 0x1A: "DDR4"},
    **{0x1B: "LPDDR", 0x1C: "LPDDR2", 0x1D: "LPDDR3", 0x1E: "LPDDR4", 0x1F: "logical non-volatile device"},
    **{0x20: "HBM", 0x21: "HBM2", 0x22: "DDR5", 0x23: "LPDDR5", 0x24: "HBM3"},
}

TYPE_DETAILS: Final = {  # DSP0134 7.18.3, memory device: type detail, by bit
    **{1: "other", 2: "unknown", 3: "fast-paged", 4: "static column", 5: "pseudo-static", 6: "RAMBUS"},
    **{7: "synchronous", 8: "CMOS", 9: "EDO", 10: "window DRAM", 11: "cache DRAM", 12: "non-volatile"},
    **{13: "registered (buffered)", 14: "unbuffered (unregistered)", 15: "LRDIMM"},
}

PERSISTENT_MEMORY: Final = "persistent memory"
TECHNOLOGIES: Final = {  # DSP0134 7.18.6, memory device: memory technology; 7 is one maker's persistent memory
    **{0x01: "other", 0x02: "unknown", 0x03: "DRAM", 0x04: "NVDIMM-N", 0x05: "NVDIMM-F", 0x06: "NVDIMM-P"},
    0x07: PERSISTENT_MEMORY,
}
PERSISTENT_TECHNOLOGIES: Final = frozenset(("NVDIMM-N", "NVDIMM-F", "NVDIMM-P", PERSISTENT_MEMORY))

OPERATING_MODES: Final = {  # DSP0134 7.18.7, memory device: operating mode capability, by bit
    **{1: "other", 2: "unknown", 3: "volatile memory", 4: "byte-accessible persistent memory"},
    5: "block-accessible persistent memory",
}

ARRAY_LOCATIONS: Final = {  # DSP0134 7.17.1, physical memory array: location
    **{0x01: "other", 0x02: "unknown", 0x03: "system board", 0x04: "ISA add-on card", 0x05: "EISA add-on card"},
    **{0x06: "PCI add-on card", 0x07: "MCA add-on card", 0x08: "PCMCIA add-on card"},
    **{0x09: "proprietary add-on card", 0x0A: "NuBus", 0xA0: "PC-98/C20 add-on card", 0xA1: "PC-98/C24 add-on card"},
    **{0xA2: "PC-98/E add-on card", 0xA3: "PC-98/local bus add-on card", 0xA4: "CXL add-on card"},
}
CXL_LOCATION: Final = "CXL add-on card"

ARRAY_USES: Final = {  # DSP0134 7.17.2, physical memory array: use
    **{0x01: "other", 0x02: "unknown", 0x03: "system memory", 0x04: "video memory", 0x05: "flash memory"},
    **{0x06: "non-volatile RAM", 0x07: "cache memory"},
}

ERROR_CORRECTIONS: Final = {  # DSP0134 7.17.3, physical memory array: error correction types
    **{0x01: "other", 0x02: "unknown", 0x03: "none", 0x04: "parity", 0x05: "single-bit ECC", 0x06: "multi-bit ECC"},
    0x07: "CRC",
}

PROCESSOR_STATUS: Final = {  # DSP0134 7.5, processor status, bits 2:0
    **{0: "unknown", 1: "enabled", 2: "disabled by user", 3: "disabled by firmware", 4: "idle", 7: "other"},
}

WRONG_VERSIONS: Final = {(2, 31): (2, 3), (2, 33): (2, 3), (2, 51): (2, 6)}
"""Version bytes that firmware is known to write for others (standards, section 3.7)."""


def word(table: dict[int, str], code: int) -> str:
    """The word of a code; ``OUT_OF_SPEC`` where the standard lists none."""
    return table.get(code, OUT_OF_SPEC)


def words_of_bits(table: dict[int, str], bits: int) -> frozenset[str]:
    """The words of all set bits that the standard names."""
    return frozenset(text for bit, text in table.items() if bits >> bit & 1)


def fold(table: dict[int, str], text: str) -> str:
    """A listing's word as the table's own; a text that the table does not know stays as it is, in lower case."""
    folded = " ".join(text.casefold().split())
    for known in table.values():
        if folded == known.casefold():
            return known
    return folded

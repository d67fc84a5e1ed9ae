"""The project's source list: every id that a rule, a figure or a test cites, with its document in full.

This list is the only place where a maker's name stands. ``PRACTICE`` marks common practice without a source and
``MEMORY`` a value from memory; ``INVENTED`` marks what belongs to an invented board alone.
"""

from __future__ import annotations

from typing import NamedTuple


class Source(NamedTuple):
    """One published document; ``place`` is the page, table or section meant."""

    id: str
    publisher: str
    document: str
    year: str
    place: str = ""

    def citation(self) -> str:
        """The document as one line."""
        parts = [self.publisher, self.document, self.year, self.place]
        return ", ".join(part for part in parts if part)


def _source(id: str, publisher: str, document: str, year: str, place: str = "") -> Source:
    return Source(id=id, publisher=publisher, document=document, year=year, place=place)


_LIST = (
    _source("NTX", "Nutanix", "Physical Memory Configuration, v3.2", "2026"),
    _source("TK", "Thomas-Krenn.AG", "wiki, working-memory performance of 8-channel DDR4 servers", "undated"),
    _source("FD-2015", "F. Denneman", "Memory Deep Dive, parts 4 and 7", "2015"),
    _source("FD-2016", "F. Denneman", "NUMA Deep Dive, part 4", "2016"),
    _source("GBT", "GIGABYTE", "Memory Population Guidelines, user manual rev. 1.0", "2021", "p. 15"),
    _source("LNX-ATL", "Linux kernel", "drivers/ras, address translation library, enum intlv_modes", "undated"),
    _source("LNX-2CTL", "Linux kernel", "drivers/edac, the driver of a two-controller part", "undated"),
    _source("HUA-G5500", "Huawei", "FusionServer G5500 User Guide, issue 02", "2017", "6.4.3.6"),
    _source("HUA-CH225", "Huawei", "FusionServer Pro CH225 V5 white paper", "2020"),
    _source("HUA-2298", "Huawei", "FusionServer Pro 2298 V5 white paper", "2020"),
    _source("HUA-2488", "Huawei", "FusionServer Pro 2488 V5 white paper", "2020", "table 5-7, p. 32"),
    _source("HUA-DIR", "Huawei", "DIMM Installation Rules, EDOC1100141951", "undated"),
    _source("XF-V7", "xFusion", "FusionServer 1288H V7 / 2288H V7 white papers, issue 02", "2023", "table 5-6"),
    _source("LEN-SR635V3", "Lenovo", "SR635 V3 memory module installation rules and order", "undated"),
    _source("LEN-SR645", "Lenovo", "SR645 memory module installation rules and order", "undated"),
    _source("LEN-SR665", "Lenovo", "SR665 memory module installation rules and order", "undated"),
    _source("LEN-685A", "Lenovo", "685A memory module installation rules and order", "undated"),
    _source("LEN-SN550V2", "Lenovo", "SN550 V2 memory module installation rules and order", "undated"),
    _source("LEN-SN850", "Lenovo", "SN850 memory module installation rules and order", "undated"),
    _source("LEN-650AV4", "Lenovo", "650A V4 memory module installation rules and order", "undated"),
    _source("LEN-SR860V2", "Lenovo", "SR860 V2 setup guide", "undated", "p. 166"),
    _source("LEN-RD350", "Lenovo", "RD350 user guide", "undated", "p. 77"),
    _source("TX2550", "Fujitsu", "Upgrade and Maintenance Manual TX2550 M5", "undated", "p. 398"),
    _source("FUJ-RX200", "Fujitsu", "RX200 S8 order guide", "undated", "p. 13"),
    _source("JESD21-C", "JEDEC", "JESD21-C, module annexes 4.20.26 and 4.20.28, DDR4 labels", "undated"),
    _source("JESD401-5B", "JEDEC", "JESD401-5B, DDR5 DIMM Labels", "2023"),
    _source("JESD79-4", "JEDEC", "JESD79-4, DDR4 SDRAM", "undated"),
    _source("JESD79-5C", "JEDEC", "JESD79-5C, DDR5 SDRAM", "2024"),
    _source("JESD400-5", "JEDEC", "JESD400-5A.01, DDR5 Serial Presence Detect contents", "2023"),
    _source("IEC-80000-13", "IEC", "IEC 80000-13, Quantities and units: information science", "undated"),
    _source("AIHPC", "ai-hpc.org", "STREAM benchmark report", "undated", "4800 and 4400 MT/s, 2 x 8 channels"),
    _source("STREAM", "Microsoft Learn, Microway, Texas Instruments", "published STREAM figures", "undated"),
    _source("WCAG22", "W3C", "Web Content Accessibility Guidelines 2.2", "2023", "1.4.3, 1.4.11"),
    _source("ISO-3864-2", "ISO", "ISO 3864-2, Graphical symbols: product safety labels", "undated"),
    _source("ANSI-Z535", "ANSI", "ANSI Z535 series, safety signs", "undated"),
    _source("ESD-S20.20", "ESD Association", "ANSI/ESD S20.20, protection of electronic parts", "2021"),
    _source("IEC-61340-5-1", "IEC", "IEC 61340-5-1, protection of electronic devices", "2016"),
    _source("PRACTICE", "", "common practice, no source", ""),
    _source("MEMORY", "", "from memory, not confirmed in a document", ""),
    _source("MODEL", "", "this planner's own model, described in: dimmplan docs figures", ""),
    _source("INVENTED", "", "invented for this board", ""),
)

SOURCES: dict[str, Source] = {source.id: source for source in _LIST}
"""Every source by its id."""


def citation(source_id: str) -> str:
    """The document of a source id of the list in full; the id itself where it is none of the list."""
    source = SOURCES.get(source_id)
    return source.citation() if source else source_id

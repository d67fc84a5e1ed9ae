"""The project's source list: every id that a rule, a figure or a test cites, with its document in full.

This list is the only place where a maker's name stands; ``dimmplan rules`` and ``dimmplan docs sources`` print it,
and everything else prints the id alone. An id says what kind of document it is: a ``guide`` or manual of a maker,
an ``article``, a ``report`` of measurements, ``kernel`` sources, a ``standard``. ``PRACTICE`` marks common practice
without a source and ``MEMORY`` a value from memory; ``INVENTED`` marks what belongs to an invented board alone.
"""

from __future__ import annotations

from typing import NamedTuple


class Source(NamedTuple):
    """One published document; ``place`` is the page, table or section meant.

    ``formerly`` is an older id of it, still read in board files.
    """

    id: str
    publisher: str
    document: str
    year: str
    place: str = ""
    formerly: str = ""

    def citation(self) -> str:
        """The document as one line."""
        parts = [self.publisher, self.document, self.year, self.place]
        return ", ".join(part for part in parts if part)


_LIST = (
    Source("guide-01", "Nutanix", "Physical Memory Configuration, v3.2", "2026", formerly="NTX"),
    Source(
        "guide-02", "GIGABYTE", "Memory Population Guidelines, user manual rev. 1.0", "2021", "p. 15", formerly="GBT"
    ),
    Source("guide-03", "Huawei", "FusionServer G5500 User Guide, issue 02", "2017", "6.4.3.6", formerly="HUA-G5500"),
    Source("guide-04", "Huawei", "FusionServer Pro CH225 V5 white paper", "2020", formerly="HUA-CH225"),
    Source("guide-05", "Huawei", "FusionServer Pro 2298 V5 white paper", "2020", formerly="HUA-2298"),
    Source(
        "guide-06", "Huawei", "FusionServer Pro 2488 V5 white paper", "2020", "table 5-7, p. 32", formerly="HUA-2488"
    ),
    Source("guide-07", "Huawei", "DIMM Installation Rules, EDOC1100141951", "undated", formerly="HUA-DIR"),
    Source(
        "guide-08",
        "xFusion",
        "FusionServer 1288H V7 / 2288H V7 white papers, issue 02",
        "2023",
        "table 5-6",
        formerly="XF-V7",
    ),
    Source(
        "guide-09", "Lenovo", "SR635 V3 memory module installation rules and order", "undated", formerly="LEN-SR635V3"
    ),
    Source("guide-10", "Lenovo", "SR645 memory module installation rules and order", "undated", formerly="LEN-SR645"),
    Source("guide-11", "Lenovo", "SR665 memory module installation rules and order", "undated", formerly="LEN-SR665"),
    Source("guide-12", "Lenovo", "685A memory module installation rules and order", "undated", formerly="LEN-685A"),
    Source(
        "guide-13", "Lenovo", "SN550 V2 memory module installation rules and order", "undated", formerly="LEN-SN550V2"
    ),
    Source("guide-14", "Lenovo", "SN850 memory module installation rules and order", "undated", formerly="LEN-SN850"),
    Source(
        "guide-15", "Lenovo", "650A V4 memory module installation rules and order", "undated", formerly="LEN-650AV4"
    ),
    Source("guide-16", "Lenovo", "SR860 V2 setup guide", "undated", "p. 166", formerly="LEN-SR860V2"),
    Source("guide-17", "Lenovo", "RD350 user guide", "undated", "p. 77", formerly="LEN-RD350"),
    Source("guide-18", "Fujitsu", "Upgrade and Maintenance Manual TX2550 M5", "undated", "p. 398", formerly="TX2550"),
    Source("guide-19", "Fujitsu", "RX200 S8 order guide", "undated", "p. 13", formerly="FUJ-RX200"),
    Source("article-01", "F. Denneman", "Memory Deep Dive, parts 4 and 7", "2015", formerly="FD-2015"),
    Source("article-02", "F. Denneman", "NUMA Deep Dive, part 4", "2016", formerly="FD-2016"),
    Source(
        "report-01",
        "Thomas-Krenn.AG",
        "wiki, working-memory performance of 8-channel DDR4 servers",
        "undated",
        formerly="TK",
    ),
    Source(
        "report-02",
        "ai-hpc.org",
        "STREAM benchmark report",
        "undated",
        "4800 and 4400 MT/s, 2 x 8 channels",
        formerly="AIHPC",
    ),
    Source(
        "report-03",
        "Microsoft Learn, Microway, Texas Instruments",
        "published STREAM figures",
        "undated",
        formerly="STREAM",
    ),
    Source(
        "kernel-01",
        "Linux kernel",
        "drivers/ras, address translation library, enum intlv_modes",
        "undated",
        formerly="LNX-ATL",
    ),
    Source(
        "kernel-02", "Linux kernel", "drivers/edac, the driver of a two-controller part", "undated", formerly="LNX-2CTL"
    ),
    Source(
        "kernel-03", "Linux kernel", "Documentation/driver-api/edac and drivers/edac, labels and log lines", "undated"
    ),
    Source("kernel-04", "Linux kernel", "drivers/firmware/efi/cper, records of memory errors", "undated"),
    Source(
        "standard-01",
        "JEDEC",
        "JESD21-C, module annexes 4.20.26 and 4.20.28, DDR4 labels",
        "undated",
        formerly="JESD21-C",
    ),
    Source("standard-02", "JEDEC", "JESD401-5B, DDR5 DIMM Labels", "2023", formerly="JESD401-5B"),
    Source("standard-03", "JEDEC", "JESD79-4, DDR4 SDRAM", "undated", formerly="JESD79-4"),
    Source("standard-04", "JEDEC", "JESD79-5C, DDR5 SDRAM", "2024", formerly="JESD79-5C"),
    Source("standard-05", "JEDEC", "JESD400-5A.01, DDR5 Serial Presence Detect contents", "2023", formerly="JESD400-5"),
    Source(
        "standard-06",
        "IEC",
        "IEC 80000-13, Quantities and units: information science",
        "undated",
        formerly="IEC-80000-13",
    ),
    Source(
        "standard-07", "W3C", "Web Content Accessibility Guidelines 2.2", "2023", "1.4.3, 1.4.11", formerly="WCAG22"
    ),
    Source(
        "standard-08", "ISO", "ISO 3864-2, Graphical symbols: product safety labels", "undated", formerly="ISO-3864-2"
    ),
    Source("standard-09", "ANSI", "ANSI Z535 series, safety signs", "undated", formerly="ANSI-Z535"),
    Source(
        "standard-10",
        "ESD Association",
        "ANSI/ESD S20.20, protection of electronic parts",
        "2021",
        formerly="ESD-S20.20",
    ),
    Source("standard-11", "IEC", "IEC 61340-5-1, protection of electronic devices", "2016", formerly="IEC-61340-5-1"),
    Source(
        "standard-12", "CXL Consortium", "Compute Express Link specification, interleave ways, second-hand", "undated"
    ),
    Source("standard-13", "UEFI Forum", "UEFI Specification, appendix N, memory error section", "undated"),
    Source("PRACTICE", "", "common practice, no source", ""),
    Source("MEMORY", "", "from memory, not confirmed in a document", ""),
    Source("MODEL", "", "this planner's own model, described in: dimmplan docs figures", ""),
    Source("INVENTED", "", "invented for this board", ""),
)

SOURCES: dict[str, Source] = {source.id: source for source in _LIST}
"""Every source by its id."""

_FORMERLY: dict[str, str] = {source.formerly: source.id for source in _LIST if source.formerly}


def current_id(source_id: str) -> str:
    """The id of today for an older id of the list; any other id as it is."""
    return _FORMERLY.get(source_id, source_id)


def citation(source_id: str) -> str:
    """The document of a source id of the list in full, older ids too; the id itself where it is none of the list."""
    source = SOURCES.get(current_id(source_id))
    return source.citation() if source else source_id

"""Which evenings are left out together when the shipped method is measured.

The real photos come from a few evenings; photos of one evening look alike. Every figure the project
reports on them comes from networks and heads that never saw the evening they are scored on. The
egg-mask network is trained once without each group below (training one for each of fifteen
evenings would triple the files for no better answer).
"""

from __future__ import annotations

LEFT_OUT_GROUPS: dict[str, tuple[str, ...]] = {
    "fold1": ("0623", "0630", "dia10"),
    "fold2": ("0625a", "0701", "0730"),
    "fold3": ("0625b", "0707", "0704"),
    "fold4": ("0626", "0708", "dia11"),
    "fold5": ("0628", "dia12", "0723"),
}


def fold_of(evening: str) -> str:
    """Name of the fold whose network never saw this evening.

    Raises
    ------
    KeyError
        The evening is in no fold.
    """
    return _group_with(evening, LEFT_OUT_GROUPS, "network")


# The heads are fitted anew much faster, so for them evenings at most one day apart, on which the same
# eggs were photographed, are left out together (dates 0625 and 0626, 0630 and 0701, 0707 and 0708; days
# ``dia10`` to ``dia12`` of one series). All dated evenings may be of one batch: the folder's labels tell
# too few eggs apart to say more.
SAME_EGGS: dict[str, str] = {
    "0625a": "0625-0626", "0625b": "0625-0626", "0626": "0625-0626",
    "0630": "0630-0701", "0701": "0630-0701",
    "0707": "0707-0708", "0708": "0707-0708",
    "dia10": "dia10-12", "dia11": "dia10-12", "dia12": "dia10-12",
}  # fmt: skip


def evenings_together(evening: str) -> str:
    """Name of the evenings that are left out together with this one when heads are measured."""
    return SAME_EGGS.get(evening, evening)


# The network that says whether veins show is trained without each of these: days apart by one, and days of
# the same eggs, are always left out together.
VEIN_GROUPS: dict[str, tuple[str, ...]] = {
    "fold1": ("0625a", "0625b", "0626"),
    "fold2": ("0623", "0630", "0701"),
    "fold3": ("0628", "0707", "0708"),
    "fold4": ("dia10", "dia11", "dia12", "0704"),
    "fold5": ("0723", "0730"),
}


def vein_fold_of(evening: str) -> str:
    """Name of the fold whose vein-presence network never saw this evening.

    Raises
    ------
    KeyError
        The evening is in no fold.
    """
    return _group_with(evening, VEIN_GROUPS, "vein network")


def _group_with(evening: str, groups: dict[str, tuple[str, ...]], what: str) -> str:
    for name, evenings in groups.items():
        if evening in evenings:
            return name
    raise KeyError(f"no left-out {what} for the evening {evening!r}")

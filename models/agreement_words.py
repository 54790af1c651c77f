"""Agreement in words, for the screens."""

from __future__ import annotations

from models.agreement import Agreement, Drop


def drop_words(drop: Drop) -> str:
    """What is announced when agreement drops."""
    how = "without the proposal in view" if drop.blind else "with the proposal in view"
    return (
        f"In {drop.batch}, the model was overruled on {drop.overruled} of {drop.eggs} eggs ({how}); before "
        f"that on {drop.overruled_before} of {drop.eggs_before}. Has your lamp or phone changed? Look at "
        "every egg yourself until this is clear. (Where nothing has changed, this is said for at most one "
        "batch in 100.)"
    )


def agreement_words(one: Agreement) -> str:
    """Two who looked at the same, in one sentence."""
    looks = "look" if one.looks == 1 else "looks"
    both = f"{one.first} and the model" if one.second == "model" else f"{one.first} and {one.second}"
    kappa = (
        "kappa cannot be worked out yet (both always said the same one thing)"
        if one.kappa is None
        else f"Cohen's kappa {one.kappa:.2f} (1: always agree; 0: no better than chance)"
    )
    return f"{both} agree on {one.agree} of {one.looks} {looks} called blind; {kappa}."

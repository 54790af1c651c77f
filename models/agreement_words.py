"""Agreement in words, for the screens."""

from __future__ import annotations

from models.agreement import Drop

KAPPA = (
    "Cohen's kappa: 1 always agree, 0 no better than chance. Only looks called without the proposal in view "
    "count; “–” where both always said the same one thing."
)


def drop_words(drop: Drop) -> str:
    """What is announced when agreement drops."""
    how = "without the proposal in view" if drop.blind else "with the proposal in view"
    model = (
        " Another model judged these eggs than those before: if it is to blame, put the earlier one back."
        if drop.other_model
        else ""
    )
    return (
        f"In {drop.batch}, the model was overruled on {drop.overruled} of {drop.eggs} eggs ({how}); before "
        f"that on {drop.overruled_before} of {drop.eggs_before}. Has your lamp or phone changed?{model} Look "
        "at every egg yourself until this is clear. (Where nothing has changed, this is said for at most one "
        "batch in 100.)"
    )

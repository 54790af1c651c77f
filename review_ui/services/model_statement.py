"""What the shipped model was trained and measured on, in plain words and with its counts."""

from __future__ import annotations

from models.judge import MODEL_NAME, shipped_heads

SHORT = (
    "Trayglow proposes; you decide. Its model learnt from phone photos of a few people's candling evenings "
    "with chicken eggs, and from simulated pictures. It has never seen a real infertile egg, and very few "
    "dead ones. When in doubt, put the egg back."
)


def statement_lines() -> tuple[str, ...]:
    """One sentence a line; the counts are those that the model carries with it."""
    card = shipped_heads().card
    photos = card["real_photos"]
    return (
        f"Model: {MODEL_NAME}. Data: {card['data']}.",
        f"Real photos it was fitted on: {photos['developing']} of living eggs, {photos['early death']} of "
        f"dead ones (together only {card['dead_eggs']} different dead eggs), and {photos['clear']} of days 1 "
        "and 2 that stand in for clear eggs: no real infertile egg is among them, and no egg was opened to "
        "see what was inside.",
        f"Simulated eggs beside them: {card['simulated_eggs']}.",
        "Measured on evenings that were left out of the training: the figures, with their counts, are in "
        "the README; “trayglow evaluate” prints them anew.",
        "Chickens only: other species are read with the same model, unmeasured. Dark shells, weak lamps and "
        "early days hide what is inside; such eggs are for looking at again.",
    )

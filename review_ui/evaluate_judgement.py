"""``trayglow evaluate --judgement``: how eggs are judged, from nothing, beside what the card says."""

from __future__ import annotations

from models.shared_data import RealPhoto

MADE_UP_EGGS, LIVES_SEED = 800, 77
AS_IN_CARD = "The shipped model's card carries these same figures."
NOT_AS_IN_CARD = (
    "These differ from the figures in the shipped model's card: the program, the photos or the libraries are "
    "not those it was fitted with. Fit anew (DEVELOPERS.md, Retrain) before quoting either."
)


def print_judgement(photos: tuple[RealPhoto, ...]) -> None:
    """Read all photos, fit for every evening and egg left out, and print the report."""
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    from models.evaluation.judged_photos import read_all_judged
    from models.evaluation.lives import lives_text, score_lives
    from models.judge import shipped_heads
    from models.judgement_text import report_text
    from models.training.fit_judgement import all_figures
    from models.training.simulated_examples import kept_examples

    read = read_all_judged(photos)
    heads = shipped_heads()
    with ProcessPoolExecutor(mp_context=multiprocessing.get_context("spawn")) as pool:
        figures = all_figures(read, kept_examples(), heads, all_photos=photos, pool=pool)
    print(report_text(figures))
    same = report_text(figures) == report_text(heads.card["figures"])
    print(f"\n{AS_IN_CARD if same else NOT_AS_IN_CARD}")
    print("\nAn egg's days together, on made-up looks (no real egg was followed over its days)")
    print(lives_text([score_lives(eggs=MADE_UP_EGGS, seed=LIVES_SEED)]))

"""The figures on judging in words: the same text for ``trayglow evaluate --judgement`` and for the card."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

Figures = Mapping[str, Any]

PUBLISHED = """\
Published, to stand beside: fertile against infertile on 240 eggs (190 fertile, 50 infertile), machine vision:
93.08 % on day 3, 97.73 % on day 4, 98.25 % on day 5 (Hashemzadeh & Farajzadeh 2016, IJCIS 9:850). Not
comparable: no infertile egg is among our photos. And a warning: one paper's 83 % fell to chance, 45 and 46
of 90, on independent eggs (Smith, Lawrence & Heitschmidt 2008, IJPS 7:1001)."""

CANNOT = """\
What these figures cannot support. Five dead eggs say nothing firm about dead eggs in general: one missed egg
is 20 %. How many different living eggs there are is not known; the same eggs come back on several evenings,
all perhaps of one batch, with a few lamps and phones. Nobody opened an egg. Stand-ins for clear eggs are
living eggs of days 1 and 2, not infertile ones; what a clear egg of day 8 looks like was only drawn. The
yes-or-no answer on an embryo that the rules use was fitted on these same photos (a dozen numbers; veins are
answered by networks that saw neither the evening nor those a day apart), and which directions, kernel and
rules to use, the drawn eggs' share of a quarter, that probabilities are never sharpened, that two lights
keep no egg from passing, that nothing passes below the chance for confirming (after one dead egg had), and
that groups of evenings weigh alike in the limit of novelty were decided with these photos in view. Not
measured on: infertile eggs; real trays from above; dark shells; other species, lamps, phones; eggs that
stopped after day 7."""


def report_text(figures: Figures) -> str:
    """All of it, in paragraphs."""
    return "\n\n".join(
        (
            f"Judging {figures['photos']} real photos of {figures['evenings']} evenings, each by heads that\n"
            "saw neither its evening nor those a day apart, nor, if dead, the egg; all that is chosen is\n"
            "chosen on the other evenings.",
            dead_text(figures),
            from_text(figures),
            confusion_text(figures["confusion"]),
            day_text(figures),
            decision_text(figures),
            novelty_text(figures["novelty"]),
            others_text(figures["by_others_side"]),
            above_text(figures["from_above"]),
            PUBLISHED,
            CANNOT,
        )
    )


def dead_text(figures: Figures) -> str:
    """Dead against living."""
    eggs = ", ".join(f"{egg} {area:.3f}" for egg, area in figures["by_dead_egg"].items())
    return "\n".join(
        (
            "Dead against living, ROC-AUC (95 % interval over dead eggs and groups of living evenings)",
            f"  living from day 3 on         {_area(figures['dead_against_living'])}",
            f"  living from day 4 on         {_area(figures['dead_against_living_day_4'])}",
            "  from day 3, the dead's neighbouring evenings left out too (learnt from one other dead egg and",
            f"  drawings)                    {_area(figures['dead_against_living_series_out'])}",
            f"  each evening alone left out  {_area(figures['evening_alone'])}",
            "    (from day 3, shipped settings: the kinder question, as the first version was measured)",
            f"  by dead egg, from day 3: {eggs}",
            f"  surroundings alone, the egg painted out: {_area(figures['background'])}",
            f"    {background_words(figures['background'])}",
        )
    )


def background_words(row: Mapping[str, Any]) -> str:
    """What the surroundings' figure means."""
    within = "0.5 lies in this wide interval" if row["low"] <= 0.5 <= row["high"] else "not chance"
    return (
        f"{within}; what there is comes from the dead having been photographed on other evenings\n"
        "    than the living, with other things round them. The judge never sees the surroundings."
    )


def from_text(figures: Figures) -> str:
    """What is judged from."""
    lines = ["What is judged from, fitted on real photos alone: ROC-AUC from day 3; right of each status"]
    for name, row in figures["judged_from"].items():
        right = ", ".join(f"{status} {count}" for status, count in row["right"].items())
        lines.append(f"  {name:<13} {row['auc']:.3f}; {right}")
    lines.append(
        "  Shipped: the embedding, with drawn eggs beside the real ones. Measurements speak through the\n"
        "  rules and in the reasons."
    )
    return "\n".join(lines)


def confusion_text(rows: Sequence[Mapping[str, Any]]) -> str:
    """Status by status."""
    names = [row["status"] for row in rows]
    lines = [
        "Most probable status (clear: photos of days 1 and 2 stand in)",
        f"{'true':>12} {'photos':>7} {'eggs':>5} {'evenings':>9} "
        + " ".join(f"{'as ' + s:>15}" for s in names),
    ]
    lines += [
        f"{r['status']:>12} {r['photos']:>7} {r['eggs']:>5} {r['evenings']:>9} "
        + " ".join(f"{r['proposed'][s]:>15}" for s in names)
        for r in rows
    ]
    return "\n".join(lines)


def day_text(figures: Figures) -> str:
    """Apparent day by evening."""
    low, high = figures["day_interval"]
    narrow, wide = figures["day_half_width"]
    lines = [
        "Apparent day of living eggs (days)",
        f"{'evening':>9} {'photos':>7} {'day':>5} {'mean absolute error':>20} {'mean error':>11}",
    ]
    for r in figures["days"]:
        day = "" if r["day"] is None else f"{r['day']:.0f}"
        lines.append(
            f"{r['evening']:>9} {r['photos']:>7} {day:>5} {r['mean_absolute']:>20.2f} {r['mean']:>+11.2f}"
        )
    lines += [
        f"  all: evenings alike; 95 % interval over groups of evenings {low:.2f} to {high:.2f}; asked: 1.5",
        f"  each evening alone left out, shipped settings (the kinder question): "
        f"{figures['evening_alone']['day_error']:.2f}",
        f"  the 90 % interval (half width {narrow:.1f} to {wide:.1f}) held {figures['day_coverage']:.0%}, "
        "evenings alike",
    ]
    return "\n".join(lines)


def decision_text(figures: Figures) -> str:
    """What the whole judge decided."""
    low, high = figures["pass_from"]
    lines = [
        "Decisions of the whole judge with its rules",
        f"{'':>36} {'photos':>7} {'pass':>6} {'confirm':>8} {'review':>7}",
    ]
    for name, row in figures["decisions"].items():
        lines.append(f"{name:>36} {row['photos']:>7} {row['pass']:>6} {row['confirm']:>8} {row['review']:>7}")
    living = figures["decisions"]["living from day 4"]
    looks = [
        f"{row['photos'] - row['pass']} of {row['photos']} {name.removeprefix('living ')} "
        f"({(row['photos'] - row['pass']) / max(row['photos'], 1):.0%})"
        for name, row in figures["decisions"].items()
        if name.startswith("living")
    ]
    passed = ", ".join(f"{egg} {n} of {of}" for egg, (n, of) in figures["dead_passed"].items())
    stopped = figures["false_stopped"]
    why = ", ".join(f"{name} {count}" for name, count in living["why"].items())
    lines += [
        f"  pass from a chance of developing of {low:.2f} to {high:.2f}, chosen without the evening or egg",
        *_no_veins_lines(figures),
        f"  dead photos passed, by egg: {passed}",
        f"  living photos that a person must still look at: {'; '.join(looks)}; aim 30 %, then 15 %",
        f"    why, from day 4: {why}",
        f"  living wrongly said to have stopped after day 7: {stopped['stopped']} of {stopped['photos']}; "
        f"to look too young: {stopped['younger']}",
    ]
    return "\n".join(lines)


def _no_veins_lines(figures: Mapping[str, Any]) -> list[str]:
    if "no_veins_odds" not in figures:
        return []
    low, high = figures["no_veins_odds"]
    return [
        f"  finding no veins weighs by odds of {low:.2f} to {high:.2f}, counted likewise. That it weighs",
        "  rather than decides, and that nothing passes below the chance for confirming, was decided with",
        "  these photos in view: before, one dead photo passed (h8, at 0.69)",
    ]


def novelty_text(rows: Sequence[Mapping[str, Any]]) -> str:
    """Pictures unlike those it learnt from."""
    lines = [
        "Pictures unlike those it learnt from, the whole program, shown as day 8",
        f"{'':>36} {'photos':>7} {'as eggs':>8} {'pass':>5} {'confirm':>8} {'review':>7} {'unlike':>7}",
    ]
    lines += [
        f"{r['what']:>36} {r['photos']:>7} {r['taken_for_eggs']:>8} {r['passed']:>5} {r['confirmed']:>8} "
        f"{r['reviewed']:>7} {r['called_unlike']:>7}"
        for r in rows
    ]
    return "\n".join(lines)


def others_text(rows: Sequence[Mapping[str, Any]]) -> str:
    """Single eggs drawn by others."""
    if not rows:
        return "Single eggs drawn by a renderer that is not ours: not there to be measured on"
    names = list(rows[0]["proposed"])
    lines = [
        "Single eggs drawn by a renderer that is not ours (a check only), the whole program, own days",
        f"{'true':>12} {'eggs':>5} "
        + " ".join(f"{'as ' + s:>15}" for s in names)
        + f" {'pass':>6} {'confirm':>8} {'review':>7}",
    ]
    lines += [
        f"{r['status']:>12} {r['eggs']:>5} "
        + " ".join(f"{r['proposed'][s]:>15}" for s in names)
        + f" {r['decided']['pass']:>6} {r['decided']['confirm']:>8} {r['decided']['review']:>7}"
        for r in rows
    ]
    errors = [r["day_error"] for r in rows if r["day_error"] is not None]
    lines += [f"  apparent day of the living, mean absolute error {e:.2f} days" for e in errors]
    return "\n".join(lines)


def above_text(rows: Sequence[Mapping[str, Any]]) -> str:
    """Eggs seen from above."""
    if not rows:
        return "Eggs from above: not measured"
    names = list(rows[0]["proposed"])
    lines = [
        "Eggs from above, in trays (always left to a person): most probable status",
        f"{'trays':>12} {'true':>12} {'eggs':>5} {'found':>6} " + " ".join(f"{'as ' + s:>15}" for s in names),
    ]
    lines += [
        f"{r['what']:>12} {r['status']:>12} {r['eggs']:>5} {r['found']:>6} "
        + " ".join(f"{r['proposed'][s]:>15}" for s in names)
        for r in rows
    ]
    return "\n".join(lines)


def _area(row: Mapping[str, Any]) -> str:
    return (
        f"{row['auc']:.3f} ({row['low']:.3f} to {row['high']:.3f}); {row['dead_photos']} photos of "
        f"{row['dead_eggs']} dead eggs, {row['living_photos']} of living, {row['living_evenings']} groups"
    )

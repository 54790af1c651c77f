"""Checks on the built wheel: `contents WHEEL`, `photo`, `reading JSON PHOTO` (see .ci/run).

``photo`` and ``reading`` run in the environment the wheel was installed in, outside the checkout.
"""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
import zipfile
from pathlib import Path

PACKAGES = ("vision", "incubation", "models", "review_ui", "sample_images")
STAYS_IN_GIT = ("models/left_out/",)


def contents(wheel: str) -> None:
    """Every tracked file of the packages is in the wheel, and nothing else."""
    tracked = set(subprocess.check_output(["git", "ls-files", "--", *PACKAGES], text=True).splitlines())
    wanted = {name for name in tracked if not name.startswith(STAYS_IN_GIT)}
    with zipfile.ZipFile(wheel) as archive:
        carried = {name for name in archive.namelist() if ".dist-info/" not in name}
        licences = {Path(name).name for name in archive.namelist() if "/licenses/" in name}
    problems = [f"missing in the wheel: {name}" for name in sorted(wanted - carried)]
    problems += [f"not meant for the wheel: {name}" for name in sorted(carried - wanted)]
    problems += [f"missing in the wheel: {name}" for name in sorted({"LICENSE", "NOTICE"} - licences)]
    if problems:
        sys.exit("\n".join(problems))
    print(f"{len(carried)} files, {Path(wheel).stat().st_size / 1e6:.1f} MB: {Path(wheel).name}")


def package_folder(name: str) -> Path:
    """Where a package was installed; anything outside this environment is an error."""
    spec = importlib.util.find_spec(name)
    if spec is None or spec.origin is None:
        sys.exit(f"the package {name} is not installed")
    folder = Path(spec.origin).resolve().parent
    if not folder.is_relative_to(Path(sys.prefix).resolve()):
        sys.exit(f"the package {name} comes from {folder}, not from the wheel installed in {sys.prefix}")
    return folder


def photo() -> None:
    """Print the smallest sample picture of day 7 that came with the wheel."""
    folders = {name: package_folder(name) for name in PACKAGES}
    pictures = sorted(folders["sample_images"].rglob("day07*.jpg"), key=lambda path: path.stat().st_size)
    if not pictures:
        sys.exit("the wheel carries no sample picture of day 7")
    print(pictures[0])


def reading(file: str, picture: str) -> None:
    """The JSON names the photo, follows the shipped schema and holds at least one measured egg."""
    from jsonschema import Draft202012Validator

    schemas = [path for name in PACKAGES for path in package_folder(name).rglob("*schema*.json")]
    if len(schemas) != 1:
        sys.exit(f"expected one JSON Schema in the wheel, found {len(schemas)}: {schemas}")
    answer = json.loads(Path(file).read_text(encoding="utf-8"))
    Draft202012Validator(json.loads(schemas[0].read_text(encoding="utf-8"))).validate(answer)

    (read,) = answer["photos"]
    eggs = read["eggs"]
    if read["error"] is not None or Path(read["photo"]).name != Path(picture).name or not eggs:
        sys.exit(f"{picture} was not read as it should be: {json.dumps(read)[:500]}")
    for egg in eggs:
        outline, probability = egg["outline"], egg["proposal"]["probability"]
        if not outline["length_px"] >= outline["breadth_px"] > 0:
            sys.exit(f"an egg without a size: {outline}")
        if abs(sum(probability.values()) - 1) > 0.01:  # rounding to two or three decimals
            sys.exit(f"probabilities that do not add up to 1: {probability}")
    print(f"{Path(picture).name}: {len(eggs)} egg(s), model {answer['model']}")


if __name__ == "__main__":
    {"contents": contents, "photo": photo, "reading": reading}[sys.argv[1]](*sys.argv[2:])

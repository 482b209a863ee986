"""Derive how much wider the model must predict for older adults: older_widths.csv.

Run from the project's root, with the folder of surveys:

    python -m data_sources.derive_older_widths FOLDER

``FOLDER`` holds ``nhanes_2003_2006/thigh_and_calf.csv``. For people over 58, the
oldest of ANSUR II, the SD of the thigh's and the waist's residuals is held against
the model's: on the logarithmic scale, about their own mean by sex and ages, because
the survey's thigh is midway and the model's is the greatest, so that places cannot be
compared and shapes can. So is the thigh's place: how far below younger people of the
same build (20 to 58), which the bodies drawn follow, as they do its spread against
theirs. Only people with an even number count; those with an odd one
judge the result (``tests/client/test_calibration.py``). Unweighted.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

from sizing.measures import SEATED_AND_GIRTHS, SEXES
from sizing.people.body.model import OLDEST_SURVEYED, moments, older_law

THIGH, WAIST = "thigh_circumference_cm", "waist_circumference_cm"
COLUMNS = {THIGH: "BMXTHICR", WAIST: "BMXWAIST"}
#: Ages over which residuals are pooled, and the age at which that width is reached.
BANDS = ((59, 74, 66), (75, 99, 75))
OLDEST = int(OLDEST_SURVEYED)
#: Fitted on the same people of all ages as the waist, hip girth is as wide.
AS_WAIST = ("hip_circumference_cm",)


def read_adults(folder: Path) -> pd.DataFrame:
    """Return NHANES 2003-06 adults, with residuals in SDs of the model for soldiers.

    Adds ``sex``, ``even`` (number of the person), ``gap_`` (of logs) and ``z_`` of
    thigh and waist.
    """
    frame = pd.read_csv(folder / "nhanes_2003_2006" / "thigh_and_calf.csv")
    frame = frame[frame["RIDAGEYR"] >= 20].dropna(subset=["BMXWT", "BMXHT"])
    frame["sex"] = np.where(frame["RIAGENDR"] == 1, "male", "female")
    frame["even"] = frame["SEQN"] % 2 == 0
    found = moments(
        frame["sex"].to_numpy(dtype=object),
        frame["BMXWT"].to_numpy(),
        frame["BMXHT"].to_numpy(),
        frame["RIDAGEYR"].to_numpy(dtype=float),
        measures=tuple(COLUMNS),
        sampling=True,
        bias=False,
    )
    for j, (name, column) in enumerate(COLUMNS.items()):
        gap = np.log(frame[column].to_numpy()) - found.mean[:, j]
        sd, own = found.sd[:, j].copy(), (found.error_sd, found.form_shift_sd)
        for sex in SEXES:
            rows = (frame["sex"] == sex).to_numpy()
            shift, times = older_law(sex, name, frame["RIDAGEYR"].to_numpy()[rows])
            gap[rows] += shift
            sd[rows] /= times
        whole = np.sqrt(sd**2 + sum(part[:, j] ** 2 for part in own))
        frame[f"gap_{name}"], frame[f"z_{name}"] = gap, gap / whole
    return frame.reset_index(drop=True)


def read_older(folder: Path) -> pd.DataFrame:
    """Return those over 58."""
    frame = read_adults(folder)
    return frame[frame["RIDAGEYR"] > OLDEST].reset_index(drop=True)


def source_of(name: str) -> tuple[str, str]:
    """Return of which measure the figure is, and in words where it is from."""
    derived = "derived from NHANES 2003-06 (public domain) by derive_older_widths.py"
    if name in COLUMNS:
        return name, f"{derived}: SD of residuals, by shape, people of even number"
    if name in AS_WAIST:
        return WAIST, "as the waist, fitted on the same people: our choice, no source"
    return THIGH, "no survey of the old has it; as the thigh: our choice, no source"


def derive(folder: Path) -> pd.DataFrame:
    """Return ``sex, measure, age_years, times, shift, drawn_times, n, source``."""
    frame = read_adults(folder)
    young = frame[frame["even"] & (frame["RIDAGEYR"] <= OLDEST)].groupby("sex")
    place, spread = young[f"gap_{THIGH}"].mean(), young[f"z_{THIGH}"].std()
    rows = []
    for sex in SEXES:
        for name in SEATED_AND_GIRTHS:
            of, source = source_of(name)
            rows.append((sex, name, OLDEST, 1.0, 0.0, 1.0, "", "fitted to this age"))
            for low, high, reached in BANDS:
                who = frame["even"] & (frame["sex"] == sex)
                who &= frame["RIDAGEYR"].between(low, high)
                z = frame.loc[who, f"z_{of}"].dropna()
                shift, drawn = 0.0, 1.0
                if name == THIGH:
                    shift = round(
                        float(frame.loc[who, f"gap_{of}"].mean() - place[sex]), 4
                    )
                    drawn = round(max(float(z.std() / spread[sex]), 1.0), 2)
                # Narrower than the model says is never taken.
                times = round(max(float(z.std()) / drawn, 1.0), 2)
                rows.append((sex, name, reached, times, shift, drawn, len(z), source))
    names = ["sex", "measure", "age_years", "times", "shift", "drawn_times"]
    names += ["n", "source"]
    return pd.DataFrame(rows, columns=names)


def main() -> None:
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    table = derive(Path(sys.argv[1]))
    path = Path(__file__).with_name("older_widths.csv")
    table.to_csv(path, index=False, lineterminator="\n")
    print(table.drop(columns="source").to_string(index=False))


if __name__ == "__main__":
    main()
